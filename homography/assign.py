"""Which painted line does a ridge point lie on, given a camera? Points of one frame against the field's lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.camera import ground, ideal_from_field, undistort
from homography.evidence import Ridges
from homography.field import LEVELS, LINE_WIDTH_YD, WIDTH_YD, YARD_LINE_SPACING_YD

Array = npt.NDArray[np.float64]
SAME_DIRECTION = np.cos(np.radians(9.0))
YARD_LINE, SIDELINE, HASH_ROW, HASH_YARD = range(4)
LINE_SIGMA_PX = 0.7
DASH_SIGMA_PX = 1.5
POINTS_PER_LINE = 16
FINE_GATE_PX = 6.0


@dataclass(frozen=True)
class Assigned:
    """Picture points (N, 2) and the field lines (N, 3) that they lie on, with the kind of line, the field point and the px
    distance from the projected line."""

    xy_px: Array
    line: Array
    kind: npt.NDArray[np.int64]
    field_yd: Array
    distance_px: Array

    def __len__(self) -> int:
        return len(self.xy_px)

    @property
    def sigma_px(self) -> Array:
        """(N,) standard deviation of a point's distance from its line."""
        return np.where(self.kind >= HASH_ROW, DASH_SIGMA_PX, LINE_SIGMA_PX)


def sideline_middles_yd() -> tuple[float, float]:
    """Middles of the two sideline stripes: the field is measured to their inner edges (NFHS 1-2, NCAA 1-2, NFL 1-1)."""
    return -LINE_WIDTH_YD / 2.0, WIDTH_YD + LINE_WIDTH_YD / 2.0


def hash_rows_yd(level: str) -> tuple[float, float]:
    """Distances of the two inbounds lines from the near sideline."""
    return LEVELS[level].hash_yd, WIDTH_YD - LEVELS[level].hash_yd


def assign(ridges: Ridges, pose: Array, centre_yd: Array, distortion: float, image_size_px: tuple[int, int], level: str,
           gate_px: float, beyond_yd: float = 1.0) -> Assigned:
    """Points within `gate_px` of a painted line that runs in the same direction, and dashes on the hash rows. Yard lines are
    followed `beyond_yd` over the sidelines."""
    back = np.linalg.inv(ideal_from_field(pose, centre_yd, image_size_px))
    parts = [_stripes(ridges, pose, centre_yd, distortion, image_size_px, back, gate_px, beyond_yd)]
    if len(ridges.dash_xy_px):
        parts += _dashes(ridges, pose, centre_yd, distortion, image_size_px, back, level, gate_px)
    return Assigned(*(np.concatenate([getattr(part, name) for part in parts])
                      for name in ("xy_px", "line", "kind", "field_yd", "distance_px")))


def _measure(ideal: Array, line_yd: Array, back: Array) -> tuple[Array, Array]:
    """Signed px distances (N,) of ideal points from projected field lines (N, 3) and those lines' unit normals (N, 2)."""
    line = line_yd @ back
    line /= np.maximum(np.linalg.norm(line[:, :2], axis=1, keepdims=True), 1e-12)
    return (line[:, :2] * ideal).sum(axis=1) + line[:, 2], line[:, :2]


def _stripes(ridges: Ridges, pose: Array, centre: Array, k: float, size: tuple[int, int], back: Array, gate: float,
             beyond: float) -> Assigned:
    xy = ridges.xy_px.astype(np.float64)
    spot = ground(xy, pose, centre, k, size)
    ideal = undistort(xy, k, size)
    normal = np.stack([np.cos(ridges.normal_rad), np.sin(ridges.normal_rad)], axis=1)
    with np.errstate(invalid="ignore"):
        nearest = np.round(spot[:, 0] / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
        inside = (spot[:, 1] > -beyond) & (spot[:, 1] < WIDTH_YD + beyond)
        low, high = sideline_middles_yd()
        row = np.where(spot[:, 1] < WIDTH_YD / 2.0, low, high)
    zero, one = np.zeros(len(xy)), np.ones(len(xy))
    choices = []
    for line, fits, kind in ((np.stack([one, zero, -np.nan_to_num(nearest)], axis=1), inside, YARD_LINE),
                             (np.stack([zero, one, -np.nan_to_num(row)], axis=1), np.isfinite(spot[:, 1]), SIDELINE)):
        distance, direction = _measure(ideal, line, back)
        good = fits & (np.abs((direction * normal).sum(axis=1)) > SAME_DIRECTION) & (np.abs(distance) < gate)
        choices.append(Assigned(xy[good], line[good], np.full(int(good.sum()), kind), spot[good], distance[good]))
    return Assigned(*(np.concatenate([getattr(c, name) for c in choices]) for name in ("xy_px", "line", "kind", "field_yd", "distance_px")))


def _dashes(ridges: Ridges, pose: Array, centre: Array, k: float, size: tuple[int, int], back: Array, level: str,
            gate: float) -> list[Assigned]:
    xy = ridges.dash_xy_px.astype(np.float64)
    spot = ground(xy, pose, centre, k, size)
    ideal = undistort(xy, k, size)
    low, high = hash_rows_yd(level)
    with np.errstate(invalid="ignore"):
        row = np.where(spot[:, 1] < WIDTH_YD / 2.0, low, high)
        yard = np.nan_to_num(np.round(spot[:, 0]))
        seen = np.isfinite(spot[:, 0])
    zero, one = np.zeros(len(xy)), np.ones(len(xy))
    along = np.stack([zero, one, -row], axis=1)
    across = np.stack([one, zero, -yard], axis=1)
    off_row, _ = _measure(ideal, along, back)
    off_yard, _ = _measure(ideal, across, back)
    with np.errstate(invalid="ignore"):
        near = seen & (np.abs(spot[:, 1] - row) < 1.2) & (np.abs(off_row) < gate)
        # Marks stand on whole yards; worth asking only once x is better than a fraction of a yard.
        whole = near & (np.abs(spot[:, 0] - yard) < 0.25) if gate <= FINE_GATE_PX else near
    if gate > FINE_GATE_PX:
        return [Assigned(xy[near], along[near], np.full(int(near.sum()), HASH_ROW), spot[near], off_row[near])]
    return [Assigned(xy[use], line[use], np.full(int(use.sum()), kind), spot[use], off[use])
            for line, use, off, kind in ((along, whole, off_row, HASH_ROW), (across, whole & (np.abs(off_yard) < gate), off_yard, HASH_YARD))]


def thin_out(assigned: Assigned, per_line: int = POINTS_PER_LINE) -> Assigned:
    """At most `per_line` points of each stripe, evenly spread; all dashes."""
    keys = assigned.line @ np.array([7.0, 13.0, 1.0]) + 1000.0 * (assigned.kind == SIDELINE)
    order = np.lexsort((assigned.field_yd.sum(axis=1), keys))
    _, start, count = np.unique(keys[order], return_index=True, return_counts=True)
    rank = np.arange(len(order)) - np.repeat(start, count)
    stride = np.maximum(1, np.repeat(count, count) // per_line)
    keep = np.sort(order[(rank % stride == 0) | (assigned.kind[order] >= HASH_ROW)])
    return Assigned(*(getattr(assigned, name)[keep] for name in ("xy_px", "line", "kind", "field_yd", "distance_px")))
