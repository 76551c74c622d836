"""The route tree: where a receiver runs, how fast he takes his breaks, and what he does at the end.

Distances are (downfield, outward) from his spot on the line; outward is toward his sideline. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_clips.setting import Setting
from homography.field import WIDTH_YD


@dataclass(frozen=True)
class RouteShape:
    """`points`: (downfield yd, outward yd, speed through the point yd/s). `ending`: run (go on), sit (stop, face the
    passer, slide off defenders), block. `open_s`: when the passer may expect him. `stretch`: how the depth grows with
    the distance to gain."""

    points: tuple[tuple[float, float, float], ...]
    ending: str
    open_s: float
    stretch: float = 0.0


R = RouteShape
ROUTES: dict[str, RouteShape] = {
    "go": R(((6, 0.4, 9), (16, 1.4, 9), (60, 1.8, 9)), "run", 2.7),
    "fade": R(((4, 2.0, 8), (14, 4.0, 9), (60, 4.2, 9)), "run", 2.5),
    "seam": R(((6, 0.2, 8), (18, 0.0, 9), (60, -0.5, 9)), "run", 2.5),
    "bender": R(((10, 0.3, 7.5), (16, -2.5, 8), (60, -14.0, 9)), "run", 2.7),
    "post": R(((12, 0.7, 6.6), (30, -9.0, 9), (60, -24, 9)), "run", 2.8, 0.15),
    "corner": R(((11.5, -0.8, 6.0), (22, 9.0, 9), (30, 16, 9)), "run", 2.8, 0.15),
    "post-corner": R(((10.5, 0.2, 6.5), (13.5, -1.8, 5.2), (26, 9.5, 9), (32, 14, 9)), "run", 3.2, 0.1),
    "dig": R(((12.5, 0.5, 3.6), (13.2, -6, 7.5), (13.2, -40, 8)), "run", 2.8, 0.25),
    "in": R(((10, 0.3, 3.6), (10.5, -6, 7.5), (10.5, -40, 8)), "run", 2.5, 0.2),
    "out": R(((10, -0.3, 3.4), (10.2, 5, 7.5), (10.0, 30, 8)), "run", 2.5, 0.2),
    "quick-out": R(((5, 0, 3.6), (5.2, 4, 7), (5, 25, 8)), "run", 1.5),
    "curl": R(((12, 0.4, 1.6), (10.4, -1.6, 0.5)), "sit", 2.5, 0.2),
    "comeback": R(((14, 0.6, 1.8), (11.8, 3.2, 0.8)), "sit", 2.9, 0.15),
    "slant": R(((2.8, 0.3, 5.0), (9, -6, 8), (20, -22, 8)), "run", 1.2),
    "hitch": R(((6, 0.2, 1.4), (5.2, -0.5, 0.5)), "sit", 1.35),
    "flat": R(((1.6, 1.8, 5.5), (3.4, 8, 7), (4.0, 30, 7)), "run", 1.5),
    "arrow": R(((2.0, 1.0, 5.0), (5.2, 9, 7), (6, 30, 7)), "run", 1.6),
    "wheel": R(((1.0, 4.0, 6.0), (3.5, 7.5, 6.5), (9, 8.8, 8.5), (60, 9.3, 9)), "run", 2.9),
    "shallow": R(((1.6, -1.5, 5.5), (4.8, -9, 7), (6.0, -40, 7)), "run", 1.8),
    "drag": R(((2.5, -1.0, 4.5), (4.5, -6, 6.5), (5.0, -40, 6.5)), "run", 1.9),
    "over": R(((6, -0.8, 6.5), (12, -9, 8), (17, -20, 8.5), (20, -45, 8.5)), "run", 2.9, 0.1),
    "sail": R(((10, -0.4, 5.0), (13.5, 6, 8), (15.5, 30, 8)), "run", 2.7, 0.15),
    "whip": R(((4.5, -3.4, 1.8), (4.4, 1.5, 6), (4.6, 25, 7.5)), "run", 2.0),
    "stick": R(((5.6, 0.0, 1.4), (5.4, 1.0, 0.5)), "sit", 1.5),
    "snag": R(((3.0, -1.0, 5.0), (5.6, -4.2, 1.0)), "sit", 1.7),
    "sit": R(((5.5, -1.5, 1.2), (5.0, -2.0, 0.4)), "sit", 2.0),
    "angle": R(((2.5, 4.0, 3.6), (7.5, -4.5, 7), (12, -16, 7)), "run", 2.1),
    "option": R(((5.0, 2.0, 1.6), (5.5, 6, 6.5), (5.5, 25, 7)), "run", 2.1),
    "choice": R(((5.5, 1.0, 1.6), (6.5, -5, 6.5), (6.5, -25, 7)), "run", 2.1),
    "swing": R(((-6.2, 4.0, 5.5), (-4.5, 8, 6.5), (2, 14, 7), (8, 17, 7)), "run", 1.5),
    "check": R(((2.0, 1.8, 3.0), (4.2, 1.2, 0.6)), "sit", 2.9),
    "bubble": R(((-3.2, 3.0, 5.0), (-2.4, 8, 6.5), (4, 12, 7)), "run", 0.9),
    "smoke": R(((-2.0, -0.2, 1.5), (-2.2, -0.4, 0.4)), "sit", 0.6),
    "tunnel": R(((1.0, 0.2, 1.5), (-2.2, -4.0, 5.5), (-1.5, -6, 3)), "sit", 1.2),
    "block": R(((0, 0, 0),), "block", 9.0),
}


@dataclass
class Route:
    """One man's route in play-frame points (x, y, speed through the point); `delay_s` before he leaves."""

    name: str
    points: list[tuple[float, float, float]]
    ending: str
    open_s: float
    delay_s: float = 0.0


def make_route(
    rng: np.random.Generator, name: str, x: float, y: float, out: int, setting: Setting, skill: float, delay_s: float = 0.0
) -> Route:
    """Lay a route from (x, y), with the man's own depth and angle, inside the field and the end zone."""
    shape = ROUTES[name]
    deeper = 1.0 + shape.stretch * float(np.clip((setting.distance_yd - 8) / 10.0, -0.5, 1.0)) + float(rng.normal(0.0, 0.06))
    if setting.level == "high-school":
        deeper *= 0.94
    wide = 1.0 + float(rng.normal(0.0, 0.1))
    limit = setting.back_line_x - 1.3
    deepest = max(p[0] for p in shape.points if p[0] < 45)
    squeeze = min(1.0, limit / max(deepest * deeper, 1e-6)) if deepest > 0 else 1.0
    base_x = x if name in ("swing", "bubble", "smoke", "tunnel") else max(x, -1.5)
    lean = float(rng.normal(0.0, 2.3)) if name not in ("swing", "bubble", "smoke", "tunnel", "flat", "arrow") else 0.0
    points = []
    for k, (down, outward, speed) in enumerate(shape.points):
        px = base_x + down * deeper * squeeze
        if name == "swing":
            px = down if down > 0 else min(x + 0.3, down * 0.75)
        far = px > limit
        outward += lean * min(down / 6.0, 1.0) if 0 < down < 12 and shape.ending != "block" else lean if down >= 12 else 0.0
        py = float(np.clip(y + out * outward * wide, 1.2, WIDTH_YD - 1.2))
        points.append((min(px, limit), py, 2.0 if far else max(0.4, speed * (1.0 + 0.05 * skill))))
        if k and points[-1][:2] == points[-2][:2]:
            points.pop()
    return Route(name, points, shape.ending, shape.open_s + delay_s + float(rng.normal(0.0, 0.08)), delay_s)
