"""A pinhole camera that turns and zooms about one fixed point, with one radial distortion term.

Pose of a frame: `(pan, tilt, roll, log focal)`. Pan is the heading of the optical axis in the field frame (0 = +x, growing
toward +y: a sideline camera looks along pan = pi/2, an end-zone camera along pan = 0), tilt its angle below the horizontal,
roll the clockwise turn of the camera about its axis; the focal length is in px. The principal point is the picture's middle.
The lens bends the radius about it as `r' = r (1 + k (r / (width / 2))^2)`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from homography.crown import LEVEL, Crown

Array = npt.NDArray[np.float64]
Eye = tuple[npt.NDArray[Any], npt.NDArray[Any], float, tuple[int, int], Crown]
"""Pose (4,), centre (3,) yd, distortion, picture size px, the field's crown."""
PAN, TILT, ROLL, LOG_FOCAL = range(4)
CROWN_STEPS = 3


def rotation(pose: npt.NDArray[Any]) -> Array:
    """(..., 3, 3) camera-from-field rotations of poses (..., 4); camera axes are right, down, forward."""
    cos_pan, sin_pan = np.cos(pose[..., PAN]), np.sin(pose[..., PAN])
    cos_tilt, sin_tilt = np.cos(pose[..., TILT]), np.sin(pose[..., TILT])
    cos_roll, sin_roll = np.cos(pose[..., ROLL]), np.sin(pose[..., ROLL])
    out = np.empty((*cos_pan.shape, 3, 3))
    # Level right, down and forward axes, then the roll about the forward one.
    right = (sin_pan, -cos_pan, 0.0)
    down = (-sin_tilt * cos_pan, -sin_tilt * sin_pan, -cos_tilt)
    forward = (cos_pan * cos_tilt, sin_pan * cos_tilt, -sin_tilt)
    for i in range(3):
        out[..., 0, i] = cos_roll * right[i] + sin_roll * down[i]
        out[..., 1, i] = cos_roll * down[i] - sin_roll * right[i]
        out[..., 2, i] = forward[i]
    return out


def pose_of(matrix: npt.NDArray[Any], focal_px: float) -> Array:
    """(4,) pose of a camera-from-field rotation (3, 3)."""
    right, down, forward = matrix
    pan = np.arctan2(forward[1], forward[0])
    tilt = -np.arcsin(np.clip(forward[2], -1.0, 1.0))
    level_right = np.array([np.sin(pan), -np.cos(pan), 0.0])
    roll = np.arctan2(-(down @ level_right), right @ level_right)
    return np.array([pan, tilt, roll, np.log(focal_px)])


def calibration(pose: npt.NDArray[Any], image_size_px: tuple[int, int]) -> Array:
    """(..., 3, 3) pinhole matrices K of poses (..., 4)."""
    k = np.zeros((*pose.shape[:-1], 3, 3))
    k[..., 0, 0] = k[..., 1, 1] = np.exp(pose[..., LOG_FOCAL])
    k[..., 0, 2], k[..., 1, 2] = image_size_px[0] / 2.0, image_size_px[1] / 2.0
    k[..., 2, 2] = 1.0
    return k


def ideal_from_field(pose: npt.NDArray[Any], centre_yd: npt.NDArray[Any], image_size_px: tuple[int, int]) -> Array:
    """(..., 3, 3) homographies from the field plane to the ideal (undistorted) picture."""
    turn = rotation(pose)
    plane = np.concatenate([turn[..., :, :2], -(turn @ centre_yd)[..., None]], axis=-1)
    return np.asarray(calibration(pose, image_size_px) @ plane)


def pose_from_ideal(matrix: npt.NDArray[Any], image_size_px: tuple[int, int]) -> Array:
    """(4,) pose whose K R comes nearest to a (3, 3) matrix known up to scale, as a chain of interframe homographies gives."""
    centred = matrix.copy()
    centred[0] -= image_size_px[0] / 2.0 * matrix[2]
    centred[1] -= image_size_px[1] / 2.0 * matrix[2]
    scale = np.linalg.norm(centred[2]) * (np.sign(np.linalg.det(centred)) or 1.0)
    centred /= scale
    focal = float(np.sqrt(np.linalg.norm(centred[0]) * np.linalg.norm(centred[1])))
    centred[:2] /= focal
    u, _, vt = np.linalg.svd(centred)
    return pose_of(u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt, focal)


