"""Reps and tracks for other programs: JSON with a schema, MOTChallenge text, Parquet.

Formats: JSON Schema draft 2020-12; MOTChallenge 2D boxes as in "MOT16: A Benchmark for Multi-Object Tracking" (Milan et al.,
2016), where frames and pixels count from 1; Apache Parquet.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tagger.cutups.whole_file import write_bytes
from tagger.football.types import PlayTracks
from tagger.library import ClipArrays, StoredRep, reading_to_json
from vision.types import Tracks

SCHEMA_FILE = "reps.schema.json"
FORMAT = "deepthird-reps/1"


def schema() -> dict[str, Any]:
    """The JSON Schema of `reps_document`."""
    found: dict[str, Any] = json.loads(files("tagger.cutups").joinpath(SCHEMA_FILE).read_text())
    return found


def reps_document(reps: list[StoredRep]) -> dict[str, Any]:
    """Reps as JSON values, as they stand after the coach's corrections."""
    return {"format": FORMAT, "reps": [_rep(stored) for stored in reps]}


def _rep(stored: StoredRep) -> dict[str, Any]:
    clips = [{
        "path": str(clip.path), "fingerprint": clip.fingerprint, "view": clip.view, "level": clip.level, "is_main": clip.is_main,
        "snap_s": clip.snap_s, "width_px": clip.width_px, "height_px": clip.height_px, "solved_share": clip.solved_share,
        "yard_line_known": clip.yard_line_known,
    } for clip in stored.clips]
    summary = stored.summary
    return {
        "rep": summary.name, "review_state": summary.review_state, "family_source": summary.family_source,
        "situation": asdict(stored.situation), "clips": clips, "numbers": dict(stored.numbers),
        "by_coach": sorted(stored.by_coach), "verdicts": list(stored.verdicts), **reading_to_json(stored.reading),
    }


def write_json(reps: list[StoredRep], path: Path) -> None:
    """Write `reps_document` whole. Raises OutputError for what the disk refuses."""
    write_bytes(path, json.dumps(reps_document(reps), indent=1, ensure_ascii=False, allow_nan=False).encode())


def mot_text(tracks: Tracks) -> str:
    """MOTChallenge text, a line for each observed box: frame, id, left, top, width, height, confidence, -1, -1, -1.

    Frames, ids and pixels count from 1 there; bridged rows, where nobody was seen, are left out.
    """
    seen = np.flatnonzero(tracks.observed)
    x0, y0, x1, y1 = tracks.xyxy[seen].T
    ids = np.unique(tracks.track_id, return_inverse=True)[1][seen] + 1
    rows = zip((tracks.frame_index[seen] + 1).tolist(), ids.tolist(), (x0 + 1).tolist(), (y0 + 1).tolist(), (x1 - x0).tolist(),
               (y1 - y0).tolist(), tracks.confidence[seen].tolist(), strict=True)
    return "".join(f"{frame},{track},{x:.2f},{y:.2f},{w:.2f},{h:.2f},{c:.4f},-1,-1,-1\n" for frame, track, x, y, w, h, c in rows)


def tracks_table(rep: str, play: PlayTracks) -> pa.Table:
    """Tracks in the play frame, with the columns that `deepthird tag-tracks` reads: play_id, time_s, player_id, side, x_yd (past
    the line of scrimmage), y_yd (from the offense's left sideline), facing_rad, sigma_yd, position, event. Rows where a man is
    not seen are left out."""
    seen = np.isfinite(play.xy_yd).all(axis=2)
    man, moment = np.nonzero(seen)
    snap = int(np.abs(play.time_s - play.snap_s).argmin()) if play.snap_s is not None else -1
    return pa.table({
        "play_id": [rep] * len(man), "time_s": play.time_s[moment], "player_id": [play.player_id[i] for i in man],
        "side": play.side[man].tolist(), "position": pa.array([play.position[i] for i in man], pa.string()),
        "x_yd": play.xy_yd[man, moment, 0], "y_yd": play.xy_yd[man, moment, 1],
        "facing_rad": pa.array(play.facing_rad[man, moment], from_pandas=True), "sigma_yd": play.sigma_yd[man, moment],
        "event": pa.array(["ball_snap" if i == snap else None for i in moment.tolist()], pa.string()),
    })


def field_table(rep: str, view: str, arrays: ClipArrays) -> pa.Table:
    """Tracks in the field frame as they came from one clip: rep, view, frame_index, time_s, track_id, kit_id, observed, x_yd,
    y_yd, sigma_yd, facing_rad, facing_sigma_rad."""
    tracks = arrays.field_tracks
    return pa.table({
        "rep": [rep] * len(tracks), "view": [view] * len(tracks), "frame_index": tracks.frame_index, "time_s": tracks.time_s,
        "track_id": tracks.track_id, "kit_id": tracks.kit_id, "observed": tracks.observed, "x_yd": tracks.xy_yd[:, 0],
        "y_yd": tracks.xy_yd[:, 1], "sigma_yd": tracks.sigma_yd, "facing_rad": pa.array(tracks.facing_rad, from_pandas=True),
        "facing_sigma_rad": pa.array(tracks.facing_sigma_rad, from_pandas=True),
    })


def write_parquet(table: pa.Table, path: Path) -> None:
    """Write a table whole. Raises OutputError for what the disk refuses."""
    buffer = pa.BufferOutputStream()
    pq.write_table(table, buffer)
    write_bytes(path, buffer.getvalue().to_pybytes())
