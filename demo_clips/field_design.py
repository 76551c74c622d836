"""Random fields: from a painted stadium with a logo to a worn practice field without numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips import turf
from demo_clips.glyphs import lettering
from demo_clips.kits_design import Colour, random_colour
from demo_clips.turf import Field, Paint
from homography.field import LENGTH_YD, LINE_WIDTH_YD, WIDTH_YD

Array = npt.NDArray[Any]
_SYLLABLES = ("VAL", "MOR", "TIN", "HAR", "LO", "KES", "BRAN", "DUR", "WEN", "SOL", "RIK", "AST", "FEN", "GAR", "OX", "PEL")


def invented_word(rng: np.random.Generator) -> str:
    """A town or nickname that exists nowhere in particular."""
    return "".join(str(rng.choice(_SYLLABLES)) for _ in range(int(rng.integers(2, 4))))[:9]


def _emblem_coats(rng: np.random.Generator, at: tuple[float, float], radius: float, opacity: float) -> list[Paint]:
    outline, body, details = turf.emblem(rng)
    turn = float(rng.choice([0.0, np.pi / 2, np.pi, -np.pi / 2]))
    dark: Colour = (24, 22, 22) if rng.random() < 0.7 else random_colour(rng)
    light = turf.paint_colour(rng)
    return [
        Paint(turf.placed(p, at, turn, radius), c, opacity, 0.6)
        for p, c in ((outline, dark), (body, light), (details, dark))
        if p
    ]


def _end_zones(
    rng: np.random.Generator, words: tuple[str, str] | None, colour: Colour, ink: Colour, opacity: float
) -> list[Paint]:
    coats = []
    style = rng.choice(["fill", "stripes", "letters"], p=[0.6, 0.2, 0.2])
    if style == "fill":
        coats.append(Paint([turf.box(0, 0, 10, WIDTH_YD), turf.box(110, 0, LENGTH_YD, WIDTH_YD)], colour, opacity, 0.5))
    elif style == "stripes":
        stripes = [turf.line((x0, y), (x0 + 10, y + 10)) for x0 in (0, 110) for y in np.arange(2, WIDTH_YD - 10, 3.3)]
        coats.append(Paint(stripes, colour, opacity))
    outward = rng.random() < 0.5
    for x, turn in ((5.0, np.pi / 2 if outward else -np.pi / 2), (115.0, -np.pi / 2 if outward else np.pi / 2)):
        word = words[0 if x < 60 else 1] if words else invented_word(rng)
        width = min(4.2, 40.0 / max(len(word), 1) - 0.9)
        coats.append(Paint(turf.placed(lettering(word, width, 6.0, 0.9, 0.9), (x, WIDTH_YD / 2), turn), ink, opacity, 0.6))
    return coats


def _markings(rng: np.random.Generator, level: str, finish: str, opacity: float, whole: bool) -> list[Paint]:
    white: Colour = (236, 240, 240)
    border = float(rng.choice([LINE_WIDTH_YD, 0.25, 1.0, 2.0], p=[0.45, 0.15, 0.15, 0.25]))
    plain = finish == "practice"
    odd = plain and not whole
    step = 10.0 if odd and rng.random() < 0.25 else 5.0
    first, last = (20.0, 100.0) if odd and rng.random() < 0.12 else (10.0, 60.0) if odd and rng.random() < 0.12 else (10.0, 110.0)
    coats = [
        Paint(turf.yard_lines(step, first, last), white, opacity),
        Paint(turf.boundaries(LINE_WIDTH_YD if plain else border), white, opacity),
    ]
    if not odd or rng.random() < 0.6:
        coats.append(Paint(turf.hash_marks(level, bool(rng.random() < 0.5)), white, opacity))
    if not plain or rng.random() < 0.3:
        coats.append(Paint(turf.sideline_marks(), white, opacity))
    if not plain or rng.random() < 0.3:
        colour = white if rng.random() < 0.85 else turf.paint_colour(rng)
        centre = float(rng.uniform(7.0, 9.5)) if level == "high-school" else None
        shapes = turf.numbers(level, bool(rng.random() < 0.7), float(rng.uniform(0.3, 0.5)), centre)
        coats.append(Paint(shapes, colour, opacity))
    if rng.random() < 0.1:
        x = float(rng.choice(np.arange(15, 110, 5)))
        coats.append(Paint([turf.line((x, 0), (x, WIDTH_YD / 2))], turf.paint_colour(rng), opacity))
    return coats


def random_field(
    rng: np.random.Generator,
    level: str | None = None,
    finish: str | None = None,
    words: tuple[str, str] | None = None,
    colours: tuple[Colour, Colour] | None = None,
    whole: bool = False,
) -> Field:
    """A field of `level` (random if None). `finish` is stadium or practice; `words` and `colours` dress the end zones;
    `whole` leaves out practice fields that are half painted, shortened or without hash marks."""
    level = level or str(rng.choice(["high-school", "college", "pro"]))
    finish = finish or str(rng.choice(["stadium", "practice"], p=[0.68, 0.32]))
    opacity = float(rng.uniform(0.6, 0.97) if rng.random() < 0.8 else rng.uniform(0.3, 0.6))
    artificial = rng.random() < 0.55
    first, ink = colours or (random_colour(rng), turf.paint_colour(rng))
    coats: list[Paint] = []
    if finish == "stadium" and (rng.random() < 0.7 or words):
        coats += _end_zones(rng, words, first, ink, opacity)
    if artificial and rng.random() < 0.4:
        other = turf.soccer_lines(float(rng.uniform(0.08, 0.14))) if rng.random() < 0.6 else turf.lacrosse_lines(0.1)
        coats.append(Paint(other, turf.paint_colour(rng), opacity * 0.9))
    coats += _markings(rng, level, finish, opacity, whole)
    if finish == "stadium" and rng.random() < 0.65:
        coats += _emblem_coats(rng, (60.0, WIDTH_YD / 2), float(rng.uniform(3.5, 11.0)), opacity)
    if finish == "stadium" and rng.random() < 0.25:
        state = rng.bit_generator.state
        for x, y in ((35.0, 12.0), (85.0, 12.0), (35.0, WIDTH_YD - 12.0), (85.0, WIDTH_YD - 12.0)):
            rng.bit_generator.state = state
            coats += _emblem_coats(rng, (x, y), 1.5, opacity)
    return _ground(rng, level, coats, artificial)


def _ground(rng: np.random.Generator, level: str, coats: list[Paint], artificial: bool) -> Field:
    value = float(rng.uniform(0.26, 0.5))
    if artificial and rng.random() < 0.05:
        base = np.array(((0.55, 0.3, 0.12), (0.2, 0.16, 0.45), (0.42, 0.42, 0.42), (0.3, 0.34, 0.36))[int(rng.integers(4))])
    else:
        red = rng.uniform(0.42, 0.75) if artificial else rng.uniform(0.55, 0.95)
        base = np.array([rng.uniform(0.3, 0.6) if artificial else rng.uniform(0.3, 0.5), 1.0, red]) * value
        if not artificial and rng.random() < 0.15:
            base = np.array([0.42, 0.58, 0.62]) * rng.uniform(0.8, 1.2)
    b, g, r = (float(c) for c in base)
    mowed = rng.random() < (0.35 if artificial else 0.45)
    surround = (
        (b * 1.0, g * 0.9, r * 1.1),
        (0.30, 0.36, 0.62),
        (0.36, 0.36, 0.36),
        (0.62, 0.65, 0.66),
        (0.3, 0.42, 0.4),
        (0.55, 0.3, 0.25),
    )[int(rng.choice(6, p=[0.4, 0.2, 0.12, 0.08, 0.12, 0.08]))]
    return Field(
        level=level,
        coats=coats,
        turf_bgr=(b, g, r),
        mud_bgr=(0.2, 0.32, 0.42),
        surround_bgr=surround,
        mow_yd=float(rng.choice([2.0, 5.0, 5.0, 10.0])) if mowed else 0.0,
        mow_strength=float(rng.uniform(0.02, 0.09)),
        mow_across=bool(rng.random() < 0.75),
        blotch=float(rng.uniform(0.01, 0.05) if artificial else rng.uniform(0.03, 0.14)),
        grain=float(rng.uniform(0.02, 0.07)),
        mud=0.0 if artificial or rng.random() < 0.5 else float(rng.uniform(0.2, 0.9)),
        wear=float(rng.uniform(0.05, 0.35) if artificial else rng.uniform(0.1, 0.7)),
        apron_yd=float(rng.uniform(2.0, 9.0)),
        seed=int(rng.integers(1 << 31)),
    )
