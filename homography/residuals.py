"""The residuals of the adjustment and how they change with its parameters: points on the field's lines, the background's motion,
and what is likely beforehand. Forward differences give the slopes, nearly all parameters of all frames in one batched
evaluation."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse

from homography.camera import calibration, rotation, undistort
from homography.crown import ROUNDNESS
from homography.solution import SHARED, TOP, Measurements, Part, Prior, Solution

Array = npt.NDArray[np.float64]
STEPS = np.array([1e-6, 1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-5])
DENSE_SIZE = 70
NO_PART = Part(np.zeros(0), np.zeros((0, 1)), np.zeros((0, 1), dtype=int))


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
