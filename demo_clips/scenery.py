"""What stands about the field, as painted polygons, strokes, nets and solids that throw shadows; and the sky."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.kits_design import Colour
from demo_clips.light import Light

Array = npt.NDArray[Any]
_CABLE_YD = 0.05


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
        return np.asarray(np.concatenate(self.polygons)[:, :2].mean(0))


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
        bodies = [stroke for stroke in self.wires if stroke[1] > _CABLE_YD]
        for ends, radius, _ in self.posts + bodies:
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
    return np.asarray((np.array(light.sky_bgr) * height + low * (1 - height)) * 255)


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
