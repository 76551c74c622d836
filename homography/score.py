"""How well a camera explains one frame: paint that should be seen against paint that is seen.

Every painted line that should be in the picture is cut into bins; a bin with a ridge point on it speaks for the camera, an
empty one against it (people's boxes are left out). Lines half-way between the yard lines, yard lines beyond the sidelines and
rows of marks beside the hash rows are decoys: what is found on them speaks against. The sum is a log-likelihood ratio against
chance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.assign import (
    SIDELINE,
    YARD_LINE,
    Assigned,
    assign_stripes,
    assign_with_decoys,
    hash_rows_yd,
    sideline_middles_yd,
)
from homography.camera import distort, ground, project
from homography.evidence import FrameEvidence
from homography.field import WIDTH_YD, YARD_LINE_SPACING_YD
from homography.mark_shape import expected_px, fits_a_mark, length_ratio
from homography.solution import Solution

Array = npt.NDArray[np.float64]
BIN_PX = 12.0
HIT_PX = 3.0
HIT_SIGMA_PX = 0.8
HIT_GAIN, MISS_COST = 2.7, 0.9
"""Of the bins on painted lines some 0.55 are hit, with normal residuals; by chance 0.11, evenly over +-HIT_PX: hence
log(0.55 / 0.11) + log(6 / (0.8 sqrt(2 pi))) less half the squared residual, and log(0.45 / 0.89) for a miss."""
SIDELINE_MISS_COST = 0.3
MOST_OF_SIDELINE, LEAST_SIDELINE_BINS = 0.5, 20.0
STRAY_SHARE = 0.3
CHANCE_SHARE = 0.12
OVERRUN_YD = (1.2, 25.0)
ALONG = np.linspace(-OVERRUN_YD[1], WIDTH_YD + OVERRUN_YD[1], 105)
MARK_GAIN, MARK_MISS_COST = 3.0, 0.4
ROW_REACH_YD = 0.4
MARK_SIGMA_YD = 0.15
DECOY_ROWS_YD = (-1.7, 1.7)
STRAY_ROW_BIN_YD = 0.5
STRAY_ROW_LEAST = 4.0
ON_YARD = 0.22
LENGTH_SD, MOST_LENGTH_COST = 0.2, 1.0
"""Of a mark's length about the rules' 24 in., as a share; a field whose marks were painted otherwise loses no more than that a
mark."""
BORDER_PX = 8.0


@dataclass(frozen=True)
class Support:
    """`total` log-likelihood ratio; `yard_lines` how many are well covered, `covered` the share of visible yard-line bins with
    paint on them, `rows` the gain from hash rows and sidelines alone, `sharp` the mean gain of a yard-line bin that is hit."""

    total: float
    yard_lines: int
    covered: float
    rows: float
    sharp: float


@dataclass(frozen=True)
class Coverage:
    """Per line (L,): bins in the picture, bins hit, and the summed gain of the hits."""

    bins: Array
    hits: Array
    gain: Array

    @property
    def share(self) -> Array:
        """(L,) hit share of the visible bins."""
        return np.asarray(self.hits / np.maximum(self.bins, 1.0))


def support(frame: FrameEvidence, solution: Solution, row: int, level: str) -> Support:
    """Score pose `row` of a solution on one frame whose paint was looked at."""
    assert frame.ridges is not None
    lines = visible_lines(solution, row)
    found, between = assign_with_decoys(frame.ridges, solution, row, HIT_PX, OVERRUN_YD[1])
    inner = (ALONG >= 0.0) & (ALONG <= WIDTH_YD)
    outer = (-OVERRUN_YD[0] >= ALONG) | (WIDTH_YD + OVERRUN_YD[0] <= ALONG)
    paint, over = coverage(frame, solution, row, found, YARD_LINE, lines, ALONG, (inner, outer))
    if paint.bins.sum() == 0:
        return Support(0.0, 0, 0.0, 0.0, 0.0)
    decoy, = coverage(frame, solution, row, between, YARD_LINE, lines + YARD_LINE_SPACING_YD / 2.0, ALONG[inner],
                      (np.ones(int(inner.sum()), dtype=bool),))
    by_line = paint.gain - MISS_COST * (paint.bins - paint.hits)
    stray = float((HIT_GAIN * decoy.hits)[decoy.share > STRAY_SHARE].sum())
    ours = np.ones(len(lines), dtype=bool)
    if solution.every_other:
        even = np.round(lines / YARD_LINE_SPACING_YD).astype(int) % 2 == 0
        unpainted = np.where(paint.share > STRAY_SHARE, HIT_GAIN * paint.hits, 0.0)
        ours = max((even, ~even), key=lambda half: float(by_line[half].sum() - unpainted[~half].sum()))
        stray += float(unpainted[~ours].sum())
    gain = float(by_line[ours].sum())
    stray += float(HIT_GAIN * np.maximum(over.hits - CHANCE_SHARE * over.bins, 0.0).sum())
    rows = hash_gain(frame, solution, row, level) + sideline_gain(frame, solution, row, found)
    hits = float(paint.hits[ours].sum())
    return Support(gain - stray + rows, int(((paint.share > 0.4) & (paint.hits >= 5) & ours).sum()),
                   hits / max(float(paint.bins[ours].sum()), 1.0), rows, float(paint.gain[ours].sum()) / max(hits, 1.0))


def rows_gain(frame: FrameEvidence, solution: Solution, row: int, level: str) -> float:
    """`rows` of the support alone."""
    assert frame.ridges is not None
    found = assign_stripes(frame.ridges, solution, row, HIT_PX)
    return hash_gain(frame, solution, row, level) + sideline_gain(frame, solution, row, found)


def sideline_gain(frame: FrameEvidence, solution: Solution, row: int, found: Assigned) -> float:
    """What the sidelines give."""
    sides = _sidelines(frame, solution, row, found)
    return float((sides.gain - SIDELINE_MISS_COST * (sides.bins - sides.hits)).sum())


def both_sidelines(frame: FrameEvidence, solution: Solution, row: int) -> bool:
    """Whether both are painted where the camera has them, over most of what the picture should show of them."""
    assert frame.ridges is not None
    sides = _sidelines(frame, solution, row, assign_stripes(frame.ridges, solution, row, HIT_PX))
    return bool((sides.share > MOST_OF_SIDELINE).all() and (sides.hits > LEAST_SIDELINE_BINS).all())


def _sidelines(frame: FrameEvidence, solution: Solution, row: int, found: Assigned) -> Coverage:
    along = np.linspace(solution.centre_yd[0] - 70.0, solution.centre_yd[0] + 110.0, 361)
    middles = np.array(sideline_middles_yd(solution.border_yd))
    return coverage(frame, solution, row, found, SIDELINE, middles, along, (np.ones(len(along), dtype=bool),))[0]


def visible(frame: FrameEvidence, points_yd: Array, solution: Solution, row: int) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Picture points (N, 2) of field points and whether they are in the picture with no person before them."""
    size = np.array(frame.image_size_px)
    ideal = project(points_yd, *replace(solution, distortion=0.0).eye(row))
    px = distort(ideal, solution.distortion, frame.image_size_px)
    with np.errstate(invalid="ignore"):
        # Far outside the picture the radial term folds back.
        near = (px > BORDER_PX) & (px < size - BORDER_PX) & (np.abs(ideal - size / 2) < size * 0.75)
    inside: npt.NDArray[np.bool_] = np.asarray(near.all(axis=1))
    inside[inside] = frame.unhidden(px[inside])
    return px, inside


