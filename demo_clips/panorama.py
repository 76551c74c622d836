"""Everything that a camera with a fixed centre can see, painted once: each frame then is one warp of the panorama.

Columns run over azimuth (left = largest), rows over elevation (top = highest), `scale` pixels a radian on both.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.camera import Camera

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
_STEP = 16


def ray_grid(camera: Camera) -> Array:
    """(H, W, 3) float32 directions of all pixel centres, interpolated from a grid of 16 px."""
    width, height = camera.size_px
    columns, rows = -(-width // _STEP) + 2, -(-height // _STEP) + 2
    u, v = np.meshgrid((np.arange(columns) - 0.5) * _STEP, (np.arange(rows) - 0.5) * _STEP)
    coarse = camera.rays(np.stack([u, v], axis=-1)).astype(np.float32)
    fine = cv2.resize(coarse, (columns * _STEP, rows * _STEP), interpolation=cv2.INTER_LINEAR)
    return fine[_STEP : _STEP + height, _STEP : _STEP + width]


@dataclass(frozen=True)
class Panorama:
    """A sphere about `centre_yd`, unrolled. Takes the place of a Camera where the backdrop is painted."""

    centre_yd: tuple[float, float, float]
    left_rad: float
    top_rad: float
    scale: float
    size_px: tuple[int, int]

    @property
    def focal_px(self) -> float:
        return self.scale

    def project(self, points: Array) -> tuple[Array, Array]:
        """Pixels (..., 2) and distances (...,) yd of points (..., 3)."""
        local = np.asarray(points, dtype=float) - self.centre_yd
        flat = np.hypot(local[..., 0], local[..., 1])
        middle = self.left_rad - self.size_px[0] / self.scale / 2
        azimuth = np.arctan2(local[..., 1], local[..., 0])
        azimuth = middle + (azimuth - middle + np.pi) % (2 * np.pi) - np.pi
        elevation = np.arctan2(local[..., 2], flat)
        pixels = np.stack([(self.left_rad - azimuth) * self.scale, (self.top_rad - elevation) * self.scale], axis=-1)
        return pixels, np.hypot(flat, local[..., 2])

    def grid(self) -> Array:
        """(H, W, 3) float32 unit directions of all pixel centres."""
        width, height = self.size_px
        azimuth = self.left_rad - (np.arange(width, dtype=np.float32) + 0.5) / self.scale
        elevation = (self.top_rad - (np.arange(height, dtype=np.float32) + 0.5) / self.scale)[:, None]
        c = np.cos(elevation)
        return np.dstack([c * np.cos(azimuth), c * np.sin(azimuth), np.broadcast_to(np.sin(elevation), (height, width))]).astype(
            np.float32
        )

    def look(self, painted: Image, camera: Camera) -> Image:
        """The picture that `camera`, standing at the centre, takes of the painted panorama."""
        width, height = camera.size_px
        columns, rows = -(-width // _STEP) + 2, -(-height // _STEP) + 2
        u, v = np.meshgrid((np.arange(columns) - 0.5) * _STEP, (np.arange(rows) - 0.5) * _STEP)
        pixels, _ = self.project(camera.rays(np.stack([u, v], axis=-1)) + self.centre_yd)
        fine = cv2.resize((pixels - 0.5).astype(np.float32), (columns * _STEP, rows * _STEP), interpolation=cv2.INTER_LINEAR)
        part = fine[_STEP : _STEP + height, _STEP : _STEP + width]
        columns_px, rows_px = np.ascontiguousarray(part[..., 0]), np.ascontiguousarray(part[..., 1])
        return np.asarray(cv2.remap(painted, columns_px, rows_px, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def cover(cameras: list[Camera], sharpness: float = 1.0) -> Panorama:
    """The smallest panorama that holds the pictures of all these cameras of one centre, as sharp as the longest of them."""
    directions = []
    for camera in cameras:
        width, height = camera.size_px
        edge = np.linspace(0, 1, 9)
        rim = np.concatenate(
            [np.stack([edge * width, np.full(9, y)], 1) for y in (0, height)]
            + [np.stack([np.full(9, x), edge * height], 1) for x in (0, width)]
        )
        directions.append(camera.rays(rim))
    rays = np.concatenate(directions)
    middle = float(np.mean([c.pan_rad for c in cameras]))
    azimuth = (np.arctan2(rays[:, 1], rays[:, 0]) - middle + np.pi) % (2 * np.pi) - np.pi + middle
    elevation = np.arctan2(rays[:, 2], np.hypot(rays[:, 0], rays[:, 1]))
    scale = max(c.focal_px for c in cameras) * sharpness
    margin = 4 / scale
    size = (int((np.ptp(azimuth) + 2 * margin) * scale) + 1, int((np.ptp(elevation) + 2 * margin) * scale) + 1)
    return Panorama(cameras[0].centre_yd, float(azimuth.max() + margin), float(elevation.max() + margin), scale, size)
