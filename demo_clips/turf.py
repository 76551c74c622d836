"""What is painted on a field, as polygons in yards: lines, marks, numbers, end zones, logos, other sports' lines, wear.

Sizes: 4 in. lines, 2 ft yard marks and numbers of 6 x 4 ft follow the NFHS, NCAA and NFL field diagrams (from memory);
everything about colour, wear and artwork is made up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.glyphs import lettering, letters
from demo_clips.kits_design import random_colour
from homography.field import LENGTH_YD, LEVELS, LINE_WIDTH_YD, WIDTH_YD

Array = npt.NDArray[Any]
_MARK_YD = 2.0 / 3.0


@dataclass(frozen=True)
class Paint:
    """One coat: closed convex polygons (n, 2) in yards of one colour (BGR 0..255) and opacity; `worn` lets wear eat it."""

    polygons: list[Array]
    colour: tuple[int, int, int]
    opacity: float
    worn: float = 1.0


def turf_height(y: Array, crown_yd: float, power: float) -> Array:
    """(...,) yards by which a crowned field stands above its sidelines at distances y from the near one."""
    return np.asarray(crown_yd * (1.0 - np.minimum(np.abs(2.0 * y / WIDTH_YD - 1.0), 1.0) ** power))


@dataclass(frozen=True)
class Field:
    """A field to paint: `coats` from the bottom up. Turf colours are BGR 0..1; `mow_yd` is the width of mowing stripes
    (0 = none); `mud`, `blotch`, `grain` are strengths; `apron_yd` is how far the turf reaches past the lines. Its middle stands
    `crown_yd` above the sidelines; a `crown_power` of 1 makes two even slopes of that, 2 a parabola."""

    level: str
    coats: list[Paint]
    turf_bgr: tuple[float, float, float]
    mud_bgr: tuple[float, float, float]
    surround_bgr: tuple[float, float, float]
    mow_yd: float
    mow_strength: float
    mow_across: bool
    blotch: float
    grain: float
    mud: float
    wear: float
    apron_yd: float
    seed: int
    crown_yd: float = 0.0
    crown_power: float = 1.0

    def height(self, y: Array) -> Array:
        """(...,) yards by which the turf stands above the sidelines at distances y from the near one."""
        return turf_height(y, self.crown_yd, self.crown_power)


def crowned(field: Field) -> Field:
    """The field as it was built: most drain to both sides, from a few inches on synthetic turf to over a foot on old grass
    (common practice, no source). Depends on the field's seed alone."""
    rng = np.random.default_rng([field.seed, 1])
    if rng.random() < 0.3:
        return field
    return replace(field, crown_yd=float(rng.uniform(0.08, 0.45)), crown_power=float(rng.uniform(1.0, 1.8)))


def box(x0: float, y0: float, x1: float, y1: float) -> Array:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


def line(a: tuple[float, float], b: tuple[float, float], width: float = LINE_WIDTH_YD) -> Array:
    """A straight stroke from a to b with square ends at a and b."""
    p, q = np.array(a, dtype=float), np.array(b, dtype=float)
    along = (q - p) / max(float(np.linalg.norm(q - p)), 1e-9)
    across = np.array([-along[1], along[0]]) * width / 2
    return np.stack([p + across, q + across, q - across, p - across])


def arc(centre: tuple[float, float], radius: float, start: float, end: float, width: float = LINE_WIDTH_YD) -> list[Array]:
    """A circular stroke as short quadrilaterals."""
    turns = np.linspace(start, end, max(8, int(abs(end - start) * radius * 1.5)))
    ring = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    inner, outer = ring * (radius - width / 2) + centre, ring * (radius + width / 2) + centre
    return [np.stack([inner[i], inner[i + 1], outer[i + 1], outer[i]]) for i in range(len(turns) - 1)]


def placed(polygons: list[Array], at: tuple[float, float], turn_rad: float, scale: float = 1.0) -> list[Array]:
    c, s = np.cos(turn_rad) * scale, np.sin(turn_rad) * scale
    return [p @ np.array([[c, s], [-s, c]]) + at for p in polygons]


def yard_lines(step: float = 5.0, first: float = 10.0, last: float = 110.0, width: float = LINE_WIDTH_YD) -> list[Array]:
    return [line((x, 0.0), (x, WIDTH_YD), width) for x in np.arange(first, last + 0.01, step)]


def boundaries(border_yd: float, goal_width_yd: float = LINE_WIDTH_YD) -> list[Array]:
    """Sidelines and end lines, their inner edge on the rectangle, `border_yd` wide; goal lines outside the field of play."""
    b = border_yd
    rim = [
        box(-b, -b, LENGTH_YD + b, 0),
        box(-b, WIDTH_YD, LENGTH_YD + b, WIDTH_YD + b),
        box(-b, 0, 0, WIDTH_YD),
        box(LENGTH_YD, 0, LENGTH_YD + b, WIDTH_YD),
    ]
    goal = [box(10 - goal_width_yd, 0, 10, WIDTH_YD), box(110, 0, 110 + goal_width_yd, WIDTH_YD)]
    return rim + goal


def hash_marks(level: str, inward: bool) -> list[Array]:
    """Inbounds rows: 2 ft yard marks, and 2 ft ticks along the row where it crosses a five-yard line."""
    hash_yd = LEVELS[level].hash_yd
    marks = []
    for y, sign in ((hash_yd, 1.0), (WIDTH_YD - hash_yd, -1.0)):
        reach = _MARK_YD * sign * (1.0 if inward else -1.0)
        for x in range(11, 110):
            if x % 5:
                marks.append(line((x, y), (x, y + reach)))
            elif 10 < x < 110:
                marks.append(line((x - _MARK_YD / 2, y), (x + _MARK_YD / 2, y)))
    return marks


