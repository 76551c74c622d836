"""Random surroundings: stands and crowds, trees, buildings, cars, fences, benches, practice gear, goal posts, a hung camera."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.field_design import invented_word
from demo_clips.glyphs import lettering
from demo_clips.kits_design import Colour, contrast, random_colour
from demo_clips.scenery import Layer, Scenery, solid, wall
from homography.field import LENGTH_YD, WIDTH_YD

Array = npt.NDArray[Any]
_SIDES = ((1, 0.75), (3, 0.8), (2, 0.9), (0, 0.9), (4, 1.15))
"""Faces of `solid` and how bright each is."""


def _toned(colour: Colour, tone: float) -> Colour:
    return int(min(colour[0] * tone, 255)), int(min(colour[1] * tone, 255)), int(min(colour[2] * tone, 255))


def goal_posts(rng: np.random.Generator, half_width_yd: float) -> list[tuple[Array, float, Colour]]:
    """Both goals: crossbar 10 ft up, uprights, gooseneck or H-shaped base."""
    colour: Colour = (60, 220, 240) if rng.random() < 0.6 else (235, 235, 235)
    top = 10 / 3 + float(rng.uniform(6.0, 10.0))
    radius, base_radius = 0.06, 0.1
    middle = WIDTH_YD / 2
    goose = rng.random() < 0.7
    strokes = []
    for x, out in ((0.0, -1.5), (LENGTH_YD, 1.5)):
        a, b = middle - half_width_yd, middle + half_width_yd
        strokes.append((np.array([[x, a, 10 / 3], [x, b, 10 / 3]]), radius, colour))
        strokes += [(np.array([[x, y, 10 / 3], [x, y, top]]), radius, colour) for y in (a, b)]
        if goose:
            strokes += [
                (np.array([[x + out, middle, 0], [x + out, middle, 2.6]]), base_radius, colour),
                (np.array([[x + out, middle, 2.6], [x, middle, 10 / 3]]), base_radius, colour),
            ]
        else:
            strokes += [(np.array([[x, y, 0], [x, y, 10 / 3]]), base_radius, colour) for y in (a, b)]
    return strokes


def _stands(rng: np.random.Generator, y0: float, facing: float) -> list[Layer]:
    """Rows of seats along x at `y0`, climbing away from the field (`facing` -1 climbs toward +y); some rows are peopled."""
    x0, x1 = 60 - rng.uniform(25, 55), 60 + rng.uniform(25, 55)
    rows, seat = int(rng.integers(6, 26)), random_colour(rng) if rng.random() < 0.4 else (165, 165, 165)
    full = float(rng.choice([0.0, 0.25, 0.9]))
    layers: list[Layer] = []
    for i in range(rows):
        y, z = y0 - facing * i * 0.8, 0.8 + i * 0.45
        colour = _toned(seat, 0.8 if i % 2 else 1.0)
        layers.append(
            Layer(
                [
                    np.array([[x0, y, z - 0.45], [x1, y, z - 0.45], [x1, y, z], [x0, y, z]]),
                    np.array([[x0, y, z], [x1, y, z], [x1, y - facing * 0.8, z], [x0, y - facing * 0.8, z]]),
                ],
                colour,
                rough=0.05 + full * 0.5,
                noise_px=2.5 + 2 * full,
                seed=int(rng.integers(1 << 30)),
            )
        )
        if full:
            layers += _spectators(rng, x0, x1, y, z, full)
    return layers


def _spectators(rng: np.random.Generator, x0: float, x1: float, y: float, z: float, full: float) -> list[Layer]:
    """One row of seated people in a few colours, too small and too still to be labelled."""
    seats = np.arange(x0, x1, 0.7)
    taken = seats[rng.random(len(seats)) < full]
    colours = [random_colour(rng), random_colour(rng), (225, 225, 225), (60, 60, 70), (110, 140, 190)]
    which = rng.integers(0, len(colours), len(taken))
    rows = []
    for k, colour in enumerate(colours):
        bodies = [wall((x - 0.22, y), (x + 0.22, y), z, z + 0.75) for x in taken[which == k]]
        if bodies:
            rows.append(Layer(bodies, colour))
    heads = [wall((x - 0.1, y), (x + 0.1, y), z + 0.75, z + 1.0) for x in taken]
    return [*rows, Layer(heads, (100, 130, 180))] if heads else rows


def _trees(rng: np.random.Generator, a: tuple[float, float], b: tuple[float, float]) -> Layer:
    count = 60
    share = np.linspace(0, 1, count)
    base = np.array(a) + share[:, None] * (np.array(b) - a)
    tops = np.abs(np.convolve(rng.normal(0, 1, count + 8), np.ones(9) / 3, "valid")) * 3 + rng.uniform(4, 12)
    crown = np.column_stack([base, tops])
    foot = np.column_stack([base, np.zeros(count)])
    quads = [np.stack([foot[i], foot[i + 1], crown[i + 1], crown[i]]) for i in range(count - 1)]
    green = float(rng.uniform(0.6, 1.3))
    return Layer(
        quads,
        (int(38 * green), int(66 * green), int(52 * green)),
        rough=0.3,
        noise_px=float(rng.uniform(3, 9)),
        seed=int(rng.integers(1 << 30)),
    )


def _sideline_things(rng: np.random.Generator) -> list[Layer]:
    layers = []
    for y, sign in ((WIDTH_YD, 1.0), (0.0, -1.0)):
        for _ in range(int(rng.integers(0, 7))):
            x, out = float(rng.uniform(5, 115)), y + sign * float(rng.uniform(4.5, 9))
            # On the near side only what is too low to stand before the players.
            kind = rng.choice(["bench", "bag", "cooler", "tent", "dummy", "cart", "banner"][: 7 if sign > 0 else 2])
            colour = random_colour(rng)
            w, d, h = {
                "bench": (5.0, 0.5, 0.5),
                "tent": (3.3, 3.3, 2.6),
                "bag": (0.6, 0.4, 0.3),
                "cooler": (0.5, 0.5, 0.9),
                "dummy": (0.45, 0.45, 1.6),
                "cart": (2.4, 1.2, 1.6),
                "banner": (4.0, 0.1, 1.0),
            }[str(kind)]
            repeat = int(rng.integers(1, 6)) if kind in ("bag", "dummy", "cooler", "bench") else 1
            polygons = [p for i in range(repeat) for p in solid(x + i * w * 1.5, out, x + i * w * 1.5 + w, out + d, h)]
            layers += [Layer(polygons[i::5], _toned(colour, tone)) for i, tone in _SIDES]
    return layers


def _practice_things(rng: np.random.Generator, x: float, y: float) -> list[Layer]:
    """Cones, bags, standing dummies, a sled or marker sticks on the turf about (x, y)."""
    layers = []
    for _ in range(int(rng.integers(1, 5))):
        kind = str(rng.choice(["cone", "bag", "dummy", "sled", "stick"]))
        at, turn = np.array([x + rng.normal(0, 14), y + rng.normal(0, 12)]), rng.uniform(0, np.pi)
        step = np.array([np.cos(turn), np.sin(turn)]) * rng.uniform(1.2, 5.0)
        colour: Colour = (30, 120, 250) if kind in ("cone", "stick") and rng.random() < 0.7 else random_colour(rng)
        w, h = {"cone": (0.2, 0.3), "bag": (1.3, 0.35), "dummy": (0.5, 1.7), "sled": (0.6, 1.4), "stick": (0.08, 2.2)}[kind]
        for i in range(int(rng.integers(1, 8))):
            cx, cy = at + i * step
            body = solid(cx - w / 2, cy - min(w, 0.5) / 2, cx + w / 2, cy + min(w, 0.5) / 2, h)
            layers += [Layer([body[j]], _toned(colour, tone)) for j, tone in _SIDES]
            if kind in ("dummy", "sled"):
                layers.append(Layer([wall((cx - w / 2, cy - 0.26), (cx + w / 2, cy - 0.26), h * 0.7, h)], contrast(colour)))
    return layers


def _buildings(rng: np.random.Generator, y: float) -> list[Layer]:
    """A house or two with rows of windows behind the far sideline."""
    layers = []
    for _ in range(int(rng.integers(1, 4))):
        x, w, h = float(rng.uniform(-60, 150)), float(rng.uniform(12, 50)), float(rng.uniform(4, 14))
        colour: Colour = ((120, 135, 165), (190, 195, 200), (90, 90, 150), (150, 150, 150))[int(rng.integers(4))]
        layers.append(Layer([wall((x, y), (x + w, y), 0, h)], colour))
        panes = [
            wall((px, y - 0.1), (px + 1.2, y - 0.1), pz, pz + 1.3)
            for pz in np.arange(1.2, h - 1.6, 3.2)
            for px in np.arange(x + 1, x + w - 2, 2.6)
        ]
        if panes:
            layers.append(Layer(panes, (80, 70, 60)))
    return layers


def _cars(rng: np.random.Generator, y: float) -> list[Layer]:
    """A row of parked cars."""
    layers = []
    start = float(rng.uniform(-30, 90))
    for i in range(int(rng.integers(2, 14))):
        x = start + i * float(rng.choice([2.9, 3.1, 5.8]))
        colour = (
            random_colour(rng) if rng.random() < 0.4 else ((210, 210, 210), (60, 60, 60), (140, 140, 140))[int(rng.integers(3))]
        )
        layers += [
            Layer([wall((x, y), (x + 2.0, y), 0.2, 1.0)], colour),
            Layer([wall((x + 0.2, y), (x + 1.8, y), 1.0, 1.6)], (60, 50, 45)),
            Layer([wall((x + 0.1, y), (x + 0.5, y), 0.0, 0.35), wall((x + 1.5, y), (x + 1.9, y), 0.0, 0.35)], (25, 25, 25)),
        ]
    return layers


def _boards(rng: np.random.Generator, y: float) -> list[Layer]:
    """Boards with lettering along the far sideline."""
    layers = []
    for x in np.arange(float(rng.uniform(-10, 20)), 120, float(rng.uniform(8, 20))):
        colour = random_colour(rng)
        layers.append(Layer([wall((x, y), (x + 7.5, y), 0, 1.1)], colour))
        word = lettering(invented_word(rng)[:7], 0.7, 0.7, 0.2, 0.16)
        ink = [np.column_stack([p[:, 0] + x + 3.75, np.full(len(p), y - 0.05), p[:, 1] + 0.55]) for p in word]
        layers.append(Layer(ink, contrast(colour)))
    return layers


def _masts(rng: np.random.Generator, out: float) -> list[Layer]:
    """Light poles with a head of lamps."""
    layers = []
    for x in (20.0, 60.0, 100.0):
        y, h = WIDTH_YD + out, float(rng.uniform(18, 28))
        layers += [
            Layer([wall((x - 0.25, y), (x + 0.25, y), 0, h)], (120, 120, 120)),
            Layer([wall((x - 2, y), (x + 2, y), h, h + 1.8)], (200, 205, 210)),
        ]
    return layers


def hung_camera(rng: np.random.Generator) -> list[tuple[Array, float, Colour]]:
    """A camera body on four cables over the field."""
    at = np.array([rng.uniform(25, 95), rng.uniform(15, 38), rng.uniform(4.5, 12)])
    corners = np.array([[0, -10, 32], [120, -10, 32], [0, 64, 32], [120, 64, 32]], dtype=float)
    up = np.array([0.0, 0.0, 1.0])
    body = [
        (np.array([at - 0.35 * up, at + 0.35 * up]), 0.3, (30, 30, 30)),
        (np.array([at + 0.3 * up, at + 0.9 * up]), 0.12, (60, 60, 60)),
    ]
    return [(np.stack([at + 0.8 * up, corner]), 0.015, (40, 40, 40)) for corner in corners] + body


def random_scenery(
    rng: np.random.Generator, level: str, plain: bool = False, near_xy: tuple[float, float] | None = None
) -> Scenery:
    """Surroundings at random; `plain` leaves only goal posts and pylons; practice gear may lie about `near_xy`."""
    half_goal = (23 + 4 / 12) / 6 if level == "high-school" else 18.5 / 6
    scene = Scenery(posts=goal_posts(rng, half_goal) if rng.random() < 0.8 else [])
    for x in (0.0, 10.0, 110.0, 120.0):
        for y in (-0.15, WIDTH_YD + 0.15):
            scene.layers.append(Layer(solid(x - 0.06, y - 0.06, x + 0.06, y + 0.06, 0.5), (30, 110, 245)))
    if plain:
        return scene
    if rng.random() < 0.55:
        scene.layers.extend(_stands(rng, WIDTH_YD + float(rng.uniform(8, 25)), -1.0))
    if rng.random() < 0.3:
        scene.casts.append(
            np.array([[30, -12, 14], [90, -12, 14], [30, -25, 20], [90, -25, 20], [30, -12, 0], [90, -12, 0]], dtype=float)
        )
    if rng.random() < 0.7:
        far = float(rng.uniform(25, 70))
        scene.layers.append(_trees(rng, (-90, WIDTH_YD + far), (210, WIDTH_YD + far)))
        scene.layers.append(_trees(rng, (LENGTH_YD + far, -80), (LENGTH_YD + far, 140)))
    if rng.random() < 0.6:
        far = float(rng.uniform(6, 20))
        fence = [
            wall((-20, WIDTH_YD + far), (140, WIDTH_YD + far), 0, 1.4),
            wall((LENGTH_YD + far, -20), (LENGTH_YD + far, 75), 0, 1.4),
        ]
        scene.layers.extend(
            Layer([w], (60, 60, 60) if rng.random() < 0.5 else random_colour(rng), float(rng.uniform(0.3, 1.0))) for w in fence
        )
    for chance, things, low, high in (
        (0.3, _buildings, 30, 70),
        (0.3, _cars, 12, 40),
        (0.2, _boards, 4, 9),
        (0.3, _masts, 9, 25),
    ):
        if rng.random() < chance:
            distance = float(rng.uniform(low, high))
            scene.layers.extend(things(rng, distance if things is _masts else WIDTH_YD + distance))
    scene.layers.extend(_sideline_things(rng))
    if near_xy is not None and rng.random() < 0.3:
        scene.layers.extend(_practice_things(rng, *near_xy))
    if rng.random() < 0.2:
        scene.nets.append(wall((-1.5, WIDTH_YD / 2 - 9), (-1.5, WIDTH_YD / 2 + 9), 2.5, 13))
    if rng.random() < 0.12:
        scene.wires.extend(hung_camera(rng))
    if rng.random() < 0.35:
        x, y = float(rng.uniform(-15, -8)), float(rng.uniform(15, 38))
        scene.casts.append(
            np.array([[x, y, 0], [x + 1.5, y, 0], [x, y, 14], [x + 1.5, y + 1.5, 14], [x, y + 1.5, 0]], dtype=float)
        )
    return scene
