"""What the tagger said of one clip, as its JSON gives it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from vision.types import FloatArray, IntArray


@dataclass(frozen=True)
class SaidFrame:
    """`field_from_image` None where the field was lost; `track_id` (N,), `xyxy` (N, 4) px of the file's own picture."""

    field_from_image: FloatArray | None
    track_id: IntArray
    xyxy: FloatArray


@dataclass(frozen=True)
class SaidPlayer:
    """A player of the reading on the field: `time_s` (T,), `xy_yd` (T, 2) field frame."""

    side: str
    time_s: FloatArray
    xy_yd: FloatArray


@dataclass(frozen=True)
class Said:
    """One clip's output. `detections` leads from a frame index to (N, 5) boxes with confidence. `reading` is the JSON."""

    reading: Mapping[str, Any]
    players: Mapping[str, SaidPlayer]
    frames: Mapping[int, SaidFrame] = field(default_factory=dict)
    detections: Mapping[int, FloatArray] = field(default_factory=dict)
    yard_line_known: bool = True
    taken_s: float = 0.0
    duration_s: float = 0.0


SILENT = Said({"snap_s": None, "shell": None, "play_kind": None, "family": {}, "variant": None, "formation": None,
               "defenders": [], "events": []}, {})
"""What a clip that could not be tagged says: nothing, and that is scored."""


def said_from_json(value: Mapping[str, Any], true_width_px: int) -> Said:
    """Read a clip's JSON. Boxes and the field are brought to the file's pixels, should the tagger have worked on smaller ones."""
    scale = true_width_px / value["width"]
    file_to_work = np.diag([1 / scale, 1 / scale, 1.0])
    frames = {}
    for frame in value["frames"]:
        boxes = np.asarray(frame["boxes"], float).reshape(-1, 5)
        matrix = frame["field_from_image"]
        frames[int(frame["index"])] = SaidFrame(
            None if matrix is None else np.asarray(matrix, float) @ file_to_work, boxes[:, 0].astype(int), boxes[:, 1:] * scale)
    detections = {int(index): np.asarray(boxes, float).reshape(-1, 5) for index, boxes in value.get("detections", {}).items()}
    return Said(value["reading"], players_from_json(value["players"]), frames, detections, bool(value["yard_line_known"]),
                float(sum(value["seconds"].values())), float(value["duration_s"] or 0.0))


def players_from_json(value: Mapping[str, Any]) -> dict[str, SaidPlayer]:
    """Player -> where he was."""
    return {name: SaidPlayer(p["side"], np.asarray(p["time_s"], float), np.asarray(p["xy_yd"], float).reshape(-1, 2))
            for name, p in value.items()}
