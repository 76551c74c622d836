"""Before the snap: everybody gets to his spot, sways a little, shifts, goes in motion, rotates, creeps."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sin

from demo_clips.world import Want, World, angle_to, arrive


@dataclass
class Follow:
    """Runs with receiver `man` from `from_s` on at `depth`: he keeps the side of him that he has (`offset`, yd across) on the way
    from `start_y` to `end_y`, and ends on the one that he is to have there."""

    man: int
    depth: float
    start_y: float
    end_y: float
    offset: tuple[float, float]
    from_s: float

    def beside(self, y: float) -> float:
        """Where he is to be across when his man is at `y`."""
        made = min(max((y - self.start_y) / (self.end_y - self.start_y), 0.0), 1.0)
        return y + self.offset[0] + made * (self.offset[1] - self.offset[0])


@dataclass
class Waits:
    """Waypoints with the time from which each holds: (from_s, x, y, speed). He stands on the last one that holds."""

    me: int
    spots: list[tuple[float, float, float, float]]
    sway_yd: float = 0.0
    phase: float = 0.0
    follow: Follow | None = None
    look_at: int | None = None
    start: tuple[float, float] = field(init=False)

    def __post_init__(self) -> None:
        self.start = self.spots[0][1], self.spots[0][2]

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        if self.follow is not None and world.t > self.follow.from_s:
            _, ry, _, rvy = world.seen(self.follow.man, 0.28)
            tx, ty, speed = self.follow.depth, self.follow.beside(ry) + 0.2 * rvy, 7.0
            hold_line = world.people[self.me].role in ("nickel", "corner", "safety")
            if hold_line and abs(ry - world.setting.ball_y_yd) < 6.5:
                tx = max(tx, 4.2)
        else:
            tx, ty, speed = next((s[1], s[2], s[3]) for s in reversed(self.spots) if s[0] <= world.t or s is self.spots[0])
        tx += self.sway_yd * sin(1.7 * world.t + self.phase)
        ty += self.sway_yd * sin(1.1 * world.t + 2.0 * self.phase)
        vx, vy = arrive(x, y, tx, ty, speed, 4.0)
        offense = world.people[self.me].side == "offense"
        if offense:
            return vx, vy, 0.0 if abs(vx) + abs(vy) < 2.0 else None
        to = world.at(self.look_at if self.look_at is not None else world.qb)
        return vx, vy, angle_to(x, y, to[0], to[1]) if abs(vx) + abs(vy) < 4.5 else None


@dataclass
class GoesInMotion:
    """A receiver on a timed path (t, x, y); past its end he is at the last point (jet and orbit men keep their speed)."""

    me: int
    path: list[tuple[float, float, float]]
    through: bool

    def act(self, world: World) -> Want:
        t = world.t
        x, y = world.at(self.me)
        if t < self.path[0][0]:
            return (*arrive(x, y, self.path[0][1], self.path[0][2], 3.0), 0.0)
        for (t0, x0, y0), (t1, x1, y1) in zip(self.path, self.path[1:], strict=False):
            if t < t1:
                share = (t - t0) / max(t1 - t0, 1e-6)
                px, py = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
                vx, vy = (x1 - x0) / (t1 - t0), (y1 - y0) / (t1 - t0)
                return vx + 3.0 * (px - x), vy + 3.0 * (py - y), None
        if self.through:
            (t0, x0, y0), (t1, x1, y1) = self.path[-2], self.path[-1]
            return (x1 - x0) / (t1 - t0), (y1 - y0) / (t1 - t0), None
        vx, vy = arrive(x, y, self.path[-1][1], self.path[-1][2], 4.0)
        return vx, vy, 0.0 if abs(vy) < 1.0 else None
