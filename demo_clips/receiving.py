"""How a receiver runs his route: releases, breaks, and what he does at its end."""

from __future__ import annotations

from math import hypot, sqrt

from demo_clips.routes import Route
from demo_clips.world import Want, World, angle_to, arrive, run_at
from homography.field import WIDTH_YD


class RunRoute:
    """Run a route point by point, slowing for each break; at the end go on, or sit and slide off defenders."""

    def __init__(self, me: int, route: Route, react_s: float, release_s: float, tempo: float) -> None:
        self.me, self.route, self.k = me, route, 0
        self.start_s = react_s + route.delay_s
        self.release_until_s = self.start_s + release_s
        self.release_side = 0.0
        self.tempo = tempo

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        if world.t < self.start_s:
            return 0.0, 0.0, None
        points = self.route.points
        if world.t < self.release_until_s and self.release_side:
            return 2.6, 3.2 * self.release_side, None
        while self.k < len(points):
            px, py, speed = points[self.k]
            gap = hypot(px - x, py - y)
            last = self.k == len(points) - 1
            if gap > (0.45 if last and self.route.ending == "sit" else 0.8 + 0.09 * speed):
                top = 9.4 * self.tempo
                allowed = sqrt(speed * speed + 2.0 * 5.6 * max(gap - 0.5, 0.0))
                if last and self.route.ending == "sit":
                    top = 5.5
                vx, vy = run_at(x, y, px, py, min(top, allowed))
                return vx, vy, None
            self.k += 1
        qx, qy = world.at(world.qb)
        face = angle_to(x, y, qx, qy)
        if self.route.ending == "sit":
            return (*self._slide(world, x, y), face)
        vx, vy = world.velocity(self.me)
        if x > world.setting.back_line_x - 2.0:  # work along the back line
            side = 1.0 if y < world.setting.ball_y_yd else -1.0
            return (*arrive(x, y, x - 0.3, y + 3.0 * side, 3.0), face)
        if y < 2.0 or y > WIDTH_YD - 2.0:
            return 2.5, 0.0, face
        return max(vx, 2.0), vy * 0.97, None

    def where(self, x: float, y: float, ahead_s: float) -> tuple[float, float]:
        """Where the route leads him from (x, y) in `ahead_s`: what passer and receiver know together."""
        left = max(ahead_s, 0.0)
        for k in range(self.k, len(self.route.points)):
            px, py, _ = self.route.points[k]
            gap = hypot(px - x, py - y)
            pace = 5.8 if self.k == k and gap < 3.0 else 7.2
            if gap > pace * left:
                share = pace * left / max(gap, 1e-6)
                return x + share * (px - x), y + share * (py - y)
            left -= gap / pace
            x, y = px, py
        return x, y

    def _slide(self, world: World, x: float, y: float) -> tuple[float, float]:
        push_x = push_y = 0.0
        for d in world.defense:
            dx, dy = world.at(d)
            gap = hypot(x - dx, y - dy)
            if gap < 4.5:
                push_x += (x - dx) / max(gap, 0.5) ** 2
                push_y += (y - dy) / max(gap, 0.5) ** 2
        size = hypot(push_x, push_y)
        if size < 0.2:
            return 0.0, 0.0
        return 0.7 * push_x / size, 1.5 * push_y / size
