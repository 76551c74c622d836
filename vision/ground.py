"""The flat ground that men are followed on: the field's plane in yards where the picture is registered, the picture itself
made still by the camera's motion where it is not. One frame of reference for a whole clip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.boxes import jacobian, map_points
from vision.types import BoolArray, FloatArray

PERSON_HEIGHT_YD = 2.0
"""A player in cleats and helmet; sets the yard of an unregistered clip. Common practice, no source."""

FORESHORTENING = 2.5
"""How much longer a yard toward the camera is than it looks, where no registration tells: a camera some 24 degrees up."""

CARRY_SIGMA_YD = 0.02
"""Standard deviation that chaining one more frame of camera motion adds."""

MIN_SIGMA_YD = 0.05

STEP_YD = 0.3
"""The whole ground does not move this far between two frames: there the registration begins to take one line for another."""
MENDED_FRAMES = 30
"""Over so many frames on either side of it such a step is spread out: nobody is torn in two, and elsewhere all stay in place."""


@dataclass(frozen=True)
class Ground:
    """`ground_from_image` (F, 3, 3) of every frame; ground points are yards, exact or nominal. `sigma_yd` (F,) is a frame's
    own misplacement against its neighbours."""

    ground_from_image: FloatArray
    sigma_yd: FloatArray


def build_ground(plane_from_image: FloatArray | None, plane_sigma_yd: FloatArray | None, image_motion: FloatArray | None,
                 frame_count: int, person_height_px: float, amid_px: FloatArray) -> Ground:
    """Ground of a clip of `frame_count` frames.

    `plane_from_image` (F, 3, 3) in yards, NaN where unregistered, with `plane_sigma_yd` (F,); `image_motion` (F, 3, 3) maps the
    picture of frame k - 1 to that of k (its first entry is not used; NaN or None: the camera stood still). Unregistered frames
    are chained to the nearest registered one by the camera's motion; with none at all, the middle frame's picture is the
    ground, with `person_height_px` as two nominal yards. Where the registration steps against
    the camera's motion, as seen at `amid_px` (2,) among the people, the step is spread over the frames around.
    """
    back = _previous_from_current(image_motion, frame_count)
    plane = np.full((frame_count, 3, 3), np.nan) if plane_from_image is None else np.array(plane_from_image, dtype=np.float64)
    sigma = np.full(frame_count, MIN_SIGMA_YD)
    if plane_sigma_yd is not None:
        sigma = np.fmax(MIN_SIGMA_YD, np.where(np.isfinite(plane_sigma_yd), plane_sigma_yd, MIN_SIGMA_YD))
    known: BoolArray = np.asarray(np.isfinite(plane).all(axis=(1, 2)))
    if not known.any() and frame_count:
        middle = frame_count // 2
        scale = PERSON_HEIGHT_YD / max(person_height_px, 1.0)
        plane[middle], known[middle] = np.diag([scale, scale * FORESHORTENING, 1.0]), True
    plane, sigma = _carry(plane, sigma, known, back)
    return Ground(plane if image_motion is None else _mended(plane, image_motion, amid_px), sigma)


def _mended(plane: FloatArray, image_motion: FloatArray, amid_px: FloatArray) -> FloatArray:
    """`plane` (F, 3, 3) without its steps."""
    then = np.tile(amid_px, (len(plane) - 1, 1))
    step = map_points(plane[1:], map_points(image_motion[1:], then)) - map_points(plane[:-1], then)
    offset = np.zeros((len(plane), 2))
    # Where the camera's motion is not known (NaN) there is nothing to compare with.
    for k in np.flatnonzero(np.linalg.norm(step, axis=1) > STEP_YD) + 1:
        away = np.arange(len(plane)) - k + 0.5
        share = np.copysign(np.maximum(0.5 - np.abs(away) / (2 * MENDED_FRAMES), 0.0), -away)
        offset += share[:, None] * step[k - 1]
    moved = np.tile(np.eye(3), (len(plane), 1, 1))
    moved[:, :2, 2] = offset
    return moved @ plane


def _carry(plane: FloatArray, sigma: FloatArray, known: BoolArray, back: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Fill unknown frames from the nearest known one on either side."""
    count = len(plane)
    anchors = np.flatnonzero(known)
    for k in np.flatnonzero(~known):
        nearest = int(anchors[np.argmin(np.abs(anchors - k))])
        step = 1 if nearest < k else -1
        # Neighbours nearer to the same anchor are filled by the same rule, so walk out from it.
        matrix = plane[nearest]
        for j in range(nearest + step, k + step, step):
            matrix = matrix @ (back[j] if step > 0 else np.linalg.inv(back[j + 1]))
        plane[k] = matrix / matrix[2, 2]
        sigma[k] = np.hypot(sigma[nearest], CARRY_SIGMA_YD * np.sqrt(abs(k - nearest)))
    return plane.reshape(count, 3, 3), sigma


def _previous_from_current(image_motion: FloatArray | None, frame_count: int) -> FloatArray:
    back = np.tile(np.eye(3), (frame_count, 1, 1))
    if image_motion is not None:
        usable: BoolArray = np.asarray(np.isfinite(image_motion).all(axis=(1, 2)))
        usable[:1] = False
        back[usable] = np.linalg.inv(np.asarray(image_motion, dtype=np.float64)[usable])
    return back


def place(ground_from_image: FloatArray, ground_px: FloatArray,
          covariance_px: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Men over (N, 2) px of the ground, each by its own matrix (N, 3, 3): where they are (N, 2), how sure (N, 2, 2), and the
    picture's scale there (N,) in px a yard across the line of sight."""
    slope = jacobian(ground_from_image, ground_px)
    spread = slope @ covariance_px @ slope.swapaxes(1, 2)
    return map_points(ground_from_image, ground_px), spread, _across(slope)


def scale_at(ground_from_image: FloatArray, ground_px: FloatArray) -> FloatArray:
    """(N,) px a yard across the line of sight over (N, 2) px of the ground, each by its own matrix (N, 3, 3)."""
    return _across(jacobian(ground_from_image, ground_px))


def _across(slope: FloatArray) -> FloatArray:
    scale: FloatArray = 1.0 / np.maximum(np.linalg.svd(slope, compute_uv=False)[:, 1], 1e-9)
    return scale
