"""Words in pictures: small plates with outlined words, set once and kept."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import cv2
import matplotlib
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from tagger.cutups.palette import bgr
from vision.types import FloatArray

FONT_PATH = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"
PLATE_OPACITY = 0.72
PADDING_PX = 3
BELOW_FEET_PX = 4
FONT_SHARE = 1 / 46
"""Height of the letters as a share of the picture's height."""
MOST_PUSHES = 4

Rectangle = tuple[int, int, int, int]


@lru_cache(maxsize=512)
def word_mask(words: str, size_px: int) -> np.ndarray:
    """(H, W) uint8 coverage of the words at a letter size."""
    font = _font(size_px)
    left, top, right, bottom = font.getbbox(words)
    image = Image.new("L", (max(int(right - left), 1), max(int(bottom - top), 1)))
    ImageDraw.Draw(image).text((-left, -top), words, fill=255, font=font)
    return np.asarray(image)


@lru_cache(maxsize=16)
def _font(size_px: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(FONT_PATH), size_px)


def draw_words(image: np.ndarray, words: str, left_px: int, top_px: int, size_px: int, colour: str = "#FFFFFF") -> None:
    """Words with their top left corner at a pixel, cut at the picture's edge."""
    mask = word_mask(words, size_px)
    height, width = image.shape[:2]
    x0, y0 = max(left_px, 0), max(top_px, 0)
    x1, y1 = min(left_px + mask.shape[1], width), min(top_px + mask.shape[0], height)
    if x1 <= x0 or y1 <= y0:
        return
    cover = mask[y0 - top_px : y1 - top_px, x0 - left_px : x1 - left_px, None].astype(np.float32) / 255.0
    patch = image[y0:y1, x0:x1]
    patch[:] = (patch + cover * (np.array(bgr(colour), np.float32) - patch)).astype(np.uint8)


def darken(image: np.ndarray, rectangle: Rectangle, opacity: float = PLATE_OPACITY) -> None:
    """Darken a rectangle (x0, y0, x1, y1) px, so that white words on it can be read over anything."""
    x0, y0, x1, y1 = rectangle
    patch = image[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0)]
    if patch.size:
        cv2.convertScaleAbs(patch, patch, 1.0 - opacity, 0.0)


def draw_plate(image: np.ndarray, words: str, spot_px: FloatArray, colour: str, taken: list[Rectangle], above: bool) -> None:
    """A plate with words just below (or, larger, `above`) a spot, with a bar of `colour` on its left; pushed on while it would
    cover a plate of `taken`, and left out if there is no room. Its rectangle is added to `taken`."""
    height, width = image.shape[:2]
    if not (0 <= spot_px[0] < width and 0 <= spot_px[1] < height):
        return
    size = max(int(height * FONT_SHARE * (1.2 if above else 1.0)), 9)
    mask = word_mask(words, size)
    plate_w, plate_h = mask.shape[1] + 3 * PADDING_PX + 3, mask.shape[0] + 2 * PADDING_PX
    left = min(max(int(spot_px[0] - plate_w / 2), 0), max(width - plate_w, 0))
    top = int(spot_px[1] - plate_h) if above else int(spot_px[1] + BELOW_FEET_PX)
    for _ in range(MOST_PUSHES):
        rectangle = (left, top, left + plate_w, top + plate_h)
        hit = [other for other in taken if _overlap(rectangle, other)]
        if not hit:
            break
        top = min(other[1] for other in hit) - plate_h - 1 if above else max(other[3] for other in hit) + 1
    else:
        return
    taken.append(rectangle)
    darken(image, rectangle)
    cv2.rectangle(image, (left, top), (left + 3, top + plate_h - 1), bgr(colour), -1)
    draw_words(image, words, left + 2 * PADDING_PX + 3, top + PADDING_PX, size)


def _overlap(a: Rectangle, b: Rectangle) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
