"""Where the rows lie (hash marks, sidelines): the last unknown of a first guess, and the one that tells the levels apart.

All rows run along x. Projected to the ground by a camera that is known but for its y, marks and solid stripes pile up at the
rows' distances; the field's four rows, with the hash rows of one level, are slid along until they fit best.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d

from homography.assign import hash_rows_yd
from homography.camera import ground, project
from homography.crown import LEVEL, Crown
from homography.field import WIDTH_YD
from homography.habit import MARK_OFFSETS_YD
from homography.stripes import Stripes

Array = npt.NDArray[np.float64]
BIN_YD = 0.25
REACH_YD = 130.0
BINS = int(2 * REACH_YD / BIN_YD)
COARSE_BLUR_YD, FINE_BLUR_YD = 0.6, 0.3
MARK_SHARE = 0.12
NEAR_SIDELINE_YD = {"sideline": (2.0, REACH_YD - WIDTH_YD - 1.0), "end-zone": (-55.0, 15.0)}
APART_BINS = 12
MARKS_RISE = 0.72
"""Of the crown, where the hash rows run: 0.67 to 0.89."""
ROW_WEIGHT = 0.12
PEAK_OF_BLUR = float(np.sqrt(2.0 * np.pi)) * FINE_BLUR_YD / BIN_YD
MARK_GAIN, MARK_MISS_COST = 2.5, 0.15
LINE_GAIN, LINE_MISS_COST = 1.5, 0.025
"""Log-likelihood ratios as in `score`: by mark, by point of a stripe, by px of a sideline."""
LEAST_APART_PX = 5.0
UPRIGHT_YD = 2.0
COARSER = 4


@dataclass(frozen=True)
class Guess:
    """A camera (`pose` (4,), `centre_yd` (3,)) for one frame, with the level that its rows suggest and how its marks lie on
    them."""

    view: str
    pose: Array
    centre_yd: Array
    level: str
    mark_offset_yd: float
    score: float


@dataclass(frozen=True)
class Based:
    """A camera that is known but for its y: pose (4,), height and x in yards, the score of the comb it came from, and the crown
    of the field, as far as its lines have told it."""

    view: str
    pose: Array
    height_yd: float
    x_yd: float
    score: float
    crown: Crown = LEVEL


def place_rows(based: Based, stripes: Stripes, dash_xy_px: Array, size: tuple[int, int], levels: tuple[str, ...],
               blur_yd: float = FINE_BLUR_YD) -> list[Guess]:
    """The two best distances to the near sideline, by level. `dash_xy_px` (M, 2) and the stripes in ideal px."""
    return _by_piles(based, *piles(based, stripes, dash_xy_px, size, blur_yd), levels)


def likely_rows(based: Based, stripes: Stripes, dash_xy_px: Array, size: tuple[int, int], levels: tuple[str, ...],
                level: str) -> list[Guess]:
    """The best two distances to the near sideline, by level, of a camera whose yard lines have been fitted: rows that should
    be seen and are not count against a place, so that a few strays on one row don't outbid two whole rows. Those of `level` as
    `place_rows` finds them come behind. `dash_xy_px` (M, 2) of the specks that may be marks, in ideal px like the stripes."""
    marks, solid = piles(based, stripes, dash_xy_px, size, FINE_BLUR_YD)
    count, length_px = to_be_seen(based, size)
    mark_gain = MARK_GAIN * np.minimum(PEAK_OF_BLUR * marks**2, count) - MARK_MISS_COST * count
    line_gain = LINE_GAIN * solid**2 - LINE_MISS_COST * length_px
    best = _best_places(based, mark_gain, line_gain, levels, -np.inf)
    known = {(place.level, place.mark_offset_yd, place.centre_yd[1]) for place in best}
    return best + [place for place in _by_piles(based, marks, solid, (level,))
                   if (place.level, place.mark_offset_yd, place.centre_yd[1]) not in known]


def _by_piles(based: Based, marks: Array, solid: Array, levels: tuple[str, ...]) -> list[Guess]:
    return [replace(place, score=float(based.score * (1.0 + ROW_WEIGHT * place.score)))
            for place in _best_places(based, marks, solid, levels, 0.0)]


def _best_places(based: Based, marks: Array, lines: Array, levels: tuple[str, ...], floor: float) -> list[Guess]:
    """The two best places of each level, apart from one another, for what each y (BINS,) gives as a row of marks and as a
    sideline; the sum is their score, and those at `floor` are none."""
    low, high = NEAR_SIDELINE_YD[based.view]
    start = np.arange(int((low + REACH_YD) / BIN_YD), int((high + REACH_YD) / BIN_YD))
    near_sideline_yd = (start + 0.5) * BIN_YD - REACH_YD

    def of(strength: Array, row_yd: float) -> Array:
        """What a row of a crowned field gives, as a camera that takes the field for level sees it."""
        seen_yd = (near_sideline_yd + row_yd) * (1.0 + float(based.crown.height(np.array(row_yd))) / based.height_yd)
        return np.asarray(strength[np.clip(((seen_yd + REACH_YD) / BIN_YD).astype(int), 0, BINS - 1)])

    sidelines = of(lines, 0.0) + of(lines, WIDTH_YD)
    found = []
    for level in levels:
        near, far = hash_rows_yd(level)
        total = np.array([of(marks, near + offset) + of(marks, far - offset) + sidelines for offset in MARK_OFFSETS_YD])
        for _ in range(2):
            habit, best = np.unravel_index(int(total.argmax()), total.shape)
            if total[habit, best] <= floor:
                break
            y0 = near_sideline_yd[best]
            # End-zone cameras look along +x with +y to the left, so both views share the field's orientation.
            centre = np.array([based.x_yd, -y0, based.height_yd])
            found.append(Guess(based.view, based.pose, centre, level, MARK_OFFSETS_YD[habit], float(total[habit, best])))
            total[:, max(0, best - APART_BINS): best + APART_BINS] = floor
    return found


def to_be_seen(based: Based, size: tuple[int, int]) -> tuple[Array, Array]:
    """(BINS,) how many whole yards of a row at each y lie in the picture, a few px apart, and the px of its visible run; the
    camera standing at y = 0."""
    x = np.arange(np.floor(based.x_yd) - 70.0, np.floor(based.x_yd) + 110.0)
    y = (np.arange(BINS) + 0.5) * BIN_YD - REACH_YD
    coarse = y[::COARSER]
    grid = np.stack(np.meshgrid(x, coarse), axis=-1)
    px = project(grid.reshape(-1, 2), based.pose, np.array([based.x_yd, 0.0, based.height_yd]), 0.0, size).reshape(grid.shape)
    with np.errstate(invalid="ignore"):
        inside: npt.NDArray[np.bool_] = np.asarray(((px > 0) & (px < np.array(size))).all(axis=2))
        apart = np.hypot(*np.moveaxis(np.diff(px, axis=1), 2, 0))
    apart = np.where(inside[:, 1:], np.nan_to_num(apart), 0.0)
    count, run = (apart > LEAST_APART_PX).sum(axis=1), apart.sum(axis=1)
    return np.interp(y, coarse, count), np.interp(y, coarse, run)


def piles(based: Based, stripes: Stripes, dash_xy_px: Array, size: tuple[int, int], blur_yd: float) -> tuple[Array, Array]:
    """(BINS,) strengths of rows of marks and of solid stripes by y, the camera standing at y = 0."""
    centre = np.array([based.x_yd, 0.0, based.height_yd])
    spot = ground(np.concatenate([dash_xy_px, stripes.ends_px.reshape(-1, 2)]), based.pose, centre, 0.0, size)
    spot = np.where(np.isfinite(spot).all(axis=1, keepdims=True) & (np.abs(spot[:, 1:]) < REACH_YD - 1), spot, np.nan)
    dash, ends = spot[: len(dash_xy_px)], spot[len(dash_xy_px):].reshape(-1, 2, 2)
    dash = dash[np.isfinite(dash[:, 0])]
    # On level ground what stands higher seems farther away.
    x = based.x_yd + (dash[:, 0] - based.x_yd) / (1.0 + MARKS_RISE * based.crown.top_yd / based.height_yd)
    off = x - np.round(x)
    # Marks stand on whole yards: what chance puts there is deducted, but for a little, as x may yet be a bit off.
    weight = np.exp(-((off / MARK_SHARE) ** 2)) - MARK_SHARE * np.sqrt(np.pi) + 0.1
    marks = np.bincount(((dash[:, 1] + REACH_YD) / BIN_YD).astype(int), weights=weight, minlength=BINS)
    along = np.abs(ends[:, 0] - ends[:, 1])
    with np.errstate(invalid="ignore"):
        level_row = (along[:, 1] < 0.06 * along[:, 0]) & (along[:, 0] > 4.0)
        if based.view == "end-zone":
            # Whatever stands upright runs away from the camera's foot: goal posts do, before the whole field.
            run = ends[:, 1] - ends[:, 0]
            foot = ends[:, 0, 1] - (ends[:, 0, 0] - based.x_yd) * run[:, 1] / run[:, 0]
            level_row &= np.abs(foot) > UPRIGHT_YD
    spots = ((ends[level_row, :, 1].mean(axis=1) + REACH_YD) / BIN_YD).astype(int)
    solid = np.bincount(spots, weights=np.minimum(stripes.points[level_row], 40) * 0.4, minlength=BINS)
    blurred = [gaussian_filter1d(pile, blur_yd / BIN_YD, truncate=3.0) for pile in (marks, solid)]
    return np.sqrt(np.maximum(blurred[0], 0.0)), np.sqrt(blurred[1])
