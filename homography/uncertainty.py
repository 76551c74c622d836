"""How sure the registration is, in yards, out of its own least-squares problem.

Fields are crowned, by up to some 20 in. (0.56 yd) at the middle. On a level plane a point that stands h above it is placed
h / tan(e) too far away, e being the angle at which the camera looks down on it: 12 yd above the field and 45 yd off that is
3.8 h. A plane was measured to cost, on fields drawn for the tests, 0.1 to 0.3 yd in the median and 0.3 to 1.2 in the worst
twentieth for 6 in. of crown; with 12 in. the marks fit no field any more. The crown is therefore found with the camera (`crown`).
No field has quite that shape: it is off by some `UNEVEN_YD` and `CROWN_SHARE` of the crown, a standard deviation of the height
that enters each frame's sigma. On fields as round as a parabola error over sigma is then about 1.

Least squares takes measurements to err each by itself. Where the model is wrong (another crown, a far line taken for its
neighbour, a focal length that drifts) whole stretches of lines are off together, by `misfit_px`: this enters as well, turned
into yards at the middle of the visible field, where far lines count for more the flatter they are seen.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.sparse.linalg import splu

from homography.adjust import SHARED, TOP, Solution
from homography.assign import Assigned
from homography.camera import LOG_FOCAL, PAN, TILT, ground
from homography.crown import Crown
from homography.field import WIDTH_YD

Array = npt.NDArray[np.float64]
UNEVEN_YD, CROWN_SHARE = 0.012, 0.16
SIGMA_SCALE = 2.0
SIGMA_FLOOR_YD = 0.02
PIECES, FEWEST_IN_PIECE = 6, 3
"""Of a line over the field's width, and points in one."""
ASKED_EVERY = 3
"""Frames: between them it hardly changes."""


def middle_px(solution: Solution, row: int) -> Array:
    """(2,) px: the middle of that part of the picture which shows the field; the picture's middle if none does."""
    size = solution.image_size_px
    x, y = np.meshgrid((np.arange(12) + 0.5) / 12 * size[0], (np.arange(8) + 0.5) / 8 * size[1])
    px = np.column_stack([x.ravel(), y.ravel()])
    spot = ground(px, *solution.eye(row))
    with np.errstate(invalid="ignore"):
        on = (spot[:, 1] > 0) & (spot[:, 1] < WIDTH_YD) & (np.abs(spot[:, 0] - solution.centre_yd[0]) < 100)
    return np.asarray(px[on].mean(axis=0) if on.any() else np.array(size) / 2.0)


def misfit_px(lines: Assigned) -> float:
    """By how much pieces of yard lines lie beside where the camera puts them, root mean square, less what the scatter of their
    points (N,) explains; NaN where too few are seen to tell."""
    across = np.clip(lines.field_yd[:, 1] / WIDTH_YD * PIECES, 0, PIECES - 1).astype(int)
    _, piece, count = np.unique(lines.line[:, 2] * PIECES + across, return_inverse=True, return_counts=True)
    middle = np.bincount(piece, lines.distance_px) / count
    use = count >= FEWEST_IN_PIECE
    free = (count[use] - 1).sum()
    if use.sum() < PIECES:
        return np.nan
    scatter = ((lines.distance_px - middle[piece])[use[piece]] ** 2).sum() / free
    return float(np.sqrt(max((middle[use] ** 2).mean() - (scatter / count[use]).mean(), 0.0)))


def filled(values: Array) -> Array:
    """(F,) values of which some are NaN, these from their neighbours; zeros where all are."""
    known = np.flatnonzero(np.isfinite(values))
    return np.interp(np.arange(len(values)), known, values[known]) if len(known) else np.zeros(len(values))


def sigmas(solution: Solution, misfit: Array) -> Array:
    """(F,) standard deviation in yards, per axis, of the field point in the middle of the visible field. `misfit` (F,) px: by how
    much the lines of each frame are off."""
    frames = len(solution.pose)
    size = 4 * frames + SHARED
    normal = solution.normal
    asked = np.unique(np.append(np.arange(0, frames, ASKED_EVERY), frames - 1))
    right = np.zeros((size, 2 * len(asked)))
    away, yd_per_px = np.zeros(len(asked)), np.zeros(len(asked))
    for i, f in enumerate(asked):
        px = middle_px(solution, f)[None]
        slope, spot = ground_slope(solution, f, px)
        right[4 * f:4 * f + 4, 2 * i:2 * i + 2] = slope[:4]
        right[size - SHARED:size - SHARED + 4, 2 * i:2 * i + 2] = slope[4:8]
        right[TOP:, 2 * i:2 * i + 2] = slope[8:]
        yd_per_px[i] = np.hypot(*slope[[PAN, TILT], 0]) / np.exp(solution.pose[f, LOG_FOCAL])
        away[i] = np.hypot(*(spot - solution.centre_yd[:2])) / solution.centre_yd[2]
    if isinstance(normal, np.ndarray):
        solved = np.linalg.solve(normal + 1e-9 * np.eye(size), right)
    else:
        solved = splu(normal.tocsc()).solve(right)
    variance = np.maximum((right * solved).sum(axis=0), 0.0).reshape(-1, 2).mean(axis=1)
    uneven = np.hypot(UNEVEN_YD, CROWN_SHARE * solution.crown.top_yd) * away
    variance += 0.5 * (misfit[asked] * yd_per_px) ** 2
    sigma = np.sqrt(SIGMA_SCALE**2 * variance + SIGMA_FLOOR_YD**2 + 0.5 * uneven**2)
    return np.asarray(np.interp(np.arange(frames), asked, sigma))


def ground_slope(solution: Solution, row: int, px: Array) -> tuple[Array, Array]:
    """(10, 2) derivatives of a picture point's field point by pose, centre, distortion and crown, and the field point (2,)."""
    def at(values: Array) -> Array:
        return np.asarray(ground(px, values[:4], values[4:7], float(values[7]), solution.image_size_px, Crown(*values[8:]))[0])

    base = np.concatenate([solution.pose[row], solution.centre_yd, [solution.distortion, *solution.crown]])
    spot = at(base)
    step = np.array([1e-6, 1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-5, 1e-4, 1e-4])
    slope = np.array([(at(base + h * np.eye(10)[i]) - spot) / h for i, h in enumerate(step)])
    return np.nan_to_num(slope), spot