def coverage(frame: FrameEvidence, solution: Solution, row: int, found: Assigned, kind: int, lines: Array, along: Array,
             parts: tuple[npt.NDArray[np.bool_], ...]) -> list[Coverage]:
    """How the lines (L,) of one kind, sampled at `along` (S,), are covered by the points assigned to them, for each part (masks
    (S,)) of their run."""
    count = len(lines)
    if not count:
        return [Coverage(np.zeros(0), np.zeros(0), np.zeros(0)) for _ in parts]
    across, run = np.meshgrid(lines, along, indexing="ij")
    grid = np.stack([across, run] if kind == YARD_LINE else [run, across], axis=-1)
    px, inside = visible(frame, grid.reshape(-1, 2), solution, row)
    px, inside = px.reshape(grid.shape), inside.reshape(grid.shape[:2])
    step = np.nan_to_num(np.hypot(*np.moveaxis(np.diff(px, axis=1), 2, 0)))
    bins = np.zeros((count, len(along)))
    bins[:, 1:] = np.minimum(np.where(inside[:, 1:], step, 0.0) / BIN_PX, 20.0)
    mine = np.nonzero(found.kind == kind)[0]
    which = np.clip(np.searchsorted(lines, -found.line[mine, 2] - 1e-6), 0, count - 1)
    # Points fall between two samples: their bin lies that far between the samples' bins.
    spot = found.field_yd[mine, 1 if kind == YARD_LINE else 0]
    nearest = np.clip(np.searchsorted(along, spot), 1, len(along) - 1)
    share = np.clip((spot - along[nearest - 1]) / (along[nearest] - along[nearest - 1]), 0.0, 1.0)
    total = np.cumsum(bins, axis=1)
    code = (total[which, nearest - 1] + share * (total[which, nearest] - total[which, nearest - 1])).astype(int) + 10000 * which
    good = (np.abs(lines[which] + found.line[mine, 2]) < 1e-3) & inside[which, nearest]
    gain = np.maximum(HIT_GAIN - 0.5 * (found.distance_px[mine] / HIT_SIGMA_PX) ** 2, -MISS_COST)
    out = []
    for part in parts:
        there = good & part[nearest]
        hit, first = np.unique(code[there], return_index=True)
        seen = np.where(inside & part, bins, 0.0).sum(axis=1)
        hits = np.minimum(np.bincount(hit // 10000, minlength=count).astype(float), seen)
        gained = np.bincount(hit // 10000, weights=gain[there][first], minlength=count).astype(float)
        out.append(Coverage(seen, hits, gained))
    return out


def visible_lines(solution: Solution, row: int) -> Array:
    """x of the multiples of 5 yd that cross the picture at least 6 px apart, at most 30 of them."""
    size, centre = solution.image_size_px, solution.centre_yd
    y = np.linspace(0.0, WIDTH_YD, 25)
    near = np.arange(-24, 25) * YARD_LINE_SPACING_YD + np.round(centre[0] / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
    grid = np.stack(np.meshgrid(near, y, indexing="ij"), axis=-1)
    px = project(grid.reshape(-1, 2), *replace(solution, distortion=0.0).eye(row)).reshape(grid.shape)
    with np.errstate(invalid="ignore"):
        seen: npt.NDArray[Any] = np.asarray(((px > 0) & (px < np.array(size))).all(axis=2))
        apart = np.linalg.norm(np.diff(px, axis=0), axis=2)
        apart = np.where(np.isfinite(apart), apart, 0.0)
        spaced = (seen[:-1] * apart).max(axis=1)
    spaced = np.concatenate([spaced, spaced[-1:]])
    return np.asarray(near[seen.any(axis=1) & (spaced > 6.0)][:30])


def hash_gain(frame: FrameEvidence, solution: Solution, row: int, level: str) -> float:
    """Gain of the marks found on the hash rows over those on decoy rows, the better of two habits of painting: a mark at each
    yard, or at the five-yard lines only. A row of marks elsewhere in the field counts against the camera."""
    assert frame.ridges is not None
    eye = solution.eye(row)
    dash_px, size_px = frame.ridges.dash_xy_px, frame.ridges.dash_size_px
    expected = expected_px(dash_px, eye)
    shaped = fits_a_mark(size_px, expected)
    spot = ground(dash_px[shaped].astype(np.float64), *eye)
    with np.errstate(invalid="ignore"):
        inside_field = (spot[:, 1] > 2.0) & (spot[:, 1] < WIDTH_YD - 2.0)
    spot = spot[inside_field]
    stray_rows = stray_row_marks(spot, level, solution.mark_offset_yd)
    on_yard = np.abs(spot[:, 0] - np.round(spot[:, 0])) < ON_YARD
    spot, marks = spot[on_yard], np.nonzero(shaped)[0][inside_field][on_yard]
    x = np.arange(np.ceil(solution.centre_yd[0] - 70.0), np.ceil(solution.centre_yd[0] + 110.0))
    five = np.abs(x / YARD_LINE_SPACING_YD - np.round(x / YARD_LINE_SPACING_YD)) < 1e-6
    # Bars on the yard lines stand on the inbounds line itself.
    bar = np.abs(spot[:, 0] - YARD_LINE_SPACING_YD * np.round(spot[:, 0] / YARD_LINE_SPACING_YD)) < ON_YARD
    gain, on_rows = 0.0, np.zeros(len(spot), dtype=bool)
    for inbounds, inward in zip(hash_rows_yd(level), (1.0, -1.0), strict=True):
        middle = inbounds + inward * solution.mark_offset_yd
        px, inside = visible(frame, np.column_stack([x, np.full_like(x, middle)]), solution, row)
        with np.errstate(invalid="ignore"):
            inside[1:] &= np.hypot(*np.diff(px, axis=0).T) > 5.0
        inside[0] = False
        off = spot[:, 1] - np.where(bar, inbounds, middle)
        on_rows |= (np.abs(off) < ROW_REACH_YD) & ~bar
        stray = 0.5 * sum(marks_gain(x, spot, off - decoy) for decoy in DECOY_ROWS_YD)
        each = marks_gain(x, spot, off) - stray - MARK_MISS_COST
        gain += max(0.0, float(each[inside].sum()), float(each[inside & five].sum()))
    # Seen from behind the goal, a wider field from higher up looks the same but for the length of its marks.
    here = marks[on_rows]
    ratio = length_ratio(size_px[here], expected[0][here])
    cost = min(0.5 * float(np.log(ratio) / LENGTH_SD) ** 2, MOST_LENGTH_COST)
    return float(gain - MARK_GAIN * stray_rows - cost * on_rows.sum())


def marks_gain(x: Array, spot: Array, off: Array) -> Array:
    """(X,) gain of the best mark at each of the consecutive whole yards `x` (X,), from the marks (M, 2) and their distances `off`
    (M,) from the row."""
    gain = np.where(np.abs(off) < ROW_REACH_YD, MARK_GAIN - 0.5 * (off / MARK_SIGMA_YD) ** 2, 0.0)
    yard = np.round(spot[:, 0] - x[0]).astype(int)
    good = (yard >= 0) & (yard < len(x)) & (gain > 0)
    best = np.zeros(len(x))
    np.maximum.at(best, yard[good], gain[good])
    return best


def stray_row_marks(spot: Array, level: str, mark_offset_yd: float) -> float:
    """Marks in the two best filled rows of marks that lie elsewhere than the hash rows. Chance dashes fall on whole yards as
    often as between them, so those between are deducted."""
    off = np.abs(spot[:, 0] - np.round(spot[:, 0]))
    weight = np.where(off < ON_YARD, 1.0, -ON_YARD / (0.5 - ON_YARD))
    inbounds = [row + inward * mark_offset_yd for row, inward in zip(hash_rows_yd(level), (1.0, -1.0), strict=True)]
    known = np.min([np.abs(spot[:, 1] - row) for row in inbounds], axis=0) < 2.0 * ROW_REACH_YD
    five = np.abs(spot[:, 0] / YARD_LINE_SPACING_YD - np.round(spot[:, 0] / YARD_LINE_SPACING_YD)) < 0.1
    use = ~known & ~five
    bins = int(WIDTH_YD / STRAY_ROW_BIN_YD) + 1
    counts = np.bincount((spot[use, 1] / STRAY_ROW_BIN_YD).astype(int), weights=weight[use], minlength=bins)
    pairs = np.sort(counts[:-1] + counts[1:])[::-1][:2]
    return float(np.maximum(pairs - STRAY_ROW_LEAST, 0.0).sum())
