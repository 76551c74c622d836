"""How a defender plays his zone: landmarks that bend to the ball, the formation and the routes, deep and underneath."""

from __future__ import annotations

from math import hypot
from typing import ClassVar

from demo_clips.coverages import Job
from demo_clips.setting import MIDDLE_YD, WIDTH_YD
from demo_clips.world import Want, World, angle_to, arrive, open_hips, turn_between

# Lateral bounds of each area on a field with the ball in the middle, yards from the offense's left sideline.
DEEP_BOUNDS = {
    ("deep-third", "left"): (0.0, 17.8), ("deep-third", "middle"): (17.8, 35.5), ("deep-third", "right"): (35.5, WIDTH_YD),
    ("deep-half", "left"): (0.0, MIDDLE_YD), ("deep-half", "right"): (MIDDLE_YD, WIDTH_YD),
    ("deep-quarter", "left-outside"): (0.0, 13.3), ("deep-quarter", "left-inside"): (13.3, MIDDLE_YD),
    ("deep-quarter", "right-inside"): (MIDDLE_YD, 40.0), ("deep-quarter", "right-outside"): (40.0, WIDTH_YD),
}
UNDER_BOUNDS = {
    ("curl-flat", "left"): (0.0, 17.5), ("curl-flat", "right"): (35.8, WIDTH_YD), ("hook-curl", "left"): (13.5, 27.0),
    ("hook-curl", "right"): (26.3, 39.8), ("middle-hook", "middle"): (19.0, 34.3), ("robber", "middle"): (17.0, 36.3),
    ("flat", "left"): (0.0, 14.5), ("flat", "right"): (38.8, WIDTH_YD),
}
Bounds = tuple[float, float]


def bounds_of(world: World, job: Job) -> Bounds:
    """The area's lateral bounds, leaning a third of the way to the ball's spot."""
    low, high = (DEEP_BOUNDS | UNDER_BOUNDS)[(job.word, job.area or "middle")]
    lean = 0.33 * (world.setting.ball_y_yd - MIDDLE_YD)
    return (low + lean if low > 0.5 else -5.0), (high + lean if high < WIDTH_YD - 0.5 else WIDTH_YD + 5.0)


class Zone:
    """Shared by deep and underneath men: what they see of the receivers and of the passer."""

    def __init__(self, me: int, job: Job, delay_s: float, skill: float, wander: tuple[float, float]) -> None:
        self.me, self.job, self.delay_s, self.skill = me, job, delay_s, skill
        self.wander = wander  # this man's own idea of the landmark, yards off
        self.carrying: int | None = None
        self.side = -1 if "left" in (job.area or "") else 1 if "right" in (job.area or "") else 0
        self.slow_start_s = 0.0
        self.landmark_shift = (0.0, 0.0)
        self.reached_s: float | None = None  # when he first was at his landmark
        self.blind_to: int | None = None  # a bust: the man he never sees

    def threats(self, world: World) -> list[tuple[int, float, float, float, float]]:
        out = []
        for r in world.eligible:
            if r != self.blind_to and r not in world.blockers:
                out.append((r, *world.seen(r, self.delay_s)))
        return out

    def note_reached(self, world: World, x: float, y: float, tx: float, ty: float) -> None:
        """He is there when he is within 3 yd across and deep enough, or within 3 yd."""
        if self.reached_s is None and abs(y - ty) < 3.5 and x > tx - 2.5:
            self.reached_s = world.t

    def look(self, world: World) -> float:
        x, y = world.at(self.me)
        qx, qy = world.at(world.qb)
        return angle_to(x, y, qx, qy)


