"""Least squares over all frames at once: one camera centre and distortion, a pose per frame (a bundle adjustment).

Measurements are picture points that lie on known field lines, and background points seen in two frames. Outliers are
weighed down by the Geman-McClure kernel. The Jacobian comes from forward differences, nearly all parameters of all frames
in one batched evaluation; the normal matrix is sparse (a band of poses with a border of shared parameters).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse.linalg import splu

from homography.camera import LOG_FOCAL, Eye, calibration, rotation, undistort
from homography.crown import CROWN_RANGE_YD, CROWN_SD_YD, LEVEL, ROUNDNESS, USUAL_CROWN, Crown
from homography.field import LINE_WIDTH_YD

Array = npt.NDArray[np.float64]
STEPS = np.array([1e-6, 1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-5])
SHARED = 8  # centre x, y, z, distortion, mark offset, border, top and bulge of the crown
OFFSET, BORDER, TOP = -4, -3, -2
KERNEL = 3.0
DAMPING = 1e-6
PIN = 1e6
DENSE_SIZE = 70
MOST_DAMPING = 1e3
LEAST_HEIGHT_YD, MOST_LOG_ZOOM = 0.5, 6.0
MOST_OFFSET_YD = 0.4
"""Marks are two feet long: with an end on the inbounds line, their middle is a foot off."""
HELD_BULGE_SD_YD = 0.01
"""A few frames do not tell how round a crown is."""
BORDER_RANGE_YD = (-0.3, 1.5)
"""Below zero where yard marks melt into the stripe."""


@dataclass(frozen=True)
class Measurements:
    """`xy_px` (N, 2) picture points on the field lines `line` (N, 3), a x + b y + c + slide @ (mark offset, border, top, bulge)
    = 0 in yards on level ground, with `sigma_px` (N,), seen in the frames `row` (N,). Of `slide` (N, 4) the first two are 0 but
    for hash marks and sidelines; the others are by how much the crown there shifts the line away from the camera (see `Crown`).
    And background points `before_px`/`after_px` (P, 2) in the frames `from_row`/`to_row` (P,)."""

    row: npt.NDArray[Any]
    xy_px: Array
    line: Array
    slide: Array
    sigma_px: Array
    from_row: npt.NDArray[Any]
    to_row: npt.NDArray[Any]
    before_px: Array
    after_px: Array
    motion_sigma_px: float = 0.25


@dataclass(frozen=True)
class Prior:
    """What is held to be likely before looking: each value with its standard deviation. `known` gives further rows for a solution
    and the number of its parameters, taken with full weight whatever they say: a person's word."""

    centre_yd: Array
    centre_sd_yd: Array
    distortion: float = -0.012
    distortion_sd: float = 0.012
    mark_offset_yd: float = 0.0
    mark_offset_sd_yd: float = 0.25
    border_yd: float = LINE_WIDTH_YD / 2.0
    border_sd_yd: float = 0.3
    crown_yd: float = USUAL_CROWN.top_yd
    crown_sd_yd: float = CROWN_SD_YD
    bulge_sd_yd: float = HELD_BULGE_SD_YD
    roll_sd_rad: float = 0.03
    roll_step_sd_rad: float = 0.0015
    pose: Array | None = None
    pose_sd: Array = field(default_factory=lambda: np.full(4, np.inf))
    known: Callable[[Solution, int], Part] | None = None


@dataclass(frozen=True)
class Solution:
    """`pose` (F, 4), `centre_yd` (3,), `distortion`; `mark_offset_yd` by how much the middles of the hash marks lie nearer to the
    field's middle than the inbounds line (some painters put a mark's end on it, some its middle); `border_yd` how far outside the
    sidelines the middles of their stripes lie; the field's `crown`; `every_other` yard line alone is painted; `cost` the
    robust sum; `normal` the information matrix (4 F + SHARED square, poses frame by frame, then the shared ones), None before
    `adjust` has run."""

    pose: Array
    centre_yd: Array
    distortion: float
    image_size_px: tuple[int, int]
    mark_offset_yd: float = 0.0
    border_yd: float = LINE_WIDTH_YD / 2.0
    crown: Crown = LEVEL
    every_other: bool = False
    cost: float = np.inf
    normal: Any = None

    def eye(self, row: int) -> Eye:
        """What `project` and `ground` ask of a frame's camera."""
        return self.pose[row], self.centre_yd, self.distortion, self.image_size_px, self.crown


