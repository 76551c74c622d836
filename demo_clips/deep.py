"""How a deep man plays his third, half or quarter: over the top, his area bending to where the routes go."""

from __future__ import annotations

from math import hypot

from demo_clips.coverages import Job
from demo_clips.world import Want, World, open_hips
from demo_clips.zones import Bounds, Zone, bounds_of
from homography.field import WIDTH_YD


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
        cap = {"deep-third": 26.0 if middle else 24.0, "deep-half": 23.0, "deep-quarter": 20.5}[self.job.word] + 0.15 * (world.setting.distance_yd - 10)
        return min(depth, cap) + self.wander[0] + self.landmark_shift[0], y + self.wander[1] + self.landmark_shift[1]

    def _match(self, world: World, bounds: Bounds) -> int | None:
        """A match corner or quarter safety picks up his man if the route declares vertical; he lets go if it breaks away."""
        x, y = world.at(self.me)
        best = None
        for r, rx, ry, rvx, rvy in self.threats(world):
            vertical = rvx > (1.5 if self.tight else 3.8) and abs(rvy) < (1.6 if self.tight else 0.8) * rvx
            near = abs(ry - y) < (6.0 if self.corner else 6.5) and rx > (0.5 if self.tight else 4.5 if self.corner else 6.0) and rx < x + 4.0
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
        limit = world.setting.back_line_x - 1.5
        if self.job.style == "match" and self.job.word in ("deep-third", "deep-quarter") and self._match(world, bounds) is not None:
            rx, ry, rvx, rvy = world.seen(self.carrying or 0, self.delay_s)
            self.reached_s = self.reached_s or world.t
            side = self.side if self.side else (1 if y > ry else -1)
            lever = -0.85 * side * self.lever_flip  # inside of him: the help is not there
            gap = x - rx
            want_x = rvx + 2.0 * (min(max(0.3 if self.tight else 1.2, gap - 0.9), 3.0) - gap)
            want_y = rvy + 2.2 * (ry + lever - y)
            if x > limit:
                want_x = min(want_x, 0.0)
            return want_x, want_y, open_hips(want_x, want_y, look, 7.5)
        pull, pull_vy, weight, deepest, drift = 0.0, 0.0, 0.0, -9.0, 0.0
        deep_speed = 0.0
        for _, rx, ry, rvx, rvy in self.threats(world):
            soon = ry + 0.7 * rvy
            inside = bounds[0] - 1.0 < soon < bounds[1] + 1.0 or bounds[0] < ry < bounds[1]
            if rx + 0.8 * rvx < 5.5 or not inside:
                continue
            w = max(rx + 0.6 * rvx - 3.0, 0.5) * (1.0 if rvx > 1.5 or rx > 10 else 0.35)
            pull += w * (0.5 * ry + 0.5 * soon)
            pull_vy += w * rvy
            weight += w
            if rx > deepest:
                deepest, deep_speed = rx, rvx
        if weight:
            share = min(0.85, weight / 12.0)
            aim = pull / weight - (0.6 * self.side * self.lever_flip if self.corner else 0.0)
            drift = share * pull_vy / weight
            ty += share * (min(max(aim, bounds[0] + 2.0), bounds[1] - 2.0) - ty)
            cushion = 2.1 + 0.4 * self.skill + min(max(deep_speed, 0.0) * 0.22, 1.8)
            tx = max(tx if deep_speed > 0 else min(tx, max(x, 12.0)), deepest + cushion)
        else:  # nobody comes: push toward the help that is needed
            _, ey = world.eyes_seen(self.delay_s + 0.2)
            ty += min(max(0.25 * (ey - ty), -3.5), 3.5)
            others = [ry for _, rx, ry, rvx, _ in self.threats(world) if rx > 7 and rvx > 2]
            if others and world.t > 1.8:
                aim = min(others, key=lambda q: abs(q - ty))
                ty += min(max(0.35 * (aim - ty), -4.0), 4.0)
        tx = min(tx, limit)
        gap_x, gap_y = tx - x, ty - y
        vx = min(max(1.6 * gap_x, -4.0), 9.5)
        vy = min(max(1.4 * gap_y + 0.6 * drift, -7.0), 7.0)
        if weight and gap_x > -0.5:
            near = min(max((9.0 - (x - deepest)) / 6.0, 0.0), 1.0)  # the closer the threat, the more he runs with its pace
            vx = max(vx, near * (min(deep_speed, 9.0) - 0.4))
        if x > limit:
            vx = min(vx, 0.0)
        free_pedal = hypot(vx, vy) < 4.6
        return vx, vy, look if free_pedal else open_hips(vx, vy, look, 8.0)