class DeepZone(Zone):
    """A third, a half or a quarter: over the top of everything in it, its bounds bending to where the routes go."""

    def __init__(self, me: int, job: Job, delay_s: float, skill: float, wander: tuple[float, float], corner: bool) -> None:
        super().__init__(me, job, delay_s, skill, wander)
        self.corner = corner
        self.hold_depth: float | None = None
        self.turn_side = 0.0

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
        depth = start + rate * max(t - 0.1, 0.0)
        if self.job.style == "runner":
            depth = min(start + 4.4 * max(t - 0.3, 0.0), 15.5 + 1.2 * max(t - 2.5, 0))
        low, high = max(bounds[0], 0.0), min(bounds[1], WIDTH_YD)
        y = 0.5 * (low + high)
        if self.job.word == "deep-half":
            y += -self.side * 0.8
        if self.job.word == "deep-third" and self.side:
            y += -self.side * 0.8
        cap = {"deep-third": 26.0 if middle else 24.0, "deep-half": 23.0, "deep-quarter": 20.5}[self.job.word] + 0.15 * (world.setting.distance_yd - 10)
        return min(depth, cap) + self.wander[0] + self.landmark_shift[0], y + self.wander[1] + self.landmark_shift[1]

    def _match(self, world: World, bounds: Bounds) -> int | None:
        """A match corner or quarter safety picks up his man if the route declares vertical; he lets go if it breaks away."""
        x, y = world.at(self.me)
        best = None
        for r, rx, ry, rvx, rvy in self.threats(world):
            vertical = rvx > 3.8 and abs(rvy) < 0.8 * rvx
            near = abs(ry - y) < (6.0 if self.corner else 6.5) and rx > (4.5 if self.corner else 6.0) and rx < x + 4.0
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
            side = self.side if self.side else (1 if y > ry else -1)
            lever = (0.9 if self.corner else -0.8) * (1.0 if self.skill > -1 else 0.4) * side * (-1 if self.corner else 1)
            gap = x - rx
            want_x = rvx + 2.0 * (min(max(1.2, gap - 0.9), 3.0) - gap)
            want_y = rvy + 2.2 * (ry + lever - y)
            if x > limit:
                want_x = min(want_x, 0.0)
            return want_x, want_y, open_hips(want_x, want_y, look, 7.5)
        pull, weight, deepest = 0.0, 0.0, -9.0
        deep_speed = 0.0
        for _, rx, ry, rvx, rvy in self.threats(world):
            soon = ry + 0.7 * rvy
            inside = bounds[0] - 1.0 < soon < bounds[1] + 1.0 or bounds[0] < ry < bounds[1]
            if rx + 0.8 * rvx < 5.5 or not inside:
                continue
            w = max(rx + 0.6 * rvx - 3.0, 0.5) * (1.0 if rvx > 1.5 or rx > 10 else 0.35)
            pull += w * (0.5 * ry + 0.5 * soon)
            weight += w
            if rx > deepest:
                deepest, deep_speed = rx, rvx
        if weight:
            share = min(0.75, weight / 14.0)
            aim = pull / weight + (self.side * 0.0 if not self.corner else -self.side * 0.6)
            ty += share * (min(max(aim, bounds[0] + 2.0), bounds[1] - 2.0) - ty)
            cushion = 2.4 + 0.3 * self.skill + min(max(deep_speed, 0.0) * 0.22, 1.8)
            tx = max(tx if deep_speed > 0 else min(tx, max(x, 12.0)), deepest + cushion)
        else:  # nobody comes: push toward the help that is needed
            ex, ey = world.eyes_seen(self.delay_s + 0.2)
            ty += min(max(0.25 * (ey - ty), -3.5), 3.5)
            near = [ry for _, rx, ry, rvx, _ in self.threats(world) if rx > 7 and rvx > 2]
            if near and world.t > 1.8:
                aim = min(near, key=lambda q: abs(q - ty))
                ty += min(max(0.35 * (aim - ty), -4.0), 4.0)
        tx = min(tx, limit)
        gap_x, gap_y = tx - x, ty - y
        vx = min(max(1.6 * gap_x, -4.0), 9.5)
        vy = min(max(1.5 * gap_y, -6.5), 6.5)
        if weight and gap_x > -0.5:
            vx = max(vx, min(deep_speed, 9.0) - 0.6 if x - deepest < 4.5 else vx)
        if x > limit:
            vx = min(vx, 0.0)
        free_pedal = hypot(vx, vy) < 4.6
        return vx, vy, look if free_pedal else open_hips(vx, vy, look, 8.0)