def adjust(start: Solution, seen: Measurements, prior: Prior, rounds: int = 8, tolerance: float = 1e-4) -> Solution:
    """Improve a solution by damped, iteratively reweighted Gauss-Newton steps."""
    now, damping = start, DAMPING
    residual, jacobian = linearise(now, seen, prior)
    cost = robust_cost(residual, seen)
    for _ in range(rounds):
        weight = robust_weight(residual, seen)
        normal, weighted = information(jacobian, weight)
        gradient = weighted.T @ residual
        step = damped_step(normal, gradient, damping)
        top_yd = float(np.clip(now.crown.top_yd - step[TOP], *CROWN_RANGE_YD))
        if top_yd != now.crown.top_yd - step[TOP]:
            # The best step with the crown at its bound; the step without the bound, cut off there, might lead nowhere.
            step = damped_step(normal, gradient, damping, now.crown.top_yd - top_yd)
        trial = moved(now, -step)
        trial_cost = np.inf
        if possible(trial):
            trial_residual, trial_jacobian = linearise(trial, seen, prior)
            trial_cost = robust_cost(trial_residual, seen)
        if not np.isfinite(trial_cost) or trial_cost > cost * (1 + 1e-9):
            damping = max(damping, 1e-6) * 30.0
            if damping > MOST_DAMPING:
                break
            continue
        gain = cost - trial_cost
        now, residual, jacobian, cost, damping = trial, trial_residual, trial_jacobian, trial_cost, max(damping / 10.0, DAMPING)
        if gain < tolerance * cost:
            break
    return replace(now, cost=cost, normal=information(jacobian, robust_weight(residual, seen))[0])


def possible(solution: Solution) -> bool:
    """Whether the poses are such as a camera can have, so that each has a plane."""
    return bool(np.isfinite(solution.pose).all() and solution.centre_yd[2] > LEAST_HEIGHT_YD
                and (np.abs(solution.pose[:, LOG_FOCAL] - np.log(solution.image_size_px[0])) < MOST_LOG_ZOOM).all())


def moved(solution: Solution, step: Array) -> Solution:
    """A solution with a step (4 F + SHARED,) added."""
    pose, shared = solution.pose + step[:-SHARED].reshape(-1, 4), step[-SHARED:]
    return replace(solution, pose=pose, centre_yd=solution.centre_yd + shared[:3],
                   distortion=float(solution.distortion + shared[3]),
                   mark_offset_yd=float(np.clip(solution.mark_offset_yd + shared[4], -MOST_OFFSET_YD, MOST_OFFSET_YD)),
                   border_yd=float(np.clip(solution.border_yd + shared[5], *BORDER_RANGE_YD)),
                   crown=Crown(float(np.clip(solution.crown.top_yd + shared[TOP], *CROWN_RANGE_YD)),
                               float(solution.crown.bulge_yd + shared[-1])))


def robust_weight(residual: Array, seen: Measurements) -> Array:
    """(R,) weights; the rows at the end, of the priors and of what is known, keep weight 1."""
    squared = (residual / KERNEL) ** 2
    weight = 1.0 / (1.0 + squared) ** 2
    weight[len(seen.row) + 2 * len(seen.from_row):] = 1.0
    return np.asarray(weight)


def robust_cost(residual: Array, seen: Measurements) -> float:
    """Half the robust sum of squares."""
    hard = len(seen.row) + 2 * len(seen.from_row)
    squared = residual[:hard] ** 2
    return float(0.5 * (squared / (1.0 + squared / KERNEL**2)).sum() + 0.5 * (residual[hard:] ** 2).sum())


def linearise(solution: Solution, seen: Measurements, prior: Prior) -> tuple[Array, Any]:
    """Residuals (R,) in standard deviations and their Jacobian (R, 4 F + SHARED), sparse where there are many frames."""
    size = 4 * len(solution.pose) + SHARED
    parts = [line_part(solution, seen, size), motion_part(solution, seen, size), prior_part(solution, prior, size)]
    if prior.known is not None:
        parts.append(prior.known(solution, size))
    residual = np.concatenate([part.residual for part in parts])
    if size > DENSE_SIZE:
        return residual, sparse.vstack([csr(part, size) for part in parts]).tocsr()
    return residual, np.concatenate([dense(part, size) for part in parts])


def information(jacobian: Any, weight: Array) -> tuple[Any, Any]:
    """Normal matrix J^T W J and the weighted Jacobian."""
    if isinstance(jacobian, np.ndarray):
        weighted = jacobian * weight[:, None]
        return weighted.T @ jacobian, weighted
    weighted = jacobian.multiply(weight[:, None]).tocsr()
    return (weighted.T @ jacobian).tocsc(), weighted


