"""What stands about the field: stands, trees, fences, benches, tents, goal posts, pylons, a hung camera, and the sky."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.kits_design import Colour, contrast, random_colour
from demo_clips.light import Light
from homography.field import LENGTH_YD, WIDTH_YD

Array = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Layer:
    """Upright polygons (n, 3) yd of one colour. `rough` is the strength of its noise, `noise_px` that noise's grain."""

    polygons: list[Array]
    colour: Colour
    opacity: float = 1.0
    rough: float = 0.08
    noise_px: float = 3.0
    seed: int = 0

    @property
    def nearest(self) -> Array:
        return np.concatenate(self.polygons)[:, :2].mean(0)


@dataclass(frozen=True)
class Scenery:
    """`layers` behind the players; `posts` and `wires` are strokes (two ends (2, 3) yd, radius yd, colour) that may stand in
    front of them; `casts` are convex solids (n, 3) that throw shadows; `nets` are see-through polygons in front."""

    layers: list[Layer] = field(default_factory=list)
    posts: list[tuple[Array, float, Colour]] = field(default_factory=list)
    wires: list[tuple[Array, float, Colour]] = field(default_factory=list)
    nets: list[Array] = field(default_factory=list)
    casts: list[Array] = field(default_factory=list)

    def standing(self, eye: tuple[float, float, float]) -> list[Layer]:
        """The layers from the farthest to the nearest, less what stands behind the eye's side of the field."""
        return sorted(self.layers, key=lambda layer: -float(np.linalg.norm(layer.nearest - eye[:2])))

    def cast(self, lamp: Array) -> list[Array]:
        """Shadows on the turf (n, 2) yd of posts and solids."""
        rise = max(float(lamp[2]), 0.1)
        shapes = []
        for ends, radius, _ in self.posts:
            ground = ends[:, :2] - lamp[:2] * (ends[:, 2:] / rise)
            along = (ground[1] - ground[0]) / max(float(np.linalg.norm(ground[1] - ground[0])), 1e-6)
            across = np.array([-along[1], along[0]]) * radius
            shapes.append(np.stack([ground[0] + across, ground[1] + across, ground[1] - across, ground[0] - across]))
        return shapes + self.shade(lamp)

    def shade(self, lamp: Array) -> list[Array]:
        """Outlines (n, 2) yd of the large shadows, those that a man can stand in."""
        rise = max(float(lamp[2]), 0.1)
        return [_hull(solid[:, :2] - lamp[:2] * (solid[:, 2:] / rise)) for solid in self.casts]


def _hull(points: Array) -> Array:
    """Convex hull (k, 2), by Andrew's monotone chain."""
    ordered = points[np.lexsort((points[:, 1], points[:, 0]))]
    chains: list[list[Array]] = []
    for sequence in (ordered, ordered[::-1]):
        chain: list[Array] = []
        for p in sequence:
            while len(chain) > 1 and _left(chain[-2], chain[-1], p) <= 0:
                chain.pop()
            chain.append(p)
        chains.append(chain[:-1])
    return np.array(chains[0] + chains[1])


def _left(a: Array, b: Array, c: Array) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def sky(rays: Array, light: Light) -> Array:
    """(N, 3) colours of directions above the horizon, brighter toward it."""
    height = np.clip(rays[:, 2] / np.linalg.norm(rays, axis=1) * 2.5, 0, 1)[:, None]
    low = np.minimum(np.array(light.sky_bgr) + (0.0 if light.night else 0.18), 1.0)
    return (np.array(light.sky_bgr) * height + low * (1 - height)) * 255


def wall(a: tuple[float, float], b: tuple[float, float], low: float, high: float) -> Array:
    return np.array([[*a, low], [*b, low], [*b, high], [*a, high]], dtype=float)


def solid(x0: float, y0: float, x1: float, y1: float, high: float) -> list[Array]:
    """A box's four walls and its lid."""
    sides = [
        wall((x0, y0), (x1, y0), 0, high),
        wall((x1, y0), (x1, y1), 0, high),
        wall((x1, y1), (x0, y1), 0, high),
        wall((x0, y1), (x0, y0), 0, high),
    ]
    return [*sides, np.array([[x0, y0, high], [x1, y0, high], [x1, y1, high], [x0, y1, high]])]


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
    layers = []
    for i in range(rows):
        y, z = y0 - facing * i * 0.8, 0.8 + i * 0.45
        colour = tuple(int(c * (0.8 if i % 2 else 1.0)) for c in seat)
        layers.append(
            Layer(
                [
                    np.array([[x0, y, z - 0.45], [x1, y, z - 0.45], [x1, y, z], [x0, y, z]]),
                    np.array([[x0, y, z], [x1, y, z], [x1, y - facing * 0.8, z], [x0, y - facing * 0.8, z]]),
                ],
                (colour[0], colour[1], colour[2]),
                rough=0.05 + full * 0.5,
                noise_px=2.5 + 2 * full,
                seed=int(rng.integers(1 << 30)),
            )
        )
    return layers


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
            kind = rng.choice(["bench", "tent", "bag", "cooler", "dummy", "cart", "banner"])
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
            layers += [
                Layer(polygons[i::5], tuple(int(c * tone) for c in colour))
                for i, tone in ((1, 0.75), (3, 0.8), (2, 0.9), (0, 0.9), (4, 1.15))  # type: ignore[arg-type]
            ]
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
            layers += [
                Layer([body[j]], (int(colour[0] * t), int(colour[1] * t), int(colour[2] * t)))
                for j, t in ((1, 0.75), (3, 0.8), (2, 0.9), (0, 0.9), (4, 1.15))
            ]
            if kind in ("dummy", "sled"):
                layers.append(Layer([wall((cx - w / 2, cy - 0.26), (cx + w / 2, cy - 0.26), h * 0.7, h)], contrast(colour)))
    return layers


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
