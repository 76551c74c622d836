"""Which painted line does a ridge point lie on, given a camera? Points of one frame against the field's lines."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.camera import ground_of_ideal, ideal_from_field, undistort
from homography.crown import shapes
from homography.evidence import Ridges
from homography.field import LEVELS, WIDTH_YD, YARD_LINE_SPACING_YD
from homography.solution import Solution
from vision.types import FloatArray

Array = npt.NDArray[np.float64]
SAME_DIRECTION = np.cos(np.radians(9.0))
YARD_LINE, SIDELINE, HASH_MARK, HASH_BAR, HASH_YARD = range(5)
SIGMA_PX = (0.7, 1.3, 1.5, 1.5, 1.5)
PAINT_SIGMA_YD = (0.01, 0.12, 0.03, 0.03, 0.02)
"""By kind of line. A sideline's stripe is of uncertain width; a mark's middle is found from few pixels."""
MERGED_SIGMA_YD = 0.4
YARD_MARKS_PX = 6.0
"""Where a yard along a sideline takes fewer px, the yard marks beside it melt into its stripe."""
POINTS_PER_LINE = 16
FINE_GATE_PX = 6.0
BAR_REACH_YD = 0.3
WIDEST_YD, WIDEST_BLURS = 0.3, 2.2
"""Yard lines are four inches wide, some goal lines eight (NFHS, NCAA and NFL rules 1-2): what is broader than that and twice the
usual stripe of the picture, which may be blurred, is a border or a letter."""


@dataclass(frozen=True)
class Assigned:
    """Picture points (N, 2), the field lines (N, 3) that they lie on, how these slide with mark offset, border and the crown
    (N, 4), the kind of line, the field point, the signed px distance from the projected line, the width of the stripe
    there in px, the px that a yard across the line takes, and how well the line is painted, as a standard deviation in yards."""

    xy_px: Array
    line: Array
    slide: Array
    kind: npt.NDArray[np.int64]
    field_yd: Array
    distance_px: Array
    width_px: Array
    px_per_yd: Array
    paint_yd: Array

    def __len__(self) -> int:
        return len(self.xy_px)

    @property
    def sigma_px(self) -> Array:
        """(N,) standard deviation of a point's distance from its line: how well it is seen, and how well the line is painted."""
        return np.asarray(np.hypot(np.array(SIGMA_PX)[self.kind], self.paint_yd * self.px_per_yd))

    def __getitem__(self, which: npt.NDArray[Any]) -> Assigned:
        return Assigned(*(getattr(self, f.name)[which] for f in fields(self)))


def joined(parts: list[Assigned]) -> Assigned:
    """All points of several sets."""
    return Assigned(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Assigned)))


def sideline_middles_yd(border_yd: float) -> tuple[float, float]:
    """Middles of the two sideline stripes, `border_yd` being half their width: the field is measured to their inner edges (NFHS
    1-2, NCAA 1-2, NFL 1-1)."""
    return -border_yd, WIDTH_YD + border_yd


def hash_rows_yd(level: str) -> tuple[float, float]:
    """Distances of the two inbounds lines from the near sideline."""
    return LEVELS[level].hash_yd, WIDTH_YD - LEVELS[level].hash_yd


def assign(ridges: Ridges, solution: Solution, row: int, level: str, gate_px: float) -> Assigned:
    """Points within `gate_px` of a painted line that runs in the same direction, and dashes on the hash rows, seen from pose
    `row` of the solution."""
    view = _Seen(solution, row)
    points = _narrow(ridges, view)
    return joined([_yard_lines(points, gate_px), *_sidelines(points, ridges, gate_px), *_dashes(ridges, view, level, gate_px)])


def assign_stripes(ridges: Ridges, solution: Solution, row: int, gate_px: float) -> Assigned:
    """As `assign`, yard lines and sidelines alone."""
    points = _narrow(ridges, _Seen(solution, row))
    return joined([_yard_lines(points, gate_px), *_sidelines(points, ridges, gate_px)])


def assign_with_decoys(ridges: Ridges, solution: Solution, row: int, gate_px: float,
                       beyond_yd: float) -> tuple[Assigned, Assigned]:
    """As `assign_stripes`, yard lines followed `beyond_yd` over the sidelines; and the points on lines half-way between them."""
    points = _narrow(ridges, _Seen(solution, row))
    painted = joined([_yard_lines(points, gate_px, beyond_yd), *_sidelines(points, ridges, gate_px)])
    return painted, _yard_lines(points, gate_px, between=True)