def damped_step(normal: Any, gradient: Array, damping: float, top_yd: float | None = None) -> Array:
    """Solve the damped normal equations; with `top_yd`, for a step that takes the crown's top by that."""
    load = damping * normal.diagonal() + 1e-9
    if top_yd is not None:
        pin = PIN * normal.diagonal()[TOP]
        load[TOP] += pin
        gradient = gradient.copy()
        gradient[TOP] += pin * top_yd
    if isinstance(normal, np.ndarray):
        return np.linalg.solve(normal + np.diag(load), gradient)
    return np.asarray(splu(normal + sparse.diags(load)).solve(gradient))


@dataclass(frozen=True)
class Part:
    """Rows of the Jacobian with the same number of entries each: `values` and `columns` (R, E); doubled columns add up."""

    residual: Array
    values: Array
    columns: npt.NDArray[Any]


NO_PART = Part(np.zeros(0), np.zeros((0, 1)), np.zeros((0, 1), dtype=int))


def csr(part: Part, size: int) -> Any:
    """Sparse (R, size) matrix of a part."""
    rows, per_row = part.values.shape
    pointer = np.arange(0, rows * per_row + 1, per_row)
    return sparse.csr_matrix((np.ascontiguousarray(part.values).ravel(), np.ascontiguousarray(part.columns).ravel(), pointer),
                             shape=(rows, size))


def dense(part: Part, size: int) -> Array:
    """Dense (R, size) matrix of a part."""
    out = np.zeros((len(part.residual), size))
    np.add.at(out, (np.arange(len(part.residual))[:, None], part.columns), part.values)
    return out


def spread(solution: Solution) -> tuple[Array, Array, list[float]]:
    """Poses (9, F, 4), centres (9, 3) and distortions of the solution and of its eight forward steps."""
    pose = np.repeat(solution.pose[None], 9, axis=0)
    centre = np.repeat(solution.centre_yd[None], 9, axis=0)
    for i in range(4):
        pose[i + 1, :, i] += STEPS[i]
    for i in range(3):
        centre[i + 5, i] += STEPS[4 + i]
    return pose, centre, [solution.distortion] * 8 + [solution.distortion + STEPS[7]]


def line_part(solution: Solution, seen: Measurements, size: int) -> Part:
    """Distances of picture points from projected field lines."""
    n = len(seen.row)
    if not n:
        return NO_PART
    pose, centre, distortion = spread(solution)
    line_yd = seen.line.copy()
    line_yd[:, 2] += seen.slide[:, :2] @ [solution.mark_offset_yd, solution.border_yd]
    keys = seen.row * 4000.0 + line_yd @ np.array([2000.0, 0.0, 1.0])
    _, first, pair = np.unique(keys, return_index=True, return_inverse=True)
    row = seen.row[first]
    turn = rotation(pose)
    plane = np.concatenate([turn[..., :2], -(turn @ centre[:, None, :, None])], axis=-1)
    back = np.linalg.inv(calibration(pose, solution.image_size_px) @ plane)
    lines = np.einsum("vpij,pi->vpj", back[:, row], line_yd[first])
    length = np.linalg.norm(lines[..., :2], axis=-1, keepdims=True)
    lines /= length
    # The sign of a line is arbitrary but must not differ between the steps.
    sign = np.sign((lines[..., :2] * lines[:1, :, :2]).sum(axis=-1, keepdims=True))
    lines *= sign
    slid = back[:, row, 2] * (sign / length)
    ideal = undistort(seen.xy_px, solution.distortion, solution.image_size_px)
    bent = undistort(seen.xy_px, distortion[8], solution.image_size_px)
    # The turf's height differs along a line, so each point's line is shifted by its own.
    lines, slid = lines[:, pair] + slid[:, pair] * (seen.slide[:, 2:] @ solution.crown)[:, None], slid[0, pair]
    distance = np.einsum("vnj,nj->vn", lines[:8, :, :2], ideal) + lines[:8, :, 2]
    last = (lines[0, :, :2] * bent).sum(axis=1) + lines[0, :, 2]
    derivative = (np.concatenate([distance[1:], last[None]]) - distance[0]) / STEPS[:, None]
    slope = (slid[:, :2] * ideal).sum(axis=1) + slid[:, 2]
    derivative = np.concatenate([derivative, slope * seen.slide.T]) / seen.sigma_px
    shared = np.broadcast_to(np.arange(size - SHARED, size), (n, SHARED))
    columns = np.concatenate([4 * seen.row[:, None] + np.arange(4), shared], axis=1)
    return Part(distance[0] / seen.sigma_px, derivative.T, columns)