def distort(ideal_px: npt.NDArray[Any], k: float, image_size_px: tuple[int, int]) -> Array:
    """(N, 2) picture points of ideal pinhole points (N, 2)."""
    middle = np.array(image_size_px) / 2.0
    offset = ideal_px - middle
    radius2 = (offset**2).sum(axis=-1, keepdims=True) / middle[0] ** 2
    return np.asarray(middle + offset * (1.0 + k * radius2))


def undistort(px: npt.NDArray[Any], k: float, image_size_px: tuple[int, int]) -> Array:
    """(N, 2) ideal pinhole points of picture points (N, 2), by Newton's method on the ratio of the radii."""
    middle = np.array(image_size_px) / 2.0
    offset = px - middle
    bent2 = (offset[..., 0] ** 2 + offset[..., 1] ** 2) / middle[0] ** 2
    # With radius = bent * scale: scale (1 + k bent^2 scale^2) = 1.
    kb = k * bent2
    scale = 1.0 / (1.0 + kb)
    for _ in range(3):
        bend = kb * scale * scale
        scale = (1.0 + 2.0 * bend * scale) / (1.0 + 3.0 * bend)
    return np.asarray(middle + offset * scale[..., None])


def project(points_yd: npt.NDArray[Any], pose: npt.NDArray[Any], centre_yd: npt.NDArray[Any], k: float,
            image_size_px: tuple[int, int], crown: Crown = LEVEL) -> Array:
    """(N, 2) picture points of field points (N, 2), or points in space (N, 3), seen from one pose (4,); NaN behind the camera and
    so far beside the picture that the lens would bend them back into it."""
    turn = rotation(pose)
    if any(crown) and points_yd.shape[-1] == 2:
        points_yd = crown.raised(points_yd)
    seen = points_yd @ turn[:, :points_yd.shape[-1]].T - turn @ centre_yd
    depth = np.where(seen[:, 2:] > 1e-6, seen[:, 2:], np.nan)
    offset = seen[:, :2] * (np.exp(pose[LOG_FOCAL]) / depth)
    middle = np.array(image_size_px) / 2.0
    if not k:
        return np.asarray(middle + offset)
    folds = 1.0 + 3.0 * k * (offset**2).sum(axis=1) / middle[0] ** 2 <= 0.0
    return np.where(folds[:, None], np.nan, distort(middle + offset, k, image_size_px))


def ground(px: npt.NDArray[Any], pose: npt.NDArray[Any], centre_yd: npt.NDArray[Any], k: float,
           image_size_px: tuple[int, int], crown: Crown = LEVEL) -> Array:
    """(N, 2) field points of picture points (N, 2) seen from one pose (4,); NaN at or above the horizon."""
    return ground_of_ideal(undistort(px, k, image_size_px), pose, centre_yd, image_size_px, crown)


def ground_of_ideal(ideal_px: npt.NDArray[Any], pose: npt.NDArray[Any], centre_yd: npt.NDArray[Any],
                    image_size_px: tuple[int, int], crown: Crown = LEVEL) -> Array:
    """(N, 2) field points of ideal pinhole points (N, 2), as `ground`."""
    turn = rotation(pose)
    rays = (ideal_px - np.array(image_size_px) / 2.0) @ (turn[:2] / np.exp(pose[LOG_FOCAL])) + turn[2]
    drop = np.where(rays[:, 2:] < -1e-6, -rays[:, 2:], np.nan)
    reach = rays[:, :2] * (centre_yd[2] / drop)
    if not any(crown):
        return np.asarray(centre_yd[:2] + reach)
    share = np.ones(len(reach))
    for _ in range(CROWN_STEPS):  # Newton's: how much of the way to the level ground the ray goes before it meets the turf
        height, slope = crown.height_and_slope(centre_yd[1] + reach[:, 1] * share)
        share -= (share - 1.0 + height / centre_yd[2]) / (1.0 + slope * reach[:, 1] / centre_yd[2])
    return np.asarray(centre_yd[:2] + reach * share[:, None])
