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

from homography.assign import Assigned
from homography.camera import LOG_FOCAL, PAN, TILT, Eye, ground
from homography.crown import Crown
from homography.field import WIDTH_YD
from homography.solution import SHARED, TOP, Solution
from homography.view import field_px, growth, middle_px

Array = npt.NDArray[np.float64]
UNEVEN_YD, CROWN_SHARE = 0.0035, 0.03
SIGMA_SCALE, MISFIT_SHARE = 1.2, 0.5
SIGMA_FLOOR_YD = 0.004
PIECES, FEWEST_IN_PIECE = 6, 3
"""Of a line over the field's width, and points in one."""
ASKED_EVERY, POINTS = 8, 3
"""Frames: between them it hardly changes; and points in each."""


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


def asked_px(eye: Eye) -> Array:
    """(POINTS, 2) px: the middle of the visible field, of its nearer and of its farther half."""
    px, middle = field_px(eye), middle_px(eye)
    halves = [px[px[:, 1] > middle[1]], px[px[:, 1] < middle[1]]]
    return np.array([middle, *(half.mean(axis=0) if len(half) else middle for half in halves)])


def sigmas(solution: Solution, misfit: Array) -> Array:
    """(F,) standard deviation in yards, per axis, of the field point in the middle of the visible field, such that `sigma_at`
    holds near and far as well. `misfit` (F,) px: by how much the lines of each frame are off."""
    frames = len(solution.pose)
    size = 4 * frames + SHARED
    asked = np.unique(np.append(np.arange(0, frames, ASKED_EVERY), frames - 1))
    right = np.zeros((size, len(asked), POINTS, 2))
    yd_per_px, away = np.zeros((2, len(asked), POINTS))
    for i, f in enumerate(asked):
        slope, spot = ground_slope(solution, f, asked_px(solution.eye(f)))
        right[4 * f:4 * f + 4, i] = slope[:4]
        right[size - SHARED:size - SHARED + 4, i] = slope[4:8]
        right[TOP:, i] = slope[8:]
        yd_per_px[i] = np.sqrt((slope[[PAN, TILT]] ** 2).sum(axis=(0, 2)) / 2.0) / np.exp(solution.pose[f, LOG_FOCAL])
        away[i] = np.hypot(*(spot - solution.centre_yd[:2]).T) / solution.centre_yd[2]
    columns = right.reshape(size, -1)
    if isinstance(solution.normal, np.ndarray):
        solved = np.linalg.solve(solution.normal + 1e-9 * np.eye(size), columns)
    else:
        solved = splu(solution.normal.tocsc()).solve(columns)
    variance = SIGMA_SCALE**2 * np.maximum((columns * solved).sum(axis=0), 0.0).reshape(len(asked), POINTS, 2).mean(axis=2)
    variance += MISFIT_SHARE * (misfit[asked, None] * yd_per_px) ** 2
    variance += 0.5 * (np.hypot(UNEVEN_YD, CROWN_SHARE * solution.crown.top_yd) * away) ** 2
    farther = yd_per_px / np.maximum(yd_per_px[:, :1], 1e-9)
    sigma = np.sqrt((variance / growth(farther) ** 2).mean(axis=1) + SIGMA_FLOOR_YD**2)
    return np.asarray(np.interp(np.arange(frames), asked, sigma))


def ground_slope(solution: Solution, row: int, px: Array) -> tuple[Array, Array]:
    """(10, N, 2) derivatives of picture points' (N, 2) field points by pose, centre, distortion and crown, and these (N, 2)."""
    def at(values: Array) -> Array:
        return ground(px, values[:4], values[4:7], float(values[7]), solution.image_size_px, Crown(*values[8:]))

    base = np.concatenate([solution.pose[row], solution.centre_yd, [solution.distortion, *solution.crown]])
    spot = at(base)
    step = np.array([1e-6, 1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-5, 1e-4, 1e-4])
    slope = np.array([(at(base + h * np.eye(10)[i]) - spot) / h for i, h in enumerate(step)])
    return np.nan_to_num(slope), spot
