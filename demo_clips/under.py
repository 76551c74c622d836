"""How an underneath man plays: read, drop with eyes on the passer, match what comes into his area, pass it on."""

from __future__ import annotations

from math import hypot
from typing import ClassVar

from demo_clips.coverages import Job
from demo_clips.setting import MIDDLE_YD
from demo_clips.world import Want, World, arrive, open_hips
from demo_clips.zones import Bounds, Zone, bounds_of
from homography.field import WIDTH_YD


class UnderZone(Zone):
    """Curl-flat, hook, middle hook, flat or robber: get to the landmark with eyes on the passer, then play what comes."""

    DEPTH: ClassVar[dict[str, float]] = {"curl-flat": 7.2, "hook-curl": 6.7, "middle-hook": 6.4, "flat": 5.3, "robber": 8.5}

    def __init__(self, me: int, job: Job, delay_s: float, skill: float, wander: tuple[float, float], corner: bool) -> None:
        super().__init__(me, job, delay_s, skill, wander)
        self.corner = corner
        self.settled = False
        self.mine: int | None = None  # the receiver who concerns him now
        self.lock = False  # a bust: he plays a man whatever the call
        self.read_s, self.pace = 0.7, 4.5  # he reads run or pass first; then he drops at his own pace, yd/s
        self.bite_s = 0.0  # until when play action holds him

    def _landmark(self, world: World, bounds: Bounds) -> tuple[float, float]:
        word, setting = self.job.word, world.setting
        deeper = min(max(0.22 * (setting.distance_yd - 10), -2.0), 3.0)
        depth = self.DEPTH[word] + (deeper if word != "flat" else 0.3 * deeper)
        depth = min(depth, setting.back_line_x - 4.0)
        side, ball = self.side, setting.ball_y_yd
        wide = [p for p in (world.at(r)[1] for r in world.eligible) if (p - ball) * side > 0]
        numbers = setting.numbers_yd + 1.0 if side < 0 else WIDTH_YD - setting.numbers_yd - 1.0
        if word == "flat":
            depth = self._sink(world, depth, numbers)
        if word == "curl-flat":
            outer = max(wide, key=lambda p: abs(p - ball), default=ball + 9.0 * side)
            y = ball + side * min(abs(numbers - ball), max(abs(outer - ball) - 1.5, 8.0), 15.5)
        elif word == "flat":
            y = numbers + 0.6 * side
            y = ball + side * min(abs(y - ball), 17.5)
        elif word == "hook-curl":
            inner = sorted(wide, key=lambda p: -abs(p - ball))
            aim = inner[1] if len(inner) > 1 else ball + 5.5 * side
            y = ball + side * min(max(abs(aim - ball), 4.0), 8.5)
        else:
            trips = sum((world.at(r)[1] - ball) for r in world.eligible)
            y = ball + min(max(0.06 * trips, -2.0), 2.0)
        return depth + self.wander[0] + self.landmark_shift[0], y + self.wander[1] + self.landmark_shift[1]

    def _sink(self, world: World, depth: float, numbers: float) -> float:
        """A flat man sinks under #1 while nobody threatens the flat, and comes up when somebody does."""
        flat_threat = any(
            (ry - numbers) * self.side > -9.0 and rx < 6.0 and rvy * self.side > 1.5
            for _, rx, ry, _, rvy in self.threats(world)
        )
        if flat_threat and world.t > 1.0:
            return depth
        return depth + min(1.9 * max(world.t - 0.8, 0.0), 4.5)

    def _threat(self, world: World, bounds: Bounds, x: float, y: float) -> tuple[int, float, float, float, float] | None:
        """The receiver in or entering his area who concerns him most: near, and rather deep than short."""
        best, best_score = None, 0.0
        for r, rx, ry, rvx, rvy in self.threats(world):
            fx, fy = rx + 0.5 * rvx, ry + 0.5 * rvy
            if not (bounds[0] - 1.5 < fy < bounds[1] + 1.5) or fx < -1.5 or rx > 17.0 or (rx > x + 3.5):
                continue
            score = (1.3 if fx > 4.0 else 0.7) / (2.0 + hypot(fx - x, fy - y)) * (1.5 if r == self.mine else 1.0)
            if score > best_score:
                best, best_score = (r, rx, ry, rvx, rvy), score
        self.mine = best[0] if best is not None else None
        return best

    def _grip(self, world: World, threat: tuple[int, float, float, float, float], x: float, y: float) -> float:
        """How far he plays the man instead of the spot, 0 to 1."""
        _, rx, ry, rvx, _ = threat
        base = {"match": 0.95, "hole": 0.92}.get(self.job.style, 0.75)
        near = min(max((11.0 - hypot(rx - x, ry - y)) / 6.0, 0.0), 1.0)
        known = min(max((world.t - 0.3) / 0.7, 0.0), 1.0)
        short = 0.45 if rx < 3.0 and rvx < 2.0 and world.t < 2.4 else 1.0  # high to low: do not jump the short one early
        limit = {"flat": 10.5, "curl-flat": 15.0}.get(self.job.word, 16.5) - (0.0 if self.job.style == "match" else 3.0)
        deep = min(max((limit - rx) / 3.0, 0.0), 1.0)  # the help behind takes him
        return base * near * known * short * deep

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        look = self.look(world)
        bounds = bounds_of(world, self.job)
        if world.t < max(self.slow_start_s, self.delay_s):
            return (0.3 if self.corner else 0.0), 0.0, look
        if world.t < self.bite_s:
            return -2.6 if world.t > self.delay_s + 0.15 else 0.0, 0.0, look
        tx, ty = self._landmark(world, bounds)
        self.note_reached(world, x, y, tx, ty)
        ex, ey = world.eyes_seen(self.delay_s + 0.1)
        if ex > 0 and world.t > 0.8:
            ty += min(max(0.15 * (ey - ty), -2.0), 2.0)
        gap = hypot(tx - x, ty - y)
        self.settled = self.settled or gap < 1.5
        speed = self.pace + 0.35 * max(gap - 6.0, 0.0) if not self.settled else self.pace + 0.3
        if world.t < self.read_s:
            speed = 1.7 + 0.3 * max(gap - 7.0, 0.0)
        vx, vy = arrive(x, y, tx, ty, speed, 4.5)
        threat = self._threat(world, bounds, x, y)
        self.carrying = None
        if threat is not None:
            r, rx, ry, rvx, rvy = threat
            grip = 1.0 if self.lock else self._grip(world, threat, x, y)
            inside = 0.9 if ry < MIDDLE_YD else -0.9
            on_top = min(max(x - rx, 0.3), 2.2 if rx < 9.0 else 0.8)
            mx, my = rvx + 1.5 * (rx + on_top - x), rvy + 1.6 * (ry + inside - y)
            vx, vy = vx + grip * (mx - vx), vy + grip * (my - vy)
            if grip > 0.5 and hypot(rx - x, ry - y) < 4.0:  # he plays his man: that is being where he has to be
                self.reached_s = self.reached_s or world.t
            if grip > 0.45 and rvx > 4.0 and rx > 5.0 and hypot(rx - x, ry - y) < 4.5:
                self.carrying = r
        return vx, vy, look if hypot(vx, vy) < 3.2 else open_hips(vx, vy, look, 7.0)
