"""One person cut out of a picture, always at the same size: what the networks for facing, kits and numbers look at."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from vision.types import FloatArray

CROP = (128, 96)
"""Height and width of a crop, px."""
MARGIN = 1.2
"""A crop is this much taller than a standing man's box; a wider man's is as much wider than he is."""
AREA_FROM = 1.3
"""Boxes reduced by more than this are averaged, so that nothing aliases."""


def window(xyxy: FloatArray) -> FloatArray:
    """(N, 3) middle x, middle y and height in px of the part of the picture that a crop of each box (N, 4) shows."""
    width, height = xyxy[:, 2] - xyxy[:, 0], xyxy[:, 3] - xyxy[:, 1]
    tall = MARGIN * np.maximum(height, width * CROP[0] / CROP[1])
    seen: FloatArray = np.stack([(xyxy[:, 0] + xyxy[:, 2]) / 2, (xyxy[:, 1] + xyxy[:, 3]) / 2, np.maximum(tall, 2.0)], axis=1)
    return seen


def cut(bgr: npt.NDArray[np.uint8], xyxy: FloatArray) -> npt.NDArray[np.uint8]:
    """Crops (N, 128, 96, 3) of the people in boxes (N, 4) of a picture (H, W, 3); beyond its edge the edge goes on."""
    crops = np.empty((len(xyxy), *CROP, 3), dtype=np.uint8)
    for crop, (x, y, tall) in zip(crops, window(np.asarray(xyxy, dtype=np.float64)), strict=True):
        picture, scale = bgr, CROP[0] / tall
        if 1.0 / scale > AREA_FROM:
            picture, x, y, scale = _reduced(bgr, x, y, scale)
        # Pixel centres stand at halves: the crop's middle (48, 64) shows (x, y).
        matrix = np.array([[scale, 0, CROP[1] / 2 - 0.5 - scale * (x - 0.5)], [0, scale, CROP[0] / 2 - 0.5 - scale * (y - 0.5)]])
        cv2.warpAffine(picture, matrix, (CROP[1], CROP[0]), dst=crop, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return crops


def _reduced(bgr: npt.NDArray[np.uint8], x: float, y: float, scale: float) -> tuple[npt.NDArray[np.uint8], float, float, float]:
    """The neighbourhood of (x, y) averaged down to `scale`, where that point lies in it, and the scale that is left."""
    reach = np.array([CROP[1], CROP[0]]) / scale / 2 + 2
    middle, size = np.array([x, y]), np.array([bgr.shape[1], bgr.shape[0]])
    low = np.clip(np.floor(middle - reach), 0, size - 1).astype(int)
    high = np.clip(np.ceil(middle + reach), low + 1, size).astype(int)
    part = bgr[low[1] : high[1], low[0] : high[0]]
    size_px = np.maximum(np.round((high - low) * scale), 1).astype(int)
    small = cv2.resize(part, size_px.tolist(), interpolation=cv2.INTER_AREA)
    grown = np.array([small.shape[1], small.shape[0]]) / (high - low)
    at = (middle - low) * grown
    return np.asarray(small, dtype=np.uint8), float(at[0]), float(at[1]), 1.0