def motion_part(solution: Solution, seen: Measurements, size: int) -> Part:
    """Differences between background points and where the turn of the camera takes their counterparts."""
    n = len(seen.from_row)
    if not n:
        return NO_PART
    pose, _, distortion = spread(solution)
    turn = calibration(pose[:5], solution.image_size_px) @ rotation(pose[:5])
    back = np.linalg.inv(turn)
    frames = len(solution.pose)
    code, link = np.unique(seen.from_row * frames + seen.to_row, return_inverse=True)
    links = np.column_stack([code // frames, code % frames])
    source = np.einsum("pij,vpjk->vpik", turn[0, links[:, 1]], back[:, links[:, 0]])
    target = np.einsum("vpij,pjk->vpik", turn[1:, links[:, 1]], back[0, links[:, 0]])
    matrices = np.concatenate([source, target])
    before = [undistort(seen.before_px, k, solution.image_size_px) for k in distortion[7:]]
    after = [undistort(seen.after_px, k, solution.image_size_px) for k in distortion[7:]]
    moved_to = transfer(matrices[:, link], before[0])
    bent = transfer(matrices[:1, link], before[1])[0] - after[1]
    residual = moved_to[0] - after[0]
    steps = STEPS[[0, 1, 2, 3, 0, 1, 2, 3, 7]][:, None, None]
    derivative = np.concatenate([moved_to[1:] - moved_to[:1], (bent - residual)[None]]) / steps
    columns = np.column_stack([4 * seen.from_row[:, None] + np.arange(4), 4 * seen.to_row[:, None] + np.arange(4),
                               np.full(n, size - SHARED + 3)])
    sigma = seen.motion_sigma_px
    values = np.concatenate([derivative[..., 0].T, derivative[..., 1].T]) / sigma
    return Part(np.concatenate([residual[:, 0], residual[:, 1]]) / sigma, values, np.concatenate([columns, columns]))


def transfer(matrices: Array, xy: Array) -> Array:
    """(V, N, 2) points (N, 2) mapped by homographies (V, N, 3, 3)."""
    mapped = np.einsum("vnij,nj->vni", matrices[..., :2], xy) + matrices[..., 2]
    return np.asarray(mapped[..., :2] / mapped[..., 2:])


def prior_part(solution: Solution, prior: Prior, size: int) -> Part:
    """Priors on the shared parameters, the roll and its steps, and on given poses."""
    frames = len(solution.pose)
    rows = np.arange(frames)
    roll = solution.pose[:, 2]
    shared = np.array([*((solution.centre_yd - prior.centre_yd) / prior.centre_sd_yd),
                       (solution.distortion - prior.distortion) / prior.distortion_sd,
                       (solution.mark_offset_yd - prior.mark_offset_yd) / prior.mark_offset_sd_yd,
                       (solution.border_yd - prior.border_yd) / prior.border_sd_yd,
                       (solution.crown.top_yd - prior.crown_yd) / prior.crown_sd_yd,
                       (solution.crown.bulge_yd - ROUNDNESS * solution.crown.top_yd) / prior.bulge_sd_yd])
    shared_slope = np.array([*(1.0 / prior.centre_sd_yd), 1.0 / prior.distortion_sd, 1.0 / prior.mark_offset_sd_yd,
                             1.0 / prior.border_sd_yd, 1.0 / prior.crown_sd_yd, 1.0 / prior.bulge_sd_yd])
    level = 1.0 / (prior.roll_sd_rad * np.sqrt(frames))
    step = 1.0 / prior.roll_step_sd_rad
    # The bulge is held to a share of the top, which stands before it; a frame's roll to that of the frame before.
    blocks = [(shared, shared_slope, np.arange(size - SHARED, size),
               np.append(np.zeros(SHARED - 1), -ROUNDNESS / prior.bulge_sd_yd)),
              (roll * level, np.full(frames, level), 4 * rows + 2, np.zeros(frames)),
              (np.diff(roll) * step, np.full(frames - 1, step), 4 * rows[1:] + 2, np.full(frames - 1, -step))]
    if prior.pose is not None:
        for i in range(4):
            off, sd = solution.pose[:, i] - prior.pose[:, i], prior.pose_sd[i]
            blocks.append((off / sd, np.full(frames, 1 / sd), 4 * rows + i, np.zeros(frames)))
    residual, first, column, second = (np.concatenate([block[i] for block in blocks]) for i in range(4))
    # The second entry of a row belongs to what it is held to; it is zero in rows that have none.
    before = np.where(column == size - 1, size + TOP, np.maximum(column - 4, 0))
    return Part(residual, np.column_stack([first, second]), np.column_stack([column, before]))
