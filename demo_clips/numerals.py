"""Shirt numbers in many hands: tall, wide, slanted, heavy, with other shapes of some digits. Only training wants them varied."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.glyphs import strokes

Array = npt.NDArray[Any]

# Other shapes of digits on a cell 1 wide and 1 high, (0, 0) bottom left.
_OTHERWISE: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "0": (((0, 0), (0, 1), (1, 1), (1, 0), (0, 0)),),
    "1": (((0.5, 0), (0.5, 1), (0.25, 0.8)),),
    "2": (((0, 1), (1, 1), (1, 0.5), (0, 0.5), (0, 0), (1, 0)),),
    "3": (((0, 0.9), (0.2, 1), (0.8, 1), (1, 0.85), (1, 0.65), (0.8, 0.52), (0.4, 0.52)),
          ((0.8, 0.52), (1, 0.38), (1, 0.15), (0.8, 0), (0.2, 0), (0, 0.1))),
    "4": (((0, 1), (0, 0.45), (1, 0.45)), ((0.8, 1), (0.8, 0))),
    "5": (((1, 1), (0, 1), (0, 0.5), (1, 0.5), (1, 0), (0, 0)),),
    "6": (((1, 0.85), (0.8, 1), (0.2, 1), (0, 0.85), (0, 0.15), (0.2, 0), (0.8, 0), (1, 0.15), (1, 0.4), (0.8, 0.5), (0, 0.5)),),
    "7": (((0, 0.85), (0, 1), (1, 1), (0.55, 0.4), (0.45, 0)),),
    "8": (((0, 0), (0, 1), (1, 1), (1, 0), (0, 0)), ((0, 0.52), (1, 0.52))),
    "9": (((0, 0.15), (0.2, 0), (0.8, 0), (1, 0.15), (1, 0.85), (0.8, 1), (0.2, 1), (0, 0.85), (0, 0.6), (0.2, 0.5), (1, 0.5)),),
}
_HEAVY_STEP = 0.011


def random_numerals(rng: np.random.Generator, numbers: tuple[int | None, ...]) -> list[list[Array]]:
    """One hand for a whole crowd: the polylines (n, 2) of every number, in shares of the body height, centred on the shirt's
    spot; empty where there is none."""
    cell = np.array([rng.uniform(0.05, 0.085), rng.uniform(0.095, 0.17)])
    gap, slant = float(rng.uniform(0.018, 0.04)), float(rng.normal(0, 0.06))
    shapes = {digit: bool(rng.random() < 0.5) for digit in "0123456789"}
    weight = int(rng.integers(1, 4))
    shifts = (np.arange(weight) - (weight - 1) / 2) * _HEAVY_STEP
    found = []
    for number in numbers:
        lines = [] if number is None else _number(str(number), cell, gap, shapes)
        leaning = [line + np.stack([line[:, 1] * slant, np.zeros(len(line))], axis=1) for line in lines]
        found.append([line + np.array([shift, 0.4 * shift]) for line in leaning for shift in shifts])
    return found


def _number(text: str, cell: Array, gap: float, other_shape: dict[str, bool]) -> list[Array]:
    lines: list[Array] = []
    start = -(len(text) * cell[0] + (len(text) - 1) * gap) / 2
    for place, digit in enumerate(text):
        left = start + place * (cell[0] + gap)
        if other_shape[digit]:
            lines += [np.array(stroke) * cell + (left, -cell[1] / 2) for stroke in _OTHERWISE[digit]]
        else:
            middle = np.array([left + cell[0] / 2, 0.0])
            lines += [line + middle for line in strokes(digit, float(cell[0]), float(cell[1]), 0.0)]
    return lines
