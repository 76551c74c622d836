"""A tagged clip as JSON values: what `deepthird score` judges, and anyone else may."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from homography.types import LOST, STATUS_NAMES
from tagger.batch.work import sides
from tagger.library import reading_to_json

if TYPE_CHECKING:
    from tagger.pipeline import TaggedClip

FORMAT = "deepthird-clip/1"


def clip_to_json(tagged: TaggedClip) -> dict[str, Any]:
    """`frames` has a row for each frame of the clip (boxes as [track_id, x0, y0, x1, y1] px of `width` x `height`); `players`
    leads from the reading's names to where they were in the field frame."""
    view, tracks = tagged.view, tagged.tracks
    times = dict(zip(tracks.frame_index.tolist(), tracks.time_s.tolist(), strict=True))
    order = np.argsort(tracks.frame_index, kind="stable")
    starts = np.searchsorted(tracks.frame_index[order], view.frame_index)
    ends = np.searchsorted(tracks.frame_index[order], view.frame_index, side="right")
    frames = []
    for i, index in enumerate(view.frame_index.tolist()):
        rows = order[starts[i]:ends[i]]
        lost = view.status[i] == LOST
        frames.append({
            "index": index, "time_s": times.get(index), "status": STATUS_NAMES[int(view.status[i])],
            "sigma_yd": None if lost else float(view.sigma_yd[i]),
            "field_from_image": None if lost else view.field_from_image[i].tolist(),
            "boxes": np.column_stack([tracks.track_id[rows], tracks.xyxy[rows]]).round(2).tolist(),
        })
    return {
        "format": FORMAT, "clip": str(tagged.video.path), "width": view.image_size_px[0], "height": view.image_size_px[1],
        "duration_s": tagged.video.duration_s, "view": view.view, "level": view.level, "yard_line_known": view.yard_line_known,
        "solved_share": view.solved_share, "lost_reason": view.reason, "frames": frames, "players": players_to_json(tagged),
        "reading": reading_to_json(tagged.reading), "seconds": tagged.seconds,
    }


def players_to_json(tagged: TaggedClip) -> dict[str, Any]:
    """Player -> his side and path in the field frame."""
    tracks, found = tagged.field_tracks, {}
    for player, side in sides(tagged).items():
        rows = tracks.track_id == tagged.track_of_player.get(player, -1)
        found[player] = {"side": side, "time_s": tracks.time_s[rows].tolist(), "xy_yd": tracks.xy_yd[rows].tolist()}
    return found