class UnderZone(Zone):
    """Curl-flat, hook, middle hook, flat or robber: get to the landmark with eyes on the passer, then play what comes."""

    DEPTH: ClassVar[dict[str, float]] = {"curl-flat": 7.6, "hook-curl": 7.2, "middle-hook": 7.0, "flat": 5.5, "robber": 9.0}

    def __init__(self, me: int, job: Job, delay_s: float, skill: float, wander: tuple[float, float], corner: bool) -> None:
        super().__init__(me, job, delay_s, skill, wander)
        self.corner = corner
        self.start: tuple[float, float] | None = None
        self.settled = False
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
        flat_threat = any((ry - numbers) * self.side > -9.0 and rx < 6.0 and rvy * self.side > 1.5 for _, rx, ry, _, rvy in self.threats(world))
        if flat_threat and world.t > 1.0:
            return depth
        return depth + min(1.9 * max(world.t - 0.8, 0.0), 4.5)

    def _carry(self, world: World, bounds: Bounds) -> Want | None:
        """Match rules: run with a vertical through the zone until he is deep enough for the help behind."""
        if self.job.style != "match" or self.job.word in ("robber", "flat"):
            return None
        x, y = world.at(self.me)
        keep = None
        for r, rx, ry, rvx, rvy in self.threats(world):
            limit = 17.0 if self.job.word != "middle-hook" else 19.0
            upright = rvx > 4.2 and abs(rvy) < 0.7 * rvx
            if upright and 4.0 < rx < limit and abs(ry - y) < 4.5 and rx > x - 4.5 and bounds[0] - 2 < ry < bounds[1] + 3 and (
                    keep is None or abs(ry - y) < abs(keep[2] - y)):
                keep = (r, rx, ry, rvx, rvy)
        self.carrying = keep[0] if keep else None
        if keep is None:
            return None
        _, rx, ry, rvx, rvy = keep
        inside = -1.1 if ry > MIDDLE_YD else 1.1
        vx = rvx + 1.6 * (rx - 0.4 - x)
        vy = rvy + 1.8 * (ry + inside - y)
        return vx, vy, open_hips(vx, vy, self.look(world), 7.0)

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        look = self.look(world)
        if self.start is None:
            self.start = (x, y)
        bounds = bounds_of(world, self.job)
        if world.t < max(self.slow_start_s, self.delay_s):
            return (0.3 if self.corner else 0.0), 0.0, look
        if world.t < self.bite_s:
            return -2.6 if world.t > self.delay_s + 0.15 else 0.0, 0.0, look
        carry = self._carry(world, bounds)
        if carry is not None:
            return carry
        tx, ty = self._landmark(world, bounds)
        self.note_reached(world, x, y, tx, ty)
        tx, ty = self._adjust(world, bounds, tx, ty, x, y)
        gap = hypot(tx - x, ty - y)
        self.settled = self.settled or gap < 1.5
        speed = self.pace + 0.35 * max(gap - 6.0, 0.0) if not self.settled else self.pace + 0.3
        if world.t < self.read_s:
            speed = 1.7 + 0.3 * max(gap - 7.0, 0.0)
        vx, vy = arrive(x, y, tx, ty, speed, 4.5)
        return vx, vy, look if hypot(vx, vy) < 3.2 else open_hips(vx, vy, look, 7.0)

    def _adjust(self, world: World, bounds: Bounds, tx: float, ty: float, x: float, y: float) -> tuple[float, float]:
        """Lean to the routes in or entering the zone (deep ones first) and to the passer's eyes."""
        best, best_score = None, 0.0
        for _, rx, ry, rvx, rvy in self.threats(world):
            fx, fy = rx + 0.5 * rvx, ry + 0.5 * rvy
            if not (bounds[0] - 0.5 < fy < bounds[1] + 0.5) or fx < -1.0 or fx > tx + 9.0:
                continue
            score = 1.0 / (1.5 + hypot(fx - tx, fy - ty)) * (1.4 if fx > 5.0 else 0.7)
            if score > best_score:
                best, best_score = (fx, fy), score
        match = self.job.style in ("match", "hole")
        if best is not None and world.t > 0.9:
            pull = 0.7 if match else 0.45
            reach = 5.5 if match else 3.8
            dx, dy = best[0] - tx, best[1] - ty
            if dx < 0 and world.t < 2.2:
                dx *= 0.3  # high to low: do not jump the short one early
            if dx > 0:
                dx = min(dx - 1.5, 4.0) if dx > 1.5 else 0.0
            size = max(hypot(dx, dy), 1e-6)
            scale = min(pull, reach / size)
            tx, ty = tx + scale * dx, ty + scale * dy
        ex, ey = world.eyes_seen(self.delay_s + 0.1)
        if ex > 0 and world.t > 0.8:
            ty += min(max(0.13 * (ey - ty), -1.8), 1.8)
        return max(tx, 1.0), ty


def turned_away(world: World, me: int) -> bool:
    """Is his back to the passer?"""
    x, y = world.at(me)
    qx, qy = world.at(world.qb)
    return abs(turn_between(float(world.bodies.face[me]), angle_to(x, y, qx, qy))) > 1.9
