"""The simulated camera: a pinhole with one radial term that turns and zooms about a fixed centre, and where crews put it.

Angles: pan is the azimuth of the optical axis in the field frame (0 = +x, growing toward +y), tilt its elevation (negative
looks down), roll turns the picture clockwise. Points are yards in the field frame with z up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from homography.field import LENGTH_YD, WIDTH_YD

Array = npt.NDArray[Any]
NEAREST_YD = 0.5
_LARGEST_SQUARED_RADIUS = 6.0


@dataclass(frozen=True)
class Camera:
    """One frame's camera. `distortion` is the radial term k of `r' = r (1 + k (r / (width / 2))^2)` about the middle."""

    centre_yd: tuple[float, float, float]
    pan_rad: float
    tilt_rad: float
    roll_rad: float
    focal_px: float
    size_px: tuple[int, int]
    distortion: float = 0.0

    @property
    def camera_from_world(self) -> Array:
        """(3, 3) rows: the picture's right, its down, and the optical axis, in the field frame."""
        cp, sp, ct, st = np.cos(self.pan_rad), np.sin(self.pan_rad), np.cos(self.tilt_rad), np.sin(self.tilt_rad)
        forward = np.array([ct * cp, ct * sp, st])
        right = np.array([sp, -cp, 0.0])
        down = np.cross(forward, right)
        cr, sr = np.cos(self.roll_rad), np.sin(self.roll_rad)
        return np.stack([cr * right + sr * down, cr * down - sr * right, forward])

    def project(self, points: Array) -> tuple[Array, Array]:
        """Pixels (..., 2) and depths (...,) yd of points (..., 3). Points nearer than NEAREST_YD are pulled out to it."""
        local = (np.asarray(points, dtype=float) - self.centre_yd) @ self.camera_from_world.T
        depth = local[..., 2]
        flat = local[..., :2] / np.maximum(depth, NEAREST_YD)[..., None] * self.focal_px
        width, height = self.size_px
        squared = np.minimum((flat**2).sum(-1) / (width / 2) ** 2, _LARGEST_SQUARED_RADIUS)
        return flat * (1.0 + self.distortion * squared)[..., None] + (width / 2, height / 2), depth

    def rays(self, pixels: Array) -> Array:
        """Directions (..., 3) in the field frame, not normalised, of pixels (..., 2)."""
        width, height = self.size_px
        bent = np.asarray(pixels, dtype=float) - (width / 2, height / 2)
        straight = bent
        for _ in range(6 if self.distortion else 0):
            squared = np.minimum((straight**2).sum(-1) / (width / 2) ** 2, _LARGEST_SQUARED_RADIUS)
            straight = bent / (1.0 + self.distortion * squared)[..., None]
        local = np.concatenate([straight / self.focal_px, np.ones((*straight.shape[:-1], 1))], axis=-1)
        return local @ self.camera_from_world

    @property
    def pinhole_from_field(self) -> Array:
        """(3, 3) homography of the plane z = 0 for the lens without its distortion."""
        width, height = self.size_px
        intrinsic = np.array([[self.focal_px, 0, width / 2], [0, self.focal_px, height / 2], [0, 0, 1.0]])
        rotation = self.camera_from_world
        return np.asarray(intrinsic @ np.column_stack([rotation[:, 0], rotation[:, 1], -rotation @ np.asarray(self.centre_yd)]))

    def image_from_field(self, height: Callable[[Array], Array] | None = None) -> Array:
        """(3, 3) plane homography that fits the distorted picture best (least squares in pixels over the visible field), the turf
        standing `height` yards above level ground at distances y (N,) from the near sideline."""
        exact = self.pinhole_from_field
        if self.distortion == 0.0 and height is None:
            return np.asarray(exact / exact[2, 2])
        width, height_px = self.size_px
        u, v = np.meshgrid(np.linspace(0, width, 25), np.linspace(0, height_px, 15))
        rays = self.rays(np.stack([u.ravel(), v.ravel()], axis=1))
        down = rays[:, 2] < -1e-3
        rays, pixels = rays[down], np.stack([u.ravel(), v.ravel()], axis=1)[down]
        ground = np.asarray(self.centre_yd)[:2] - rays[:, :2] / rays[:, 2:] * self.centre_yd[2]
        inside = (ground > -8).all(1) & (ground[:, 0] < LENGTH_YD + 8) & (ground[:, 1] < WIDTH_YD + 8)
        ground, pixels = ground[inside], pixels[inside]
        if height is not None:
            pixels, _ = self.project(np.column_stack([ground, height(ground[:, 1])]))
        if len(ground) < 12:
            return np.asarray(exact / exact[2, 2])
        fitted, _ = cv2.findHomography(ground, pixels, 0)
        return exact / exact[2, 2] if fitted is None else fitted


@dataclass(frozen=True)
class Mount:
    """Where a camera stands for a whole clip, and how wide its operator may go."""

    view: str
    centre_yd: tuple[float, float, float]
    roll_rad: float
    distortion: float
    horizontal_field_rad: tuple[float, float]


def choose_mount(view: str, rng: np.random.Generator, direction: int = 1, ball_x_yd: float = 60.0) -> Mount:
    """A plausible stand for `view`: sideline (mostly high), low-sideline or end-zone. Raises ValueError on other views."""
    roll = float(rng.normal(0.0, 0.008))
    distortion = float(rng.choice([0.0, rng.uniform(-0.03, 0.004)], p=[0.2, 0.8]))
    if view == "sideline":
        x = float(np.clip(rng.normal(60.0, 12.0), 28.0, 92.0))
        x += float(np.clip(ball_x_yd - x, -28.0, 28.0)) * 0.4
        back, height = rng.uniform(15.0, 60.0), rng.uniform(10.0, 30.0)
        height = max(height, 0.28 * back)
        return Mount(view, (x, -float(back), float(height)), roll, distortion, (0.28, 1.15))
    if view == "low-sideline":
        x = float(np.clip(ball_x_yd + rng.normal(0.0, 12.0), 10.0, 110.0))
        return Mount(view, (x, -float(rng.uniform(8.0, 25.0)), float(rng.uniform(2.0, 7.0))), roll, distortion, (0.3, 1.2))
    if view == "end-zone":
        y = float(WIDTH_YD / 2 + rng.normal(0.0, 4.0))
        return Mount(view, (-float(rng.uniform(10.0, 40.0)), y, float(rng.uniform(8.0, 20.0))), roll, distortion, (0.12, 1.15))
    raise ValueError(f"view: {view!r}, wanted sideline, low-sideline or end-zone")
