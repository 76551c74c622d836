"""What happens between the light and the file: blur, noise, sharpening, exposure, haze, rain, and a codec's losses."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.light import Light

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]


@dataclass(frozen=True)
class Lens:
    """A camera's habits. `blur_px` is the focus blur's deviation, `noise` in grey levels, `halo` the sharpening strength,
    `shutter` the share of a frame's time that is exposed, `gain` and `contrast` the exposure, `saturation` of colours."""

    blur_px: float
    noise: float
    halo: float
    shutter: float
    gain: float
    contrast: float
    saturation: float
    seed: int


def random_lens(rng: np.random.Generator, light: Light) -> Lens:
    night = 1.6 if light.night else 1.0
    return Lens(
        blur_px=float(rng.uniform(0.0, 0.9) if rng.random() < 0.8 else rng.uniform(0.9, 1.7)),
        noise=float(rng.uniform(0.5, 4.0)) * night,
        halo=float(rng.uniform(0.2, 1.3)) if rng.random() < 0.5 else 0.0,
        shutter=float(rng.uniform(0.1, 0.6)),
        gain=float(np.clip(rng.normal(1.08, 0.16), 0.65, 1.5)),
        contrast=float(np.clip(rng.normal(1.05, 0.12), 0.75, 1.35)),
        saturation=float(np.clip(rng.normal(1.0, 0.2), 0.45, 1.5)),
        seed=int(rng.integers(1 << 31)),
    )


@lru_cache(maxsize=8)
def _grain(size_px: tuple[int, int]) -> Array:
    """Sensor noise of deviation about 1, larger than the picture by 128 px: partly coloured and coarse, partly fine and grey."""
    rng = np.random.default_rng(0)
    width, height = size_px[0] + 128, size_px[1] + 128
    coarse = rng.standard_normal((height // 2, width // 2, 3), dtype=np.float32)
    tile = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_LINEAR)
    return tile + rng.standard_normal((height, width, 1), dtype=np.float32) * np.float32(0.8)


class Film:
    """Applies one lens to the frames of one clip."""

    def __init__(self, lens: Lens, light: Light, size_px: tuple[int, int]) -> None:
        self.lens, self.light = lens, light
        self._rng = np.random.default_rng(lens.seed)
        if lens.noise:
            self._noise = cv2.convertScaleAbs(_grain(size_px), alpha=lens.noise, beta=128)
        levels = np.arange(256, dtype=np.float32)
        self._curve = (levels - 110) * lens.contrast + 110

    def expose(self, image: Image, motion_px: tuple[float, float] = (0.0, 0.0), gain: float = 1.0) -> Image:
        """One finished frame. `motion_px` is the picture's shift over the frame's time."""
        lens = self.lens
        image = self._weather(image)
        if lens.blur_px > 0.25:
            image = cv2.GaussianBlur(image, (0, 0), lens.blur_px)
        length = float(np.hypot(*motion_px)) * lens.shutter
        if length > 1.2:
            image = cv2.filter2D(image, -1, _streak(motion_px, length))
        if lens.saturation != 1.0:
            grey = cv2.cvtColor(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
            image = cv2.addWeighted(image, lens.saturation, grey, 1 - lens.saturation, 0)
        image = cv2.LUT(image, np.clip(self._curve * lens.gain * gain, 0, 255).astype(np.uint8))
        if lens.noise:
            dy, dx = self._rng.integers(0, 128, 2)
            h, w = image.shape[:2]
            image = cv2.addWeighted(image, 1.0, self._noise[dy : dy + h, dx : dx + w], 1.0, -128)
        if lens.halo:
            image = cv2.addWeighted(image, 1 + lens.halo, cv2.GaussianBlur(image, (0, 0), 1.1), -lens.halo, 0)
        return image

    def _weather(self, image: Image) -> Image:
        if self.light.weather not in ("rain", "snow"):
            return image
        h, w = image.shape[:2]
        veil = image.copy()
        for _ in range(180):
            x, y = int(self._rng.integers(0, w)), int(self._rng.integers(0, h))
            if self.light.weather == "rain":
                cv2.line(
                    veil,
                    (x, y),
                    (x + int(self._rng.integers(-2, 3)), y + int(h * self._rng.uniform(0.01, 0.05))),
                    (205, 205, 200),
                    1,
                    cv2.LINE_AA,
                )
            else:
                cv2.circle(veil, (x, y), int(self._rng.integers(1, max(2, h // 240) + 1)), (235, 235, 235), -1, cv2.LINE_AA)
        return cv2.addWeighted(image, 0.6, veil, 0.4, 0)


def _streak(motion_px: tuple[float, float], length: float) -> Array:
    """A line kernel along the motion, its sum 1."""
    size = int(np.ceil(length)) | 1
    kernel = np.zeros((size, size), np.float32)
    step = np.array(motion_px) / max(float(np.hypot(*motion_px)), 1e-6) * (length / 2)
    middle = np.array([size // 2, size // 2])
    a, b = np.round((middle - step) * 16).astype(int), np.round((middle + step) * 16).astype(int)
    cv2.line(kernel, a.tolist(), b.tolist(), 1.0, 1, cv2.LINE_AA, 4)
    return kernel / max(float(kernel.sum()), 1e-6)


def transcode(image: Image, quality: int, scale: float = 1.0) -> Image:
    """What a lossy copy leaves: shrunk by `scale`, JPEG at `quality`, and back to size."""
    h, w = image.shape[:2]
    small = (
        cv2.resize(image, (max(16, int(w * scale)), max(16, int(h * scale))), interpolation=cv2.INTER_AREA)
        if scale < 1
        else image
    )
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    back: Image = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))
    return np.asarray(cv2.resize(back, (w, h), interpolation=cv2.INTER_CUBIC) if scale < 1 else back, dtype=np.uint8)
