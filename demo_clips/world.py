"""The state that every player reads, with his own delay, and the steering that all share."""

from __future__ import annotations

from math import atan2, hypot, pi, sqrt
from typing import Any

import numpy as np

from demo_clips.bodies import STEP_S, Bodies
from demo_clips.coverages import Job
from demo_clips.people import Person
from demo_clips.setting import Setting

Want = tuple[float, float, float | None]
"""A man's will for one step: velocity x, y in yd/s and the direction his torso seeks (None: the way he runs)."""


class World:
    """One rep under way. `t` is seconds after the snap (negative before). Positions are plain lists for fast scalar use."""

    def __init__(self, setting: Setting, people: list[Person], bodies: Bodies, start_s: float) -> None:
        self.setting, self.people, self.bodies = setting, people, bodies
        self.t = start_s
        self.offense = [i for i, p in enumerate(people) if p.side == "offense"]
        self.defense = [i for i, p in enumerate(people) if p.side == "defense"]
        self.eligible = [i for i in self.offense if people[i].eligible]
        self.line = [i for i in self.offense if people[i].role in ("lt", "lg", "c", "rg", "rt")]
        self.qb = next(i for i in self.offense if people[i].role == "qb")
        self.past: list[tuple[list[list[float]], list[list[float]]]] = []
        self.eyes_past: list[tuple[float, float]] = []
        self.eyes: tuple[float, float] = (10.0, setting.ball_y_yd)
        self.rushing: set[int] = set()
        self.blockers: set[int] = set()
        self.block_pairs: tuple[int, dict[int, int]] | None = None  # (step, lineman -> rusher)
        self.changes: list[tuple[float, int, Job]] = []  # men who took another job, and when
        # The ball: held by the passer, in the air, carried or dead.
        self.phase = "held"
        self.carrier: int | None = None
        self.target: int | None = None
        self.release_s: float | None = None
        self.arrive_s: float | None = None
        self.release_xy: tuple[float, float] = (0.0, 0.0)
        self.catch_xy: tuple[float, float] = (0.0, 0.0)
        self.caught_s: float | None = None
        self.end_s: float | None = None
        self.result = ""
        self.remember()

    def remember(self) -> None:
        """Store the present for those who see it late."""
        self.past.append((self.bodies.pos.tolist(), self.bodies.vel.tolist()))
        self.eyes_past.append(self.eyes)

    def at(self, i: int) -> list[float]:
        return self.past[-1][0][i]

    def velocity(self, i: int) -> list[float]:
        return self.past[-1][1][i]

    def seen(self, i: int, delay_s: float) -> tuple[float, float, float, float]:
        """Position and velocity of player i as known `delay_s` ago, moved on by half of what was seen since."""
        k = max(0, len(self.past) - 1 - int(delay_s / STEP_S + 0.5))
        (x, y), (vx, vy) = self.past[k][0][i], self.past[k][1][i]
        return x + 0.6 * vx * delay_s, y + 0.6 * vy * delay_s, vx, vy

    def eyes_seen(self, delay_s: float) -> tuple[float, float]:
        return self.eyes_past[max(0, len(self.eyes_past) - 1 - int(delay_s / STEP_S))]


def angle_to(ax: float, ay: float, bx: float, by: float) -> float:
    return atan2(by - ay, bx - ax)


def turn_between(a: float, b: float) -> float:
    """The turn from direction a to direction b, -pi..pi."""
    return (b - a + pi) % (2.0 * pi) - pi


def arrive(x: float, y: float, tx: float, ty: float, speed: float, brake: float = 5.0) -> tuple[float, float]:
    """Velocity that reaches (tx, ty) and stops there."""
    dx, dy = tx - x, ty - y
    gap = hypot(dx, dy)
    if gap < 0.05:
        return 0.0, 0.0
    v = min(speed, sqrt(2.0 * brake * gap), gap / 0.22)
    return v * dx / gap, v * dy / gap


def run_at(x: float, y: float, tx: float, ty: float, speed: float) -> tuple[float, float]:
    """Velocity straight through (tx, ty)."""
    dx, dy = tx - x, ty - y
    gap = max(hypot(dx, dy), 1e-6)
    return speed * dx / gap, speed * dy / gap


def open_hips(vx: float, vy: float, look: float, full_run: float = 6.5) -> float:
    """Torso of a man who runs one way and looks another: squared to the look when slow, turned to the run when fast."""
    speed = hypot(vx, vy)
    if speed < 1.5:
        return look
    heading = atan2(vy, vx)
    share = min(1.0, (speed - 1.5) / (full_run - 1.5))
    return look + turn_between(look, heading) * share * 0.85


def facing_of(vx: float, vy: float, current: float) -> float:
    """The way he runs; the old direction if he hardly moves."""
    return atan2(vy, vx) if hypot(vx, vy) > 0.8 else current


def as_array(people: list[Person], name: str) -> Any:
    return np.array([getattr(p, name) for p in people], float)
