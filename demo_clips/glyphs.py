"""A block alphabet of strokes: digits and capitals for turf, shirts and overlays, as polygons of any place and size."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]

# Strokes on a cell 1 wide and 1 high, (0, 0) bottom left, as polylines.
_STROKES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "0": (((0, 0.2), (0, 0.8), (0.25, 1), (0.75, 1), (1, 0.8), (1, 0.2), (0.75, 0), (0.25, 0), (0, 0.2)),),
    "1": (((0.15, 0.8), (0.5, 1), (0.5, 0)), ((0.15, 0), (0.85, 0))),
    "2": (((0, 0.8), (0.2, 1), (0.8, 1), (1, 0.8), (1, 0.6), (0, 0), (1, 0)),),
    "3": (((0, 1), (1, 1), (0.45, 0.6), (0.8, 0.6), (1, 0.4), (1, 0.15), (0.8, 0), (0.2, 0), (0, 0.15)),),
    "4": (((0.75, 0), (0.75, 1), (0, 0.3), (1, 0.3)),),
    "5": (((1, 1), (0.05, 1), (0, 0.55), (0.7, 0.6), (1, 0.4), (1, 0.2), (0.75, 0), (0, 0)),),
    "6": (((0.9, 1), (0.3, 1), (0, 0.7), (0, 0.2), (0.25, 0), (0.75, 0), (1, 0.2), (1, 0.4), (0.75, 0.55), (0, 0.5)),),
    "7": (((0, 1), (1, 1), (0.35, 0)),),
    "8": (
        (
            (0.25, 0.53),
            (0, 0.75),
            (0.25, 1),
            (0.75, 1),
            (1, 0.75),
            (0.75, 0.53),
            (0.25, 0.53),
            (0, 0.25),
            (0.25, 0),
            (0.75, 0),
            (1, 0.25),
            (0.75, 0.53),
        ),
    ),
    "9": (((0.1, 0), (0.7, 0), (1, 0.3), (1, 0.8), (0.75, 1), (0.25, 1), (0, 0.8), (0, 0.6), (0.25, 0.45), (1, 0.5)),),
    "A": (((0, 0), (0.5, 1), (1, 0)), ((0.2, 0.4), (0.8, 0.4))),
    "B": (((0, 0), (0, 1), (0.7, 1), (0.95, 0.78), (0.7, 0.53), (0, 0.53)), ((0.7, 0.53), (1, 0.28), (0.7, 0), (0, 0))),
    "C": (((1, 0.85), (0.75, 1), (0.25, 1), (0, 0.75), (0, 0.25), (0.25, 0), (0.75, 0), (1, 0.15)),),
    "D": (((0, 0), (0, 1), (0.6, 1), (1, 0.7), (1, 0.3), (0.6, 0), (0, 0)),),
    "E": (((1, 1), (0, 1), (0, 0), (1, 0)), ((0, 0.5), (0.8, 0.5))),
    "F": (((1, 1), (0, 1), (0, 0)), ((0, 0.5), (0.8, 0.5))),
    "G": (((1, 0.85), (0.75, 1), (0.25, 1), (0, 0.75), (0, 0.25), (0.25, 0), (0.8, 0), (1, 0.2), (1, 0.45), (0.6, 0.45)),),
    "H": (((0, 0), (0, 1)), ((1, 0), (1, 1)), ((0, 0.5), (1, 0.5))),
    "I": (((0.5, 0), (0.5, 1)), ((0.2, 0), (0.8, 0)), ((0.2, 1), (0.8, 1))),
    "J": (((1, 1), (1, 0.2), (0.75, 0), (0.25, 0), (0, 0.2)),),
    "K": (((0, 0), (0, 1)), ((1, 1), (0, 0.45)), ((0.3, 0.6), (1, 0))),
    "L": (((0, 1), (0, 0), (1, 0)),),
    "M": (((0, 0), (0, 1), (0.5, 0.4), (1, 1), (1, 0)),),
    "N": (((0, 0), (0, 1), (1, 0), (1, 1)),),
    "O": (((0, 0.25), (0, 0.75), (0.25, 1), (0.75, 1), (1, 0.75), (1, 0.25), (0.75, 0), (0.25, 0), (0, 0.25)),),
    "P": (((0, 0), (0, 1), (0.75, 1), (1, 0.8), (1, 0.65), (0.75, 0.45), (0, 0.45)),),
    "R": (((0, 0), (0, 1), (0.75, 1), (1, 0.8), (1, 0.65), (0.75, 0.48), (0, 0.48)), ((0.5, 0.48), (1, 0))),
    "S": (((1, 0.85), (0.75, 1), (0.25, 1), (0, 0.8), (0.1, 0.6), (0.9, 0.42), (1, 0.2), (0.75, 0), (0.25, 0), (0, 0.15)),),
    "T": (((0, 1), (1, 1)), ((0.5, 1), (0.5, 0))),
    "U": (((0, 1), (0, 0.2), (0.25, 0), (0.75, 0), (1, 0.2), (1, 1)),),
    "V": (((0, 1), (0.5, 0), (1, 1)),),
    "W": (((0, 1), (0.25, 0), (0.5, 0.6), (0.75, 0), (1, 1)),),
    "X": (((0, 0), (1, 1)), ((0, 1), (1, 0))),
    "Y": (((0, 1), (0.5, 0.5), (1, 1)), ((0.5, 0.5), (0.5, 0))),
    "Z": (((0, 1), (1, 1), (0, 0), (1, 0)),),
}


def letters() -> str:
    """The characters that can be drawn."""
    return "".join(_STROKES)


def strokes(text: str, width: float, height: float, gap: float) -> list[Array]:
    """Polylines (n, 2) of `text` centred on (0, 0), each cell `width` x `height`; characters that it lacks leave a space."""
    lines = []
    start = -(len(text) * width + (len(text) - 1) * gap) / 2
    for i, character in enumerate(text):
        for stroke in _STROKES.get(character, ()):
            points = np.array(stroke) * (width, height)
            lines.append(points + np.array([start + i * (width + gap), -height / 2]))
    return lines


def thick(line: Array, thickness: float) -> list[Array]:
    """Quadrilaterals (4, 2) that cover a polyline with square, slightly extended ends."""
    quads = []
    for a, b in pairwise(line):
        along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9) * thickness / 2
        across = np.array([-along[1], along[0]])
        quads.append(np.stack([a - along + across, b + along + across, b + along - across, a - along - across]))
    return quads


def lettering(text: str, width: float, height: float, gap: float, thickness: float) -> list[Array]:
    """Polygons (4, 2) of `text`, the strokes inside the cells, centred on (0, 0)."""
    inner = strokes(text, width - thickness, height - thickness, gap + thickness)
    return [quad for line in inner for quad in thick(line, thickness)]
