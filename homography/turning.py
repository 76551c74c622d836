"""A pose carried through a stretch of film by the background's motion alone.

Between two frames a camera on a fixed centre turns (three angles) and zooms (one ratio). Fitting just these four to the
background points, given the focal length of one frame, drifts far less than a chain of free homographies.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from homography.camera import LOG_FOCAL, pose_of, rotation, undistort
from homography.evidence import FrameEvidence

Array = npt.NDArray[np.float64]
ITERATIONS = 4
KERNEL_PX = 0.6
FEWEST_PAIRS = 8


class Turning:
    """The background motion of a stretch of film, frame by frame."""

    def __init__(self, frames: Sequence[FrameEvidence]) -> None:
        self.size = frames[0].image_size_px
        self.count = len(frames)
        linked = [row for row in range(1, len(frames))
                  if frames[row].follows(frames[row - 1]) and len(frames[row].before_px) >= FEWEST_PAIRS]
        self.linked = np.zeros(self.count, dtype=bool)
        self.linked[linked] = True
        empty = np.zeros((0, 2))
        self._row = np.repeat(np.array(linked, dtype=int), [len(frames[row].before_px) for row in linked])
        self._before = np.concatenate([empty, *(frames[row].before_px for row in linked)])
        self._after = np.concatenate([empty, *(frames[row].after_px for row in linked)])

    def poses(self, start: int, pose: Array, distortion: float) -> Array:
        """(F, 4) poses of all frames when frame `start` has `pose` (4,); NaN beyond a frame without known motion."""
        return self.carried((start,), pose[None], distortion)[start]

    def carried(self, rows: Sequence[int], pose: Array, distortion: float) -> dict[int, Array]:
        """As `poses`, from each of several frames of one camera, by row; `pose` (len(rows), 4)."""
        turn, log_ratio = self._steps(rows[0], float(pose[0, LOG_FOCAL]), distortion)
        return {row: self._chained(row, one, turn, log_ratio) for row, one in zip(rows, pose, strict=True)}

    def _steps(self, start: int, log_focal: float, distortion: float) -> tuple[Array, Array]:
        """(F, 3, 3) turns from each frame to the next and (F,) logs of the zoom ratios."""
        middle = np.array(self.size) / 2.0
        before = undistort(self._before, distortion, self.size) - middle
        after = undistort(self._after, distortion, self.size) - middle
        log_ratio = np.zeros(self.count)
        turn = np.broadcast_to(np.eye(3), (self.count, 3, 3)).copy()
        for round_ in range(ITERATIONS):
            focal = np.exp(log_focal + np.cumsum(log_ratio) - np.cumsum(log_ratio)[start])
            # The first step, from no motion at all, has to reach every point.
            step = self._step(before, after, focal, turn, KERNEL_PX if round_ else np.inf)
            turn = small_turn(step[:, :3]) @ turn
            log_ratio += step[:, 3]
        return turn, log_ratio

    def _chained(self, start: int, pose: Array, turn: Array, log_ratio: Array) -> Array:
        log_focal = pose[LOG_FOCAL] + np.cumsum(log_ratio) - np.cumsum(log_ratio)[start]
        out = np.full((self.count, 4), np.nan)
        out[start] = pose
        axes = rotation(pose)
        for row in range(start + 1, self.count):
            if not self.linked[row]:
                break
            axes = turn[row] @ axes
            out[row] = pose_of(axes, float(np.exp(log_focal[row])))
        axes = rotation(pose)
        for row in range(start, 0, -1):
            if not self.linked[row]:
                break
            axes = turn[row].T @ axes
            out[row - 1] = pose_of(axes, float(np.exp(log_focal[row - 1])))
        return out

    def _step(self, before: Array, after: Array, focal: Array, turn: Array, kernel_px: float) -> Array:
        """(F, 4) Gauss-Newton step of each link: a small turn and the log of the zoom ratio."""
        row = self._row
        old, new = focal[row - 1][:, None], focal[row][:, None]
        ray = np.einsum("nij,nj->ni", turn[row], np.concatenate([before / old, np.ones_like(old)], axis=1))
        u, v = ray[:, 0] / ray[:, 2], ray[:, 1] / ray[:, 2]
        here = np.stack([u, v], axis=1) * new
        f = new[:, 0]
        jacobian = np.stack([np.stack([-u * v * f, (1 + u * u) * f, -v * f, here[:, 0]], axis=1),
                             np.stack([-(1 + v * v) * f, u * v * f, u * f, here[:, 1]], axis=1)], axis=1)
        residual = after - here
        weight = 1.0 / (1.0 + (residual**2).sum(axis=1) / kernel_px**2) ** 2
        normal = np.zeros((self.count, 16))
        gradient = np.zeros((self.count, 4))
        flat = np.einsum("n,nai,naj->nij", weight, jacobian, jacobian).reshape(-1, 16)
        right = np.einsum("n,nai,na->ni", weight, jacobian, residual)
        for i in range(16):
            normal[:, i] = np.bincount(row, weights=flat[:, i], minlength=self.count)
        for i in range(4):
            gradient[:, i] = np.bincount(row, weights=right[:, i], minlength=self.count)
        matrix = normal.reshape(-1, 4, 4) + 1e-6 * np.eye(4)
        return np.asarray(np.linalg.solve(matrix, gradient[..., None])[..., 0])


def small_turn(angles: Array) -> Array:
    """(F, 3, 3) rotations by small vectors (F, 3), orthonormal to second order and then made so exactly."""
    x, y, z = angles.T
    zero = np.zeros_like(x)
    skew = np.stack([np.stack([zero, -z, y], axis=1), np.stack([z, zero, -x], axis=1), np.stack([-y, x, zero], axis=1)], axis=1)
    u, _, vt = np.linalg.svd(np.eye(3) + skew + 0.5 * skew @ skew)
    return np.asarray(u @ vt)
