"""How well a camera explains one frame: paint that should be seen against paint that is seen.

Every painted line that should be in the picture is cut into bins; a bin with a ridge point on it speaks for the camera, an
empty one against it (people's boxes are left out). Lines half-way between the yard lines, and rows beside the hash rows, are
decoys: what is found on them speaks against. The sum is a log-likelihood ratio against chance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from homography.assign import SIDELINE, YARD_LINE, Assigned, assign, hash_rows_yd, sideline_middles_yd
from homography.camera import distort, ground, project
from homography.evidence import FrameEvidence
from homography.field import WIDTH_YD, YARD_LINE_SPACING_YD
from homography.lines import outside_boxes

Array = npt.NDArray[np.float64]
BIN_PX = 12.0
HIT_PX = 3.0
HIT_SIGMA_PX = 0.8
HIT_GAIN, MISS_COST = 2.7, 0.9
"""Of the bins on painted lines some 0.55 are hit, with normal residuals; by chance 0.11, evenly over +-HIT_PX: hence
log(0.55 / 0.11) + log(6 / (0.8 sqrt(2 pi))) less half the squared residual, and log(0.45 / 0.89) for a miss."""
SIDELINE_MISS_COST = 0.3
STRAY_SHARE = 0.3
CHANCE_SHARE = 0.12
OVERRUN_YD = (1.2, 25.0)
MARK_GAIN, MARK_MISS_COST = 3.0, 0.4
BORDER_PX = 8.0




@dataclass(frozen=True)
class Support:
    """`total` log-likelihood ratio; `yard_lines` how many are well covered, `covered` the share of visible yard-line bins with
    paint on them, `stray` the share on the decoy lines, `rows` the gain from hash rows and sidelines alone."""

    total: float
    yard_lines: int
    covered: float
    stray: float
    rows: float


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


def support(frame: FrameEvidence, pose: Array, centre_yd: Array, distortion: float, level: str) -> Support:
    """Score one camera on one frame whose paint was looked at."""
    assert frame.ridges is not None
    size = frame.image_size_px
    lines = visible_lines(pose, centre_yd, size)
    y = np.linspace(0.0, WIDTH_YD, 121)
    found = assign(frame.ridges, pose, centre_yd, distortion, size, level, HIT_PX, OVERRUN_YD[1])
    paint = coverage(frame, pose, centre_yd, distortion, found, YARD_LINE, lines, y)
    # No yard line goes on beyond a sideline, and none stands half-way between two.
    over = [coverage(frame, pose, centre_yd, distortion, found, YARD_LINE, lines, np.linspace(*ends, 49))
            for ends in ((-OVERRUN_YD[1], -OVERRUN_YD[0]), (WIDTH_YD + OVERRUN_YD[0], WIDTH_YD + OVERRUN_YD[1]))]
    shifted = centre_yd - np.array([YARD_LINE_SPACING_YD / 2.0, 0.0, 0.0])
    between = assign(frame.ridges, pose, shifted, distortion, size, level, HIT_PX)
    decoy = coverage(frame, pose, shifted, distortion, between, YARD_LINE, lines, y)
    if paint.bins.sum() == 0:
        return Support(0.0, 0, 0.0, 0.0, 0.0)
    along = np.linspace(centre_yd[0] - 70.0, centre_yd[0] + 110.0, 541)
    sides = coverage(frame, pose, centre_yd, distortion, found, SIDELINE, np.array(sideline_middles_yd()), along)
    gain = float((paint.gain - MISS_COST * (paint.bins - paint.hits)).sum())
    stray = float((HIT_GAIN * decoy.hits)[decoy.share > STRAY_SHARE].sum())
    stray += sum(float(HIT_GAIN * np.maximum(part.hits - CHANCE_SHARE * part.bins, 0.0).sum()) for part in over)
    rows = _hash_gain(frame, pose, centre_yd, distortion, level)
    rows += float((sides.gain - SIDELINE_MISS_COST * (sides.bins - sides.hits)).sum())
    return Support(gain - stray + rows, int(((paint.share > 0.4) & (paint.hits >= 5)).sum()),
                   float(paint.hits.sum() / paint.bins.sum()), float(decoy.hits.sum() / max(decoy.bins.sum(), 1.0)), rows)


def visible(frame: FrameEvidence, points_yd: Array, pose: Array, centre: Array, k: float) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Picture points (N, 2) of field points and whether they are in the picture with no person before them."""
    size = np.array(frame.image_size_px)
    ideal = project(points_yd, pose, centre, 0.0, frame.image_size_px)
    px = distort(ideal, k, frame.image_size_px)
    with np.errstate(invalid="ignore"):
        # Far outside the picture the radial term folds back.
        inside = ((px > BORDER_PX) & (px < size - BORDER_PX)).all(axis=1) & (np.abs(ideal - size / 2) < size * 0.75).all(axis=1)
    inside[inside] = outside_boxes(px[inside], frame.boxes_xyxy)
    return px, inside


