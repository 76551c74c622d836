"""What software lays over the picture: a see-through mark in a corner, a scoreboard, a clock, bars."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips import turf
from demo_clips.field_design import invented_word
from demo_clips.glyphs import lettering
from demo_clips.kits_design import random_colour

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]


def _fill(layer: Image, polygons: list[Array], at: tuple[float, float], scale: float, colour: tuple[int, ...]) -> None:
    for p in polygons:
        points = np.column_stack([p[:, 0], -p[:, 1]]) * scale + at
        cv2.fillConvexPoly(layer, np.round(points * 16).astype(np.int32), colour, cv2.LINE_AA, 4)


class Overlay:
    """One clip's overlays, drawn once; `apply` lays them over a frame in place."""

    def __init__(self, rng: np.random.Generator, size_px: tuple[int, int], chance: float = 0.5) -> None:
        self._parts: list[tuple[slice, slice, Image, Array]] = []
        width, height = size_px
        if rng.random() < chance:
            self._add_mark(rng, width, height)
        if rng.random() < chance * 0.6:
            self._add_board(rng, width, height)

    def _add(self, canvas: Image, mask: Image, opacity: float) -> None:
        x, y, w, h = cv2.boundingRect(mask)
        if w and h:
            part = slice(y, y + h), slice(x, x + w)
            self._parts.append((*part, canvas[part].copy(), (mask[part].astype(np.float32) * (opacity / 255))[..., None]))

    def _add_mark(self, rng: np.random.Generator, width: int, height: int) -> None:
        canvas, mask = np.zeros((height, width, 3), np.uint8), np.zeros((height, width), np.uint8)
        radius = height * float(rng.uniform(0.03, 0.09))
        at = (
            radius * 1.6 if rng.random() < 0.4 else width - radius * 1.6,
            radius * 1.6 if rng.random() < 0.4 else height - radius * 1.6,
        )
        outline, body, details = turf.emblem(rng)
        white = rng.random() < 0.6
        for polygons, colour in (
            (outline, (40, 40, 40)),
            (body, (240, 240, 240) if white else random_colour(rng)),
            (details, (40, 40, 40)),
        ):
            _fill(canvas, polygons, at, radius, colour)
            _fill(mask, polygons, at, radius, (255,))
        if rng.random() < 0.5:
            word = lettering(invented_word(rng), 0.34, 0.5, 0.1, 0.09)
            below = (at[0], min(at[1] + radius * 1.5, height - radius * 0.4))
            _fill(canvas, word, below, radius, (240, 240, 240))
            _fill(mask, word, below, radius, (255,))
        self._add(canvas, mask, float(rng.uniform(0.15, 0.9)))

    def _add_board(self, rng: np.random.Generator, width: int, height: int) -> None:
        canvas, mask = np.zeros((height, width, 3), np.uint8), np.zeros((height, width), np.uint8)
        h = int(height * rng.uniform(0.045, 0.09))
        w = int(width * rng.uniform(0.25, 0.9))
        x = int(rng.choice([width * 0.03, (width - w) / 2]))
        y = height - h - int(height * 0.03) if rng.random() < 0.7 else int(height * 0.03)
        cv2.rectangle(mask, (x, y), (x + w, y + h), 255, -1)
        cv2.rectangle(canvas, (x, y), (x + w, y + h), (34, 30, 28), -1)
        half = w // 4
        for i in range(2):
            cv2.rectangle(canvas, (x + i * half, y), (x + (i + 1) * half, y + h), random_colour(rng), -1)
            word = lettering(f"{invented_word(rng)[:4]} {rng.integers(0, 45)}", 0.5, 1.0, 0.18, 0.16)
            _fill(canvas, word, (x + (i + 0.5) * half, y + h / 2), min(h * 0.45, half / 6), (240, 240, 240))
        clock = lettering(f"{rng.integers(1, 5)} {rng.integers(0, 15)} {rng.integers(10, 60)}", 0.5, 1.0, 0.18, 0.16)
        _fill(canvas, clock, (x + 3 * half, y + h / 2), h * 0.45, (240, 240, 240))
        self._add(canvas, mask, float(rng.uniform(0.8, 1.0)))

    def apply(self, image: Image) -> None:
        for rows, columns, colour, alpha in self._parts:
            part = image[rows, columns]
            part[:] = (part * (1 - alpha) + colour * alpha).astype(np.uint8)