def sideline_marks() -> list[Array]:
    """2 ft marks at every yard, 4 in. inside both sidelines."""
    start = LINE_WIDTH_YD
    return [
        line((x, y), (x, y + reach))
        for x in range(11, 110)
        if x % 5
        for y, reach in ((start, _MARK_YD), (WIDTH_YD - start, -_MARK_YD))
    ]


def numbers(level: str, arrows: bool, thickness: float = 0.3, centre_yd: float | None = None) -> list[Array]:
    """The field numbers with their direction arrows, each read from its own sideline."""
    rule = LEVELS[level]
    centre = centre_yd if centre_yd is not None else rule.number_centre_yd or 8.0
    w, h = rule.number_width_yd, rule.number_height_yd
    shapes: list[Array] = []
    for x in range(20, 101, 10):
        tens = str(min(x - 10, 110 - x) // 10)
        for y, turn in ((centre, 0.0), (WIDTH_YD - centre, np.pi)):
            for digit, side in ((tens, -1.0), ("0", 1.0)):
                cell = lettering(digit, w, h, 0.0, thickness)
                shapes += placed([p + np.array([side * (w / 2 + 0.35), 0.0]) for p in cell], (x, y), turn)
            if arrows and x != 60:
                toward = -1.0 if x < 60 else 1.0
                base = toward * (w + 0.75)
                head = np.array([[base, 0.25], [base, 0.75], [base + toward * 0.9, 0.5]])
                shapes.append(head * (1.0, 1.0 if turn == 0.0 else -1.0) + (x, y))
    return shapes


def emblem(rng: np.random.Generator) -> tuple[list[Array], list[Array], list[Array]]:
    """A made-up badge of radius about 1: dark outline, body and inner details."""
    kind = rng.choice(["beast", "disc", "shield", "star", "letter"])
    if kind == "letter":
        glyph = str(rng.choice(list(letters())))
        return lettering(glyph, 1.7, 2.0, 0, 0.62), lettering(glyph, 1.5, 1.8, 0, 0.4), []
    turns = np.linspace(0, 2 * np.pi, 25)[:-1]
    radius = np.ones(24)
    if kind == "beast":
        half = rng.uniform(0.55, 1.15, 13)
        radius = np.concatenate([half, half[11:0:-1]])
    elif kind == "star":
        radius = np.where(np.arange(24) % 4 < 2, 1.0, 0.55)
    elif kind == "shield":
        radius = np.clip(1.0 / np.maximum(np.abs(np.cos(turns)), np.abs(np.sin(turns))), 0, 1.15) * np.where(
            np.sin(turns) < -0.5, 0.85, 1
        )
    ring = np.stack([np.cos(turns), np.sin(turns)], axis=1) * radius[:, None]
    fan = [np.stack([np.zeros(2), ring[i], ring[(i + 1) % 24]]) for i in range(24)]
    outline = [p * 1.16 for p in fan]
    details = [
        placed([np.array([[-0.2, -0.1], [0.2, -0.1], [0.15, 0.12], [-0.15, 0.12]])], (sx * 0.36, 0.2), 0.3 * sx)[0]
        for sx in (-1, 1)
    ]
    if kind in ("disc", "shield"):
        details = lettering(str(rng.choice(list(letters()))), 0.7, 1.0, 0, 0.2)
    elif kind == "beast":
        details += [
            line((-0.4, -0.4), (0.4, -0.4), 0.16),
            line((-0.15, -0.1), (0.0, -0.25), 0.1),
            line((0.15, -0.1), (0, -0.25), 0.1),
        ]
    return outline, fan, details


def soccer_lines(width: float) -> list[Array]:
    """A pitch of about 110 x 65 yd, cut to the turf, laid over the same field."""
    x0, x1, y0, y1 = 6.0, 114.0, -3.0, WIDTH_YD + 3.0
    shapes = [line((x0, y0), (x1, y0), width), line((x0, y1), (x1, y1), width), line((60, y0), (60, y1), width)]
    shapes += arc((60.0, WIDTH_YD / 2), 10.0, 0, 2 * np.pi, width)
    for end, sign in ((x0, 1.0), (x1, -1.0)):
        shapes.append(line((end, y0), (end, y1), width))
        for depth, half in ((18.0, 22.0), (6.0, 10.0)):
            a, b = WIDTH_YD / 2 - half, WIDTH_YD / 2 + half
            shapes += [
                line((end, a), (end + sign * depth, a), width),
                line((end, b), (end + sign * depth, b), width),
                line((end + sign * depth, a), (end + sign * depth, b), width),
            ]
    return shapes


def lacrosse_lines(width: float) -> list[Array]:
    """Restraining lines, creases and fans of a lacrosse field, roughly."""
    shapes = [line((x, 0), (x, WIDTH_YD), width) for x in (40.0, 80.0)]
    for end in (25.0, 95.0):
        shapes += arc((end, WIDTH_YD / 2), 3.0, 0, 2 * np.pi, width)
        shapes += arc(
            (end, WIDTH_YD / 2), 13.0, -np.pi / 2 + (0 if end < 60 else np.pi), np.pi / 2 + (0 if end < 60 else np.pi), width
        )
    return shapes


def paint_colour(rng: np.random.Generator) -> tuple[int, int, int]:
    return ((245, 245, 245), (60, 220, 240), (220, 140, 40), (50, 50, 200), (40, 130, 240), random_colour(rng))[
        int(rng.integers(6))
    ]