def coverage(frame: FrameEvidence, pose: Array, centre: Array, k: float, found: Assigned, kind: int, lines: Array,
             along: Array) -> Coverage:
    """How the lines (L,) of one kind, sampled at `along` (S,), are covered by the points assigned to them."""
    if not len(lines):
        return Coverage(np.zeros(0), np.zeros(0), np.zeros(0))
    across, run = np.meshgrid(lines, along, indexing="ij")
    grid = np.stack([across, run] if kind == YARD_LINE else [run, across], axis=-1)
    px, inside = visible(frame, grid.reshape(-1, 2), pose, centre, k)
    px, inside = px.reshape(grid.shape), inside.reshape(grid.shape[:2])
    step = np.nan_to_num(np.linalg.norm(np.diff(px, axis=1), axis=2))
    number = (np.cumsum(np.where(inside[:, 1:], step, 0.0), axis=1) / BIN_PX).astype(int)
    number = np.concatenate([number[:, :1], number], axis=1)
    codes = np.arange(len(lines))[:, None] * 10000 + number
    seen = np.unique(codes[inside])
    mine = np.nonzero(found.kind == kind)[0]
    which = np.clip(np.searchsorted(lines, -found.line[mine, 2] - 1e-6), 0, len(lines) - 1)
    spot = np.clip(np.searchsorted(along, found.field_yd[mine, 1 if kind == YARD_LINE else 0]), 0, len(along) - 1)
    good = (np.abs(lines[which] + found.line[mine, 2]) < 1e-3) & inside[which, spot]
    code, first = np.unique(codes[which, spot][good], return_index=True)
    residual = found.distance_px[mine][good][first] / HIT_SIGMA_PX
    gain = np.maximum(HIT_GAIN - 0.5 * residual**2, -MISS_COST)
    count = len(lines)
    return Coverage(np.bincount(seen // 10000, minlength=count).astype(float), np.bincount(code // 10000, minlength=count).astype(float),
                    np.bincount(code // 10000, weights=gain, minlength=count))


def visible_lines(pose: Array, centre: Array, size: tuple[int, int]) -> Array:
    """x of the multiples of 5 yd that cross the picture at least 6 px apart, at most 30 of them."""
    y = np.linspace(0.0, WIDTH_YD, 25)
    near = np.arange(-24, 25) * YARD_LINE_SPACING_YD + np.round(centre[0] / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
    grid = np.stack(np.meshgrid(near, y, indexing="ij"), axis=-1)
    px = project(grid.reshape(-1, 2), pose, centre, 0.0, size).reshape(grid.shape)
    with np.errstate(invalid="ignore"):
        seen = ((px > 0) & (px < np.array(size))).all(axis=2)
        apart = np.linalg.norm(np.diff(px, axis=0), axis=2)
        apart = np.where(np.isfinite(apart), apart, 0.0)
        spaced = (seen[:-1] * apart).max(axis=1)
    spaced = np.concatenate([spaced, spaced[-1:]])
    return np.asarray(near[seen.any(axis=1) & (spaced > 6.0)][:30])


def _hash_gain(frame: FrameEvidence, pose: Array, centre: Array, k: float, level: str) -> float:
    """Gain of the marks found on the hash rows over those found on decoy rows beside them, the better of two habits of
    painting: a mark at each yard, or at the five-yard lines only."""
    assert frame.ridges is not None
    x = np.arange(np.ceil(centre[0] - 70.0), np.ceil(centre[0] + 110.0))
    gain = 0.0
    for row in hash_rows_yd(level):
        px, inside = visible(frame, np.column_stack([x, np.full_like(x, row)]), pose, centre, k)
        with np.errstate(invalid="ignore"):
            inside &= np.concatenate([[0.0], np.linalg.norm(np.diff(px, axis=0), axis=1)]) > 5.0
        if not inside.any():
            continue
        hits = marks_at(frame, pose, centre, k, row)
        decoys = [marks_at(frame, pose, centre, k, row + off) for off in (-1.7, 1.7)]
        best = 0.0
        for use in (inside, inside & (np.abs(x / 5 - np.round(x / 5)) < 1e-6)):
            hit = float(np.isin(x[use], hits).sum())
            stray = 0.5 * sum(float(np.isin(x[use], marks).sum()) for marks in decoys)
            best = max(best, MARK_GAIN * (hit - stray) - MARK_MISS_COST * (use.sum() - hit))
        gain += best
    return gain


def marks_at(frame: FrameEvidence, pose: Array, centre: Array, k: float, row: float) -> Array:
    """Whole yards x at which a dash stands on the row at `row` yards."""
    assert frame.ridges is not None
    spot = ground(frame.ridges.dash_xy_px.astype(np.float64), pose, centre, k, frame.image_size_px)
    with np.errstate(invalid="ignore"):
        on = (np.abs(spot[:, 1] - row) < 0.45) & (np.abs(spot[:, 0] - np.round(spot[:, 0])) < 0.22)
    return np.unique(np.round(spot[on, 0]))
