"""How a deep man plays his third, half or quarter: over the top, his area bending to where the routes go."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from demo_clips.coverages import Job
from demo_clips.world import Want, World, open_hips
from demo_clips.zones import Bounds, Zone, bounds_of
from homography.field import WIDTH_YD


@dataclass
class Load:
    """What comes at a deep man: weight, weighted place and drift across, the deepest route and its pace."""

    weight: float = 0.0
    y: float = 0.0
    drift: float = 0.0
    deepest: float = -9.0
    speed: float = 0.0


class DeepZone(Zone):
    """A third, a half or a quarter: over the top of everything in it, its bounds bending to where the routes go."""

    def __init__(self, me: int, job: Job, delay_s: float, skill: float, wander: tuple[float, float], corner: bool) -> None:
        super().__init__(me, job, delay_s, skill, wander)
        self.corner = corner
        self.hold_depth: float | None = None
        self.tight = False  # a match corner who takes #1 from the snap, man-like, as long as he goes vertical
        self.lever_flip = 1.0  # -1: a mistake, he keeps the wrong side
        self.pace = 1.0  # how fast this man gains depth

    def _landmark(self, world: World, bounds: Bounds) -> tuple[float, float]:
        """Depth that he wants by now if nobody threatens, and the middle of his area."""
        t = max(world.t - 0.25, 0.0)
        start = self.hold_depth if self.hold_depth is not None else 8.0
        middle = self.job.area == "middle"
        if start > 9.0:
            rate = {"deep-third": 3.3 if middle else 2.9, "deep-half": 2.7, "deep-quarter": 2.5}[self.job.word]
        else:  # low men have to hurry to their depth
            floor = 12.0 if self.job.word == "deep-quarter" else 13.0
            rate = min(max((floor - start) / 2.1, 2.7), 4.8 if not middle else 5.5)
        depth = start + self.pace * rate * max(t - 0.1, 0.0)
        if self.job.style == "runner":
            depth = min(start + 4.4 * max(t - 0.3, 0.0), 15.5 + 1.2 * max(t - 2.5, 0))
        low, high = max(bounds[0], 0.0), min(bounds[1], WIDTH_YD)
        y = 0.5 * (low + high)
        if self.job.word == "deep-half":
            y += -self.side * 3.2
        if self.job.word == "deep-third" and self.side:
            y += -self.side * 0.8
        cap = {"deep-third": 26.0 if middle else 24.0, "deep-half": 23.0, "deep-quarter": 20.5}[self.job.word] + 0.15 * (
            world.setting.distance_yd - 10
        )
        return min(depth, cap) + self.wander[0] + self.landmark_shift[0], y + self.wander[1] + self.landmark_shift[1]

    def _match(self, world: World, bounds: Bounds) -> int | None:
        """A match corner or quarter safety picks up his man if the route declares vertical; he lets go if it breaks away."""
        x, y = world.at(self.me)
        best = None
        for r, rx, ry, rvx, rvy in self.threats(world):
            vertical = rvx > (1.5 if self.tight else 3.8) and abs(rvy) < (1.6 if self.tight else 0.8) * rvx
            near = (
                abs(ry - y) < (6.0 if self.corner else 6.5)
                and rx > (0.5 if self.tight else 4.5 if self.corner else 6.0)
                and rx < x + 4.0
            )
            inside = bounds[0] - 2.0 < ry < bounds[1] + 2.0
            if self.carrying == r:
                if rvx < -0.5 or ((ry < bounds[0] - 5.0 or ry > bounds[1] + 5.0) and abs(rvy) > rvx):
                    self.carrying = None
                else:
                    return r
            if vertical and near and inside and (best is None or rx > best[1]):
                best = (r, rx)
        self.carrying = best[0] if best else None
        return self.carrying

    def _run_with(self, world: World, r: int, x: float, y: float, look: float) -> Want:
        """Carry receiver r from on top and inside of him: the help is not there."""
        rx, ry, rvx, rvy = world.seen(r, self.delay_s)
        self.reached_s = self.reached_s or world.t
        side = self.side if self.side else (1 if y > ry else -1)
        lever = -0.85 * side * self.lever_flip
        gap = x - rx
        vx = rvx + 2.0 * (min(max(0.3 if self.tight else 1.2, gap - 0.9), 3.0) - gap)
        vy = rvy + 2.2 * (ry + lever - y)
        if x > self._limit(world):
            vx = min(vx, 0.0)
        return vx, vy, open_hips(vx, vy, look, 7.5)

    def _limit(self, world: World) -> float:
        return world.setting.back_line_x - 1.5

    def _weigh(self, world: World, bounds: Bounds) -> Load:
        """All routes in or entering his area, the deeper the heavier."""
        load = Load()
        for _, rx, ry, rvx, rvy in self.threats(world):
            soon = ry + 0.7 * rvy
            inside = bounds[0] - 1.0 < soon < bounds[1] + 1.0 or bounds[0] < ry < bounds[1]
            if rx + 0.8 * rvx < 5.5 or not inside:
                continue
            w = max(rx + 0.6 * rvx - 3.0, 0.5) * (1.0 if rvx > 1.5 or rx > 10 else 0.35)
            load.y += w * (0.5 * ry + 0.5 * soon)
            load.drift += w * rvy
            load.weight += w
            if rx > load.deepest:
                load.deepest, load.speed = rx, rvx
        if load.weight:
            load.y, load.drift = load.y / load.weight, load.drift / load.weight
        return load

    def _toward_help(self, world: World, ty: float) -> float:
        """Nobody comes: push toward the passer's eyes and the nearest deep route."""
        _, ey = world.eyes_seen(self.delay_s + 0.2)
        ty += min(max(0.25 * (ey - ty), -3.5), 3.5)
        others = [ry for _, rx, ry, rvx, _ in self.threats(world) if rx > 7 and rvx > 2]
        if others and world.t > 1.8:
            aim = min(others, key=lambda q: abs(q - ty))
            ty += min(max(0.35 * (aim - ty), -4.0), 4.0)
        return ty

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        if self.hold_depth is None:
            self.hold_depth = x
        bounds = bounds_of(world, self.job)
        look = self.look(world)
        if world.t < self.slow_start_s:
            return 0.0, 0.0, look
        tx, ty = self._landmark(world, bounds)
        self.note_reached(world, x, y, tx if self.job.style == "runner" else min(tx, 12.0), ty)
        if self.job.style == "match" and self.job.word in ("deep-third", "deep-quarter"):
            receiver = self._match(world, bounds)
            if receiver is not None:
                return self._run_with(world, receiver, x, y, look)
        load = self._weigh(world, bounds)
        drift = 0.0
        if load.weight:
            share = min(0.85, load.weight / 12.0)
            aim = load.y - (0.6 * self.side * self.lever_flip if self.corner else 0.0)
            drift = share * load.drift
            ty += share * (min(max(aim, bounds[0] + 2.0), bounds[1] - 2.0) - ty)
            cushion = 2.1 + 0.4 * self.skill + min(max(load.speed, 0.0) * 0.22, 1.8)
            tx = max(tx if load.speed > 0 else min(tx, max(x, 12.0)), load.deepest + cushion)
        else:
            ty = self._toward_help(world, ty)
        vx = min(max(1.6 * (min(tx, self._limit(world)) - x), -4.0), 9.5)
        vy = min(max(1.4 * (ty - y) + 0.6 * drift, -7.0), 7.0)
        if load.weight and vx > -0.8:  # the closer the threat, the more he runs with its pace
            near = min(max((9.0 - (x - load.deepest)) / 6.0, 0.0), 1.0)
            vx = max(vx, near * (min(load.speed, 9.0) - 0.4))
        if x > self._limit(world):
            vx = min(vx, 0.0)
        return vx, vy, look if hypot(vx, vy) < 4.6 else open_hips(vx, vy, look, 8.0)