class _Seen:
    """One pose, and distances in its picture."""

    def __init__(self, solution: Solution, row: int) -> None:
        self.solution, self.pose = solution, solution.pose[row]
        self.back = np.linalg.inv(ideal_from_field(self.pose, solution.centre_yd, solution.image_size_px))

    def spots(self, xy_px: Array) -> tuple[Array, Array]:
        """(N, 2) ideal px and (N, 2) field points."""
        size = self.solution.image_size_px
        ideal = undistort(xy_px, self.solution.distortion, size)
        return ideal, ground_of_ideal(ideal, self.pose, self.solution.centre_yd, size, self.solution.crown)

    def lifted(self, axis: int, at_yd: Array, y_yd: Array) -> Array:
        """(N, 2) by how much each yard of the crown's top and of its bulge shifts field lines, on which x (`axis` 0) or y (1) is
        `at_yd` (N,), away from the camera where the turf at `y_yd` (N,) carries them."""
        centre, crown = self.solution.centre_yd, self.solution.crown
        away = (centre[axis] - at_yd) / (centre[2] - crown.height(y_yd))
        return np.stack([away * part for part in shapes(y_yd)], axis=1)

    def distance(self, ideal: Array, axis: int, at_yd: Array, lift: Array | None = None) -> tuple[Array, Array, Array, Array]:
        """Signed px distances (N,) of ideal points from projected field lines, on which x (`axis` 0) or y (1) is `at_yd` (N,),
        `lift`ed (N, 2) by the crown, those lines' unit normals (N,), (N,), and the px (N,) that a yard across the line takes
        there."""
        back, far = self.back[axis], self.back[2]
        at = at_yd if lift is None else at_yd - lift @ self.solution.crown
        a, b, c = back[0] - at * far[0], back[1] - at * far[1], back[2] - at * far[2]
        length = np.maximum(np.hypot(a, b), 1e-12)
        u, v = ideal.T
        return (a * u + b * v + c) / length, a / length, b / length, np.abs(far[0] * u + far[1] * v + far[2]) / length


class _Points:
    """Points of stripes of one frame, in its picture and on the field."""

    def __init__(self, xy_px: FloatArray, normal_rad: FloatArray, width_px: FloatArray, view: _Seen) -> None:
        self.view, self.width_px = view, width_px
        self.xy = xy_px.astype(np.float64)
        self.ideal, spot = view.spots(self.xy)
        self.normal = np.cos(normal_rad), np.sin(normal_rad)
        self.on_field = np.isfinite(spot[:, 0])
        self.blur_px = WIDEST_BLURS * float(np.median(width_px)) if len(width_px) else 0.0
        self.spot = np.where(self.on_field[:, None], spot, 0.0)

    def on(self, axis: int, at_yd: Array, gate_px: float, usable: npt.NDArray[np.bool_], kind: int,
           outward: Array | None = None) -> Assigned:
        """The `usable` points near field lines at x or y (`axis` 0 or 1) of `at_yd` (N,); `outward` (N,) how these slide with the
        border."""
        lift = self.view.lifted(axis, at_yd, self.spot[:, 1])
        off, across, down, scale = self.view.distance(self.ideal, axis, at_yd, lift)
        along = np.abs(across * self.normal[0] + down * self.normal[1]) > SAME_DIRECTION
        fits = usable & along & (np.abs(off) < gate_px)
        if kind == YARD_LINE:
            fits &= self.width_px < self.blur_px + WIDEST_YD * scale
        good = np.flatnonzero(fits)
        line, slide = np.zeros((len(good), 3)), np.zeros((len(good), 4))
        line[:, axis], line[:, 2] = 1.0, -at_yd[good]
        slide[:, 1], slide[:, 2:] = 0.0 if outward is None else outward[good], lift[good]
        return Assigned(self.xy[good], line, slide, np.full(len(good), kind), self.spot[good], off[good],
                        self.width_px[good].astype(np.float64), scale[good], np.full(len(good), PAINT_SIGMA_YD[kind]))


def _narrow(ridges: Ridges, view: _Seen) -> _Points:
    return _Points(ridges.xy_px, ridges.normal_rad, ridges.width_px, view)


