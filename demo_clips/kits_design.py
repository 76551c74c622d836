"""What people wear: shirts, trousers, helmets, and the random wardrobe of training frames. Colours are BGR, 0..255."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

Colour = tuple[int, int, int]

WHITE: Colour = (238, 240, 240)
BLACK: Colour = (28, 26, 26)
SKINS: tuple[Colour, ...] = ((168, 190, 226), (140, 168, 212), (110, 142, 194), (80, 112, 164), (56, 80, 124), (40, 56, 88))


@dataclass(frozen=True)
class Kit:
    """One outfit. `stripes` are an official's vertical bands; `helmet` False leaves a bare or capped head (`cap`)."""

    jersey: Colour
    sleeve: Colour
    number: Colour | None
    number_edge: Colour | None
    pants: Colour
    pants_stripe: Colour | None
    shell: Colour
    shell_stripe: Colour | None
    facemask: Colour
    socks: Colour
    shoes: Colour
    undershirt: Colour | None = None
    gloves: Colour | None = None
    stripes: Colour | None = None
    helmet: bool = True
    pads: bool = True
    shorts: bool = False
    cap: Colour | None = None


def random_colour(rng: np.random.Generator) -> Colour:
    """A cloth colour: mostly a strong team colour, sometimes a dull or a dark one."""
    hue, kind = rng.uniform(0, 6), rng.random()
    saturation = rng.uniform(0.55, 1.0) if kind < 0.7 else rng.uniform(0.0, 0.4)
    value = rng.uniform(0.25, 0.95) if kind < 0.85 else rng.uniform(0.05, 0.25)
    x = 1 - abs(hue % 2 - 1)
    rgb = [(1, x, 0), (x, 1, 0), (0, 1, x), (0, x, 1), (x, 0, 1), (1, 0, x)][int(hue) % 6]
    r, g, b = ((1 - saturation + saturation * c) * value * 235 + 12 for c in rgb)
    return int(b), int(g), int(r)


def distinct_colour(rng: np.random.Generator, other: Colour) -> Colour:
    """A cloth colour that nobody takes for `other`."""
    for _ in range(20):
        colour = random_colour(rng)
        if sum(abs(a - b) for a, b in zip(colour, other, strict=True)) > 190:
            return colour
    return contrast(other)


def contrast(colour: Colour) -> Colour:
    """White on dark cloth, near black on light cloth."""
    return WHITE if 0.114 * colour[0] + 0.587 * colour[1] + 0.299 * colour[2] < 140 else BLACK


def team_kit(jersey: Colour, pants: Colour, shell: Colour, accent: Colour) -> Kit:
    """A playing outfit from four colours."""
    return Kit(
        jersey=jersey,
        sleeve=jersey,
        number=accent if abs(sum(accent) - sum(jersey)) > 180 else contrast(jersey),
        number_edge=None,
        pants=pants,
        pants_stripe=accent,
        shell=shell,
        shell_stripe=accent,
        facemask=contrast(shell),
        socks=jersey,
        shoes=BLACK,
    )


def random_kit(rng: np.random.Generator, light: bool | None = None) -> Kit:
    """A team's outfit; `light` asks for a white or grey shirt (True) or a coloured one (False)."""
    first, second = random_colour(rng), random_colour(rng)
    pale = bool(rng.random() < 0.4) if light is None else light
    grey = int(rng.integers(175, 245))
    jersey: Colour = (grey, grey, grey) if pale else first
    pants = (WHITE, jersey, second, (150, 150, 150), BLACK, (120, 200, 220), first)[int(rng.integers(7))]
    shell = (WHITE, first, second, BLACK, (150, 150, 150))[int(rng.integers(5))]
    kit = team_kit(jersey, pants, shell, second)
    number = first if pale and rng.random() < 0.6 else kit.number
    return replace(
        kit,
        number=None if rng.random() < 0.12 else number,
        number_edge=second if rng.random() < 0.4 else None,
        sleeve=second if rng.random() < 0.2 else jersey,
        pants_stripe=second if rng.random() < 0.5 else None,
        shell_stripe=second if rng.random() < 0.5 else None,
        facemask=(BLACK, WHITE, (130, 130, 130), second)[int(rng.integers(4))],
        socks=(WHITE, BLACK, first, second, pants)[int(rng.integers(5))],
        shoes=(WHITE, BLACK, second)[int(rng.integers(3))],
        undershirt=(None, WHITE, BLACK, second)[int(rng.integers(4))],
        gloves=(None, WHITE, BLACK, second)[int(rng.integers(4))],
        shorts=bool(rng.random() < 0.12),
    )


def official_kit() -> Kit:
    """Black and white stripes, black or white trousers, a cap."""
    return Kit(
        jersey=WHITE,
        sleeve=WHITE,
        number=None,
        number_edge=None,
        pants=BLACK,
        pants_stripe=None,
        shell=BLACK,
        shell_stripe=None,
        facemask=BLACK,
        socks=BLACK,
        shoes=BLACK,
        stripes=BLACK,
        helmet=False,
        pads=False,
        cap=BLACK,
    )


def plain_kit(rng: np.random.Generator, top: Colour | None = None) -> Kit:
    """A coach, a trainer or a bystander: shirt or jacket, trousers or shorts, perhaps a cap."""
    shirt = top if top is not None else random_colour(rng)
    trousers = (BLACK, (96, 120, 150), (70, 70, 70), (60, 40, 40), (150, 170, 180), random_colour(rng))[int(rng.integers(6))]
    cap = (None, shirt, BLACK, WHITE)[int(rng.integers(4))]
    return Kit(
        jersey=shirt,
        sleeve=shirt,
        number=None,
        number_edge=None,
        pants=trousers,
        pants_stripe=None,
        shell=(40, 50, 70),
        shell_stripe=None,
        facemask=BLACK,
        socks=WHITE if rng.random() < 0.5 else BLACK,
        shoes=WHITE if rng.random() < 0.4 else BLACK,
        helmet=False,
        pads=False,
        shorts=bool(rng.random() < 0.35),
        cap=cap,
        undershirt=shirt if rng.random() < 0.4 else None,
    )


def dress_individually(kit: Kit, rng: np.random.Generator) -> Kit:
    """One player's own socks, shoes, sleeves, gloves and faded cloth on top of his team's outfit."""
    own = replace(
        kit,
        socks=kit.socks if rng.random() < 0.6 else (WHITE, BLACK)[int(rng.integers(2))],
        shoes=kit.shoes if rng.random() < 0.5 else (WHITE, BLACK, random_colour(rng))[int(rng.integers(3))],
        undershirt=kit.undershirt if rng.random() < 0.6 else (None, WHITE, BLACK)[int(rng.integers(3))],
        gloves=kit.gloves if rng.random() < 0.5 else (None, WHITE, BLACK)[int(rng.integers(3))],
    )
    fade = float(rng.normal(0, 5))
    b, g, r = (int(np.clip(c + fade, 5, 250)) for c in own.jersey)
    return replace(own, jersey=(b, g, r))
