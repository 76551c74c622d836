"""A clip's field found anew from a coach's clicks on named marks: the film is watched once more, for its lines and the camera's
motion alone, and what comes out is kept beside the automatic field.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from homography import Observer, locate
from homography.clicked import check_clicks, solve_clicked
from homography.clicks import Click, click
from homography.types import LOST, FieldTracks, FieldView, apply_homography
from tagger.library.effective import standing
from tagger.library.faults import LibraryError
from tagger.library.records import ClipArrays, StoredClip, StoredRep
from tagger.library.store import Library
from tagger.review.both_views import rows_of
from tagger.review.registration_fix import anchors_from
from vision.types import Tracks
from vision.video import read_frames

FACING_YD = 0.5
"""So far before a man lies the point by which the way he faces is turned."""


def named(anchors: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Those of a clip's clicks that name a mark of the field."""
    return [anchor for anchor in anchors if anchor.get("mark")]


def clicks_from(anchors: Iterable[Mapping[str, Any]]) -> list[Click]:
    """Clicks as the solver takes them. Raises ValueError with one line for a mark that there is not."""
    return [click(anchor["mark"], anchor["image_xy_px"], int(anchor["frame_index"])) for anchor in named(anchors)]


def check_anchors(library: Library, rep: StoredRep, subject: str, anchors: Any) -> None:
    """Raises ValueError with one line unless the named marks among a clip's new clicks give a camera."""
    clip = next((clip for clip in rep.clips if subject == f"clip:{clip.fingerprint}"), None)
    if clip is None or not isinstance(anchors, list) or not all(isinstance(anchor, dict) for anchor in anchors):
        return  # the library refuses it with its own line
    try:
        clicks = clicks_from(anchors)
    except (TypeError, LookupError, AttributeError):
        return
    if clicks:
        check_clicks(clicks, library.arrays(clip.clip_id).field_view.image_size_px)


def arrays_of(library: Library, rep: StoredRep, clip: StoredClip) -> ClipArrays:
    """A clip's kept arrays, on the field that the coach's clicks gave where they did."""
    arrays = library.arrays(clip.clip_id)
    clicks = _said(rep, clip)
    view = library.clicked_fields.find(clip.clip_id, clicks) if clicks else None
    return arrays if view is None else on_field_of(view, arrays)


def find_fields(library: Library, rep: StoredRep) -> None:
    """Find the fields of those clips of a rep whose clicks have none yet. Raises ValueError with one line where the film cannot
    be watched, or contradicts the clicks."""
    for clip in rep.clips:
        clicks = _said(rep, clip)
        if clicks and library.clicked_fields.find(clip.clip_id, clicks) is None:
            arrays = library.arrays(clip.clip_id)
            view = watched_field(clip, arrays.tracks, arrays.field_view, clicks_from(clicks))
            library.clicked_fields.keep(clip.clip_id, clicks, view)


def _said(rep: StoredRep, clip: StoredClip) -> list[Mapping[str, Any]]:
    return named(anchors_from(standing(rep.corrections), clip.fingerprint))


def watched_field(clip: StoredClip, tracks: Tracks, automatic: FieldView, clicks: Sequence[Click]) -> FieldView:
    """Watch the clip's film again and register it by the clicks; its people are known from the tracks. Raises ValueError with
    one line."""
    order = np.argsort(tracks.frame_index, kind="stable")
    frames, boxes = tracks.frame_index[order], tracks.xyxy[order]
    observer, evidence = Observer(), []
    try:
        for frame in read_frames(clip.path, automatic.image_size_px[1]):
            here = slice(*np.searchsorted(frames, [frame.index, frame.index + 1]))
            evidence.append(observer.observe(frame.index, frame.time_s, frame.bgr, boxes[here]))
    except FileNotFoundError:
        raise LibraryError(f"{clip.path.name}: the clicks wait for this film, and it is not where it was tagged; plug the drive "
                           "in or tag it again") from None
    return solve_clicked(evidence, clicks, automatic.frame_index)


def on_field_of(view: FieldView, arrays: ClipArrays) -> ClipArrays:
    """The arrays on another field. Whom the clip's own picture shows is placed anew; who came from the rep's other view moves as
    the ground under him does. The way each man faces turns with the ground."""
    own, old = locate(arrays.tracks, view), _with_the_ground(arrays.field_tracks, arrays.field_view, view)
    shown = set(_keys(arrays.tracks))
    lent = np.array([key not in shown for key in _keys(old)], dtype=bool)
    row_of = {key: row for row, key in enumerate(_keys(old))}
    row = np.array([row_of.get(key, -1) for key in _keys(own)], dtype=int)
    own = replace(own, **{name: np.append(getattr(old, name), np.nan)[row] for name in ("facing_rad", "facing_sigma_rad")})
    whole = {f.name: np.concatenate([getattr(own, f.name), getattr(old, f.name)[lent]]) for f in fields(FieldTracks)}
    order = np.lexsort((whole["track_id"], whole["frame_index"]))
    return ClipArrays(arrays.tracks, FieldTracks(**{name: column[order] for name, column in whole.items()}), view)


def _keys(tracks: Tracks | FieldTracks) -> list[tuple[int, int]]:
    """(frame, track) of every row."""
    return list(zip(tracks.frame_index.tolist(), tracks.track_id.tolist(), strict=True))


def _with_the_ground(tracks: FieldTracks, before: FieldView, after: FieldView) -> FieldTracks:
    """Field tracks of one field of a clip on another, spots and facing; rows that either field has lost are left out."""
    ahead_yd = FACING_YD * np.column_stack([np.cos(tracks.facing_rad), np.sin(tracks.facing_rad)])
    spot, ahead = (moved_with_the_ground(tracks.frame_index, xy, before, after) for xy in (tracks.xy_yd, tracks.xy_yd + ahead_yd))
    known = np.isfinite(spot).all(axis=1)
    facing = np.arctan2(*(ahead - spot).T[::-1])
    return rows_of(replace(tracks, xy_yd=np.where(known[:, None], spot, 0.0), facing_rad=facing), known)


def moved_with_the_ground(frame_index: np.ndarray, xy_yd: np.ndarray, before: FieldView, after: FieldView) -> np.ndarray:
    """(M, 2) points of one field of a clip as points of another, by the picture that both explain; NaN where either is lost."""
    out = np.full(xy_yd.shape, np.nan)
    rows = [{int(frame): row for row, frame in enumerate(view.frame_index)} for view in (before, after)]
    for frame in np.unique(frame_index).tolist():
        old, new = (of.get(frame) for of in rows)
        if old is None or new is None or before.status[old] == LOST or after.status[new] == LOST:
            continue
        mine = frame_index == frame
        onto = after.field_from_image[new] @ np.linalg.inv(before.field_from_image[old])
        out[mine] = apply_homography(onto, xy_yd[mine])
    return out