def _yard_lines(points: _Points, gate_px: float, beyond_yd: float = 1.0, between: bool = False) -> Assigned:
    x, y = points.spot.T
    first = YARD_LINE_SPACING_YD / 2.0 if between else 0.0
    nearest = np.round((x - first) / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD + first
    usable = points.on_field & (y > -beyond_yd) & (y < WIDTH_YD + beyond_yd)
    return points.on(0, nearest, gate_px, usable, YARD_LINE)


def _sidelines(points: _Points, ridges: Ridges, gate_px: float) -> list[Assigned]:
    view = points.view
    low, high = sideline_middles_yd(view.solution.border_yd)
    out = []
    for some in (points, _Points(ridges.wide[:, :2], ridges.wide[:, 2], ridges.wide[:, 3], view)):
        near = some.spot[:, 1] < WIDTH_YD / 2.0
        found = some.on(1, np.where(near, low, high), gate_px, some.on_field, SIDELINE, np.where(near, 1.0, -1.0))
        ideal = undistort(found.xy_px, view.solution.distortion, view.solution.image_size_px)
        along_px = view.distance(ideal, 0, found.field_yd[:, 0])[3]
        paint = np.where(along_px > YARD_MARKS_PX, PAINT_SIGMA_YD[SIDELINE], MERGED_SIGMA_YD)
        out.append(replace(found, paint_yd=paint))
    return out


def _dashes(ridges: Ridges, view: _Seen, level: str, gate: float) -> list[Assigned]:
    xy = ridges.dash_xy_px.astype(np.float64)
    ideal, spot = view.spots(xy)
    low, high = hash_rows_yd(level)
    on_field = np.isfinite(spot[:, 0])
    safe = np.where(on_field[:, None], spot, 0.0)
    lower = safe[:, 1] < WIDTH_YD / 2.0
    row = np.where(lower, low, high)
    slide = np.where(lower, -1.0, 1.0)
    # Where a yard line crosses the row stands a bar, and it stands on the row itself.
    bar = np.abs(safe[:, 0] - np.round(safe[:, 0] / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD) < BAR_REACH_YD
    slide[bar] = 0.0
    yard = np.asarray(np.round(safe[:, 0]), dtype=np.float64)
    zero, one = np.zeros(len(xy)), np.ones(len(xy))
    painted = row - slide * view.solution.mark_offset_yd
    along = np.stack([zero, one, -painted], axis=1)
    across = np.stack([one, zero, -yard], axis=1)
    lift = view.lifted(1, painted, row), view.lifted(0, yard, row)
    off_row, _, _, row_scale = view.distance(ideal, 1, painted, lift[0])
    off_yard, _, _, yard_scale = view.distance(ideal, 0, yard, lift[1])
    fine = gate <= FINE_GATE_PX
    near = on_field & (np.abs(safe[:, 1] - painted) < (0.5 if fine else 1.2)) & (np.abs(off_row) < gate)
    if fine:  # Marks stand on whole yards; worth asking only once x is better than a fraction of a yard.
        near &= np.abs(safe[:, 0] - yard) < BAR_REACH_YD
    kind = np.where(bar, HASH_BAR, HASH_MARK)
    slides = np.column_stack([slide, zero, lift[0]])
    out = [Assigned(xy[near], along[near], slides[near], kind[near], spot[near], off_row[near], zero[near], row_scale[near],
                    np.array(PAINT_SIGMA_YD)[kind[near]])]
    if fine:
        on = near & (np.abs(off_yard) < gate) & ~bar
        slides = np.column_stack([zero, zero, lift[1]])
        out.append(Assigned(xy[on], across[on], slides[on], np.full(int(on.sum()), HASH_YARD), spot[on], off_yard[on], zero[on],
                            yard_scale[on], one[on] * PAINT_SIGMA_YD[HASH_YARD]))
    return out


def thin_out(assigned: Assigned, per_line: int = POINTS_PER_LINE) -> Assigned:
    """About `per_line` points of each stripe, evenly spread; all dashes."""
    keys = assigned.line @ np.array([2000.0, 0.0, 1.0])
    order = np.lexsort((assigned.field_yd.sum(axis=1), keys))
    _, start, count = np.unique(keys[order], return_index=True, return_counts=True)
    rank = np.arange(len(order)) - np.repeat(start, count)
    stride = np.maximum(1, np.repeat(count, count) // per_line)
    return assigned[np.sort(order[(rank % stride == 0) | (assigned.kind[order] >= HASH_MARK)])]
