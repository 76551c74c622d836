"""The ground game: linemen who fire off, the back's path to the handoff, linemen who release in front of a screen."""

from __future__ import annotations

from math import hypot

from demo_clips.world import Want, World, angle_to, arrive, run_at

# How far to the play side the line steps before it climbs, yards; where the back aims, yards from the ball.
STEP_YD = {"inside-zone": 0.5, "outside-zone": 1.6, "power": 0.0, "counter": -0.4, "sweep": 2.0, "draw": 0.0}
AIM_YD = {"inside-zone": 1.3, "outside-zone": 5.5, "power": 2.6, "counter": 3.2, "sweep": 8.5, "draw": 0.8}
HANDOFF_S = {"inside-zone": 0.75, "outside-zone": 0.7, "power": 0.85, "counter": 1.0, "sweep": 0.8, "draw": 1.4}


class RunBlock:
    """Fire off into the nearest man who is free of blockers and still in front, stay between him and the runner."""

    def __init__(self, me: int, react_s: float, step_yd: float, wait_s: float = 0.0) -> None:
        self.me, self.react_s, self.step_yd, self.wait_s = me, react_s, step_yd, wait_s
        self.mine: int | None = None
        self.since_s = 0.0

    def _pick(self, world: World, x: float, y: float) -> int | None:
        best, best_cost = None, 9.0
        for d in world.defense:
            dx, dy = world.at(d)
            if dx < x - 1.5 or dx > 9.0:
                continue
            crowd = sum(
                hypot(world.at(i)[0] - dx, world.at(i)[1] - dy) < 1.2 for i in (*world.line, *world.blockers) if i != self.me
            )
            cost = hypot(0.8 * (dx - x), dy - y - self.step_yd) + 2.5 * crowd
            if cost < best_cost:
                best, best_cost = d, cost
        return best

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        if world.t < self.react_s:
            return 0.0, 0.0, 0.0
        if self.mine is None or world.t > self.since_s + 0.6:
            self.mine, self.since_s = self._pick(world, x, y), world.t
        runner = world.carrier if world.carrier is not None else world.qb
        rx, ry = world.at(runner)
        if self.mine is None:
            return (*run_at(x, y, x + 3.0, y + self.step_yd, 3.5), 0.0)
        dx, dy = world.at(self.mine)
        gap = max(hypot(rx - dx, ry - dy), 0.5)
        tx, ty = dx + 0.7 * (rx - dx) / gap + 0.4, dy + 0.7 * (ry - dy) / gap
        vx, vy = arrive(x, y, tx, ty, 5.0, 6.0)
        near = hypot(dx - x, dy - y) < 1.3
        return (max(vx, 0.6) if near and gap > 1.5 else vx), vy, angle_to(x, y, dx, dy)


class ToHandoff:
    """The back before he has the ball: to the mesh with the passer, on his course."""

    def __init__(self, me: int, react_s: float, aim_y: float, delay_s: float, counter: float) -> None:
        self.me, self.react_s, self.aim_y, self.delay_s, self.counter = me, react_s, aim_y, delay_s, counter

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        if world.t < self.react_s + self.delay_s:
            return 0.0, 0.0, 0.0
        if world.t < self.react_s + self.delay_s + 0.35 and self.counter:  # the false step of a counter
            return 0.4, 2.2 * self.counter, 0.0
        qx, qy = world.at(world.qb)
        if x < qx - 0.2:  # behind the passer: come downhill past him
            side = 1.0 if self.aim_y > qy else -1.0
            return *run_at(x, y, qx + 0.6, qy + 0.9 * side, 5.0), None
        return *run_at(x, y, max(x + 1.0, -1.0), self.aim_y, 4.2), None


class ScreenRelease:
    """Pass block for a count, then get out in front of the screen."""

    def __init__(self, me: int, block: object, leave_s: float, side: int) -> None:
        self.me, self.block, self.leave_s, self.side = me, block, leave_s, side
        self.climb = RunBlock(me, 0.0, 0.0)

    def act(self, world: World) -> Want:
        if world.t < self.leave_s:
            return self.block.act(world)  # type: ignore[attr-defined, no-any-return]
        x, y = world.at(self.me)
        if world.t < self.leave_s + 0.9:
            return *run_at(x, y, 0.5, y + 5.0 * self.side, 5.5), None
        return self.climb.act(world)
