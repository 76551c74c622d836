"""How well the picture is laid on the field: yards between where a field point is and where the tagger says it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from homography.field import LENGTH_YD, WIDTH_YD, YARD_LINE_SPACING_YD
from homography.types import apply_homography
from tagger.scoring.predicted import Said
from tagger.scoring.truth import TrueClip, TrueFrame
from vision.types import FloatArray

GRID_X_YD = np.arange(0.0, LENGTH_YD + 0.1, 4.0)
GRID_Y_YD = np.linspace(1.0, WIDTH_YD - 1.0, 9)
EVERY_NTH_FRAME = 5
MOST_STEPS = int(LENGTH_YD / YARD_LINE_SPACING_YD)


@dataclass(frozen=True)
class Gauge:
    """What the picture cannot tell by itself: the field's half-turn, and (without a known yard line) whole 5 yd steps."""

    half_turn: bool = False
    shift_yd: float = 0.0

    def true_from_said(self, xy_yd: FloatArray) -> FloatArray:
        """(..., 2) field yards as the truth counts them."""
        turned = np.array([LENGTH_YD, WIDTH_YD]) - xy_yd if self.half_turn else xy_yd
        out: FloatArray = turned + np.array([self.shift_yd, 0.0])
        return out


@dataclass(frozen=True)
class FieldErrors:
    """One clip: the errors in yd of every point of the frames looked at, the gauge that was granted, and whether a yard line
    that was called known was the wrong one."""

    errors_yd: FloatArray
    frames: int
    solved: int
    gauge: Gauge
    known: bool
    aliased: bool


def visible_points(clip: TrueClip, frame: TrueFrame) -> tuple[FloatArray, FloatArray]:
    """((N, 2) field yd, (N, 2) px) of the grid's points that stand in the picture."""
    xy = np.stack(np.meshgrid(GRID_X_YD, GRID_Y_YD), axis=-1).reshape(-1, 2)
    depth = np.concatenate([xy, np.ones((len(xy), 1))], axis=1) @ frame.image_from_field[2]
    in_front = depth * _in_front_sign(clip, frame) > 1e-9
    xy = xy[in_front]
    px = apply_homography(frame.image_from_field, xy)
    inside = (px >= 0).all(axis=1) & (px[:, 0] < clip.width_px) & (px[:, 1] < clip.height_px)
    return xy[inside], px[inside]


def _in_front_sign(clip: TrueClip, frame: TrueFrame) -> float:
    """A homography's sign is free; the field point under the middle of the picture's lower edge lies in front."""
    foot = apply_homography(np.linalg.inv(frame.image_from_field), np.array([[clip.width_px / 2, clip.height_px - 1.0]]))[0]
    return float(np.sign(frame.image_from_field[2] @ np.array([foot[0], foot[1], 1.0])))


def field_errors(clip: TrueClip, said: Said) -> FieldErrors:
    """Compare one clip's registration with the truth on every n-th frame."""
    frames = clip.frames[::EVERY_NTH_FRAME]
    true_parts, said_parts = [], []
    for frame in frames:
        found = said.frames.get(frame.index)
        if found is not None and found.field_from_image is not None:
            xy, px = visible_points(clip, frame)
            true_parts.append(xy)
            said_parts.append(apply_homography(found.field_from_image, px))
    if not sum(map(len, true_parts)):
        return FieldErrors(np.empty(0), len(frames), 0, Gauge(), said.yard_line_known, False)
    true_xy, said_xy = np.concatenate(true_parts), np.concatenate(said_parts)
    free = _best_gauge(true_xy, said_xy, range(-MOST_STEPS, MOST_STEPS + 1))
    gauge = _best_gauge(true_xy, said_xy, range(1)) if said.yard_line_known else free
    errors = np.linalg.norm(gauge.true_from_said(said_xy) - true_xy, axis=1)
    return FieldErrors(errors, len(frames), len(true_parts), gauge, said.yard_line_known,
                       said.yard_line_known and abs(free.shift_yd) > YARD_LINE_SPACING_YD / 2)


def _best_gauge(true_xy: FloatArray, said_xy: FloatArray, steps: range) -> Gauge:
    gauges = [Gauge(turn, YARD_LINE_SPACING_YD * step) for turn in (False, True) for step in sorted(steps, key=abs)]
    return min(gauges, key=lambda g: float(np.median(np.linalg.norm(g.true_from_said(said_xy) - true_xy, axis=1))))


def registration(clips: Sequence[FieldErrors]) -> dict[str, Any]:
    """Median and 95th percentile in yd over all points; shares of frames solved and of clips with a wrong yard line."""
    errors = np.concatenate([clip.errors_yd for clip in clips]) if clips else np.empty(0)
    known = [clip for clip in clips if clip.known and clip.solved]
    solved = [clip for clip in clips if clip.solved]
    return {
        "median_yd": float(np.median(errors)) if len(errors) else None,
        "p95_yd": float(np.percentile(errors, 95)) if len(errors) else None,
        "solved_share": _share(sum(clip.solved for clip in clips), sum(clip.frames for clip in clips)),
        "yard_line_known_share": _share(len(known), len(solved)),
        "aliased_share": _share(sum(clip.aliased for clip in known), len(known)),
    }


def _share(part: float, whole: float) -> float | None:
    return part / whole if whole else None
