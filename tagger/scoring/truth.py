"""Reads `truth.json`: what really happened in a rep, and where everybody stood in every picture."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vision.types import BoolArray, FloatArray

FORMAT = "deepthird-truth/1"
COUNTED_VISIBLE_SHARE = 0.25
"""A person of whom less is seen is neither asked for nor held against the detector."""


@dataclass(frozen=True)
class TrueFrame:
    """One picture: `player_id` N names, `xyxy` (N, 4) px, `counted` (N,) False where too little is visible."""

    index: int
    time_s: float
    image_from_field: FloatArray
    player_id: tuple[str, ...]
    xyxy: FloatArray
    counted: BoolArray


@dataclass(frozen=True)
class TrueClip:
    """One view. A frame's `image_from_field` is the plane homography that fits the (slightly bent) picture best."""

    view: str
    path: Path
    width_px: int
    height_px: int
    frames: tuple[TrueFrame, ...]


@dataclass(frozen=True)
class Truth:
    """One rep. `raw` is the file's object; `time_s` (T,), `xy_yd` (N, T, 2) field frame, `facing_rad` (N, T) of `player_id`."""

    rep: str
    raw: Mapping[str, Any]
    clips: tuple[TrueClip, ...]
    time_s: FloatArray
    player_id: tuple[str, ...]
    xy_yd: FloatArray
    facing_rad: FloatArray

    @property
    def snap_s(self) -> float:
        return float(self.raw["snap_s"])

    @property
    def end_s(self) -> float:
        return float(self.raw["end_s"])

    @property
    def gradable(self) -> bool:
        return bool(self.raw["gradable"])

    @property
    def side_of(self) -> dict[str, str]:
        """Player -> offense, defense or other."""
        return {player["player_id"]: player["side"] for player in self.raw["players"]}


def find_truths(folder: Path) -> list[Path]:
    """Every truth.json at or below `folder`. Raises ValueError if there is none."""
    found = sorted(folder.rglob("truth.json"))
    if not found:
        raise ValueError(f"{folder}: no truth.json in it; make reps with truth: deepthird simulate --seed 1 --count 10 --out DIR")
    return found


def load_truth(path: Path) -> Truth:
    """Read one file. Raises ValueError with one line if it is not of this format."""
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(raw, dict) or raw.get("format") != FORMAT:
            raise ValueError(f"{path}: not of the format {FORMAT}; simulate the rep again")
        tracks = raw["tracks"]
        return Truth(
            raw["rep"], raw, tuple(_clip(clip, path.parent) for clip in raw["clips"]), np.asarray(tracks["time_s"], float),
            tuple(tracks["player_id"]), np.asarray(tracks["xy_yd"], float), np.asarray(tracks["facing_rad"], float))
    except (json.JSONDecodeError, KeyError, TypeError, UnicodeDecodeError) as error:
        raise ValueError(f"{path}: not a whole truth file ({error!r}); simulate the rep again") from error


def _clip(raw: Mapping[str, Any], folder: Path) -> TrueClip:
    return TrueClip(raw["view"], folder / raw["file"], raw["width_px"], raw["height_px"],
                    tuple(_frame(frame) for frame in raw["frames"]))


def _frame(raw: Mapping[str, Any]) -> TrueFrame:
    boxes = raw["boxes"]
    return TrueFrame(
        raw["index"], raw["time_s"], np.asarray(raw["image_from_field"], float), tuple(box[0] for box in boxes),
        np.asarray([box[1:5] for box in boxes], float).reshape(-1, 4),
        np.asarray([box[5] >= COUNTED_VISIBLE_SHARE for box in boxes], bool))
