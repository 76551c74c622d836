"""The passer: drop, progression with his eyes on it, movement in the pocket, throw, scramble."""

from __future__ import annotations

from math import hypot

import numpy as np

from demo_clips.concepts import Call
from demo_clips.receiving import RunRoute
from demo_clips.world import Want, World, angle_to, arrive, run_at
from homography.field import WIDTH_YD


class Passer:
    """Drop, read in order, move in the pocket, throw, scramble or go down."""

    def __init__(self, me: int, call: Call, rng: np.random.Generator, react_s: float) -> None:
        self.me, self.call, self.react_s = me, call, react_s
        self.skill_delay_s = 0.05 + float(rng.gamma(2.0, 0.1))
        self.patience = float(rng.normal(0.0, 0.35))
        self.scrambler = bool(rng.random() < 0.25)
        self.scrambling = False
        self.runners: dict[int, RunRoute] = {}
        if call.kind == "pass" and len(call.order) > 2 and rng.random() < 0.3:
            call.order.append(call.order.pop(0))  # he starts on the other side of the field
        self.deep_set = call.kind == "pass" and call.drop_s > 1.3
        self.look_off_s = float(rng.uniform(0.0, 0.7)) * float(rng.random() < 0.4)
        self.k, self.read_since_s = 0, 0.0
        self.read_s = float(rng.uniform(0.22, 0.5))
        self.noise = float(rng.normal(0.0, 0.6)), float(rng.normal(0.0, 0.6))

    def current_read(self, world: World) -> int | None:
        """The receiver that he looks at now; he moves on when a read's moment has passed unused."""
        order = self.call.order
        if not order:
            return None
        if world.t < self.look_off_s and len(order) > 1:
            return order[-1]
        while self.k < len(order) - 1 and world.t > max(self.call.routes[order[self.k]].open_s, self.read_since_s) + self.read_s:
            self.k += 1
            self.read_since_s = world.t
        return order[self.k]

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        read = self.current_read(world)
        if read is not None and world.t > 0.25:
            rx, ry = world.at(read)
            if self.call.play_action and world.t < 1.0:
                rx, ry = world.at(self.call.runner or self.me)
            world.eyes = (rx, ry)
        face = angle_to(x, y, *world.eyes) if world.t > 0.4 else 0.0
        if world.t < self.react_s * 0.3:
            return 0.0, 0.0, 0.0
        if self.scrambling:
            return self._scramble(world, x, y)
        ball = world.setting.ball_y_yd
        if world.t < self.call.drop_s:
            share = min(1.0, (world.t + 0.25) / self.call.drop_s)
            tx = -self.call.drop_depth
            ty = ball + (self.call.boot * 9.0 * share if self.call.boot and world.t > 0.9 else 0.0)
            vx, vy = arrive(
                x,
                y,
                tx,
                ty,
                (2.6 if self.call.drop_depth > 6 and x > -6 and self.deep_set else 4.9) if world.t > 0.3 else 1.4,
                5.0,
            )
            if self.call.boot and world.t > 0.9:
                vx, vy = run_at(x, y, -self.call.drop_depth, ty + self.call.boot * 2.0, 5.2)
            return vx, vy, face if hypot(vx, vy) < 3 or world.t > 0.8 * self.call.drop_s else face * 0.7
        threat, gap = self._pressure(world, x, y)
        if self.call.boot:
            return 0.4, self.call.boot * (3.0 if world.t < self.call.drop_s + 0.8 else 1.0), face
        vx = vy = 0.0
        if threat is not None and gap < 3.2:
            dx, dy = world.at(threat)
            vx = 1.6 if dx < x + 1.5 else -0.8
            vy = 1.4 if dy < y else -1.4
        else:
            vx = 0.35 if x < -self.call.drop_depth + 0.8 else 0.0
        return vx, vy, face

    def _pressure(self, world: World, x: float, y: float) -> tuple[int | None, float]:
        best, gap = None, 99.0
        for d in world.rushing:
            dx, dy = world.at(d)
            g = hypot(dx - x, dy - y)
            if g < gap:
                best, gap = d, g
        return best, gap

    def _scramble(self, world: World, x: float, y: float) -> Want:
        lanes = []
        for angle in (-1.2, -0.8, -0.4, 0.0, 0.4, 0.8, 1.2):
            px, py = x + 5.0 * np.cos(angle), y + 5.0 * np.sin(angle)
            room = min(hypot(world.at(d)[0] - px, world.at(d)[1] - py) for d in world.defense)
            lanes.append((room - (4.0 if not 2.0 < py < WIDTH_YD - 2.0 else 0.0), angle))
        angle = max(lanes)[1]
        return 7.2 * float(np.cos(angle)), 7.2 * float(np.sin(angle)), None

    def decide(self, world: World) -> tuple[int, float, float, float] | None:
        """(receiver, x, y, flight time) if he throws now."""
        x, y = world.at(self.me)
        t, call = world.t, self.call
        ready = call.drop_s + self.skill_delay_s
        _, gap = self._pressure(world, x, y)
        hurried = gap < 1.3 and t > 1.0
        if (t < ready and not hurried) or not call.order:
            return None
        hurry = hurried or t > call.forced_s or call.kind != "pass"
        reads = [r for r in call.order if r not in world.blockers]
        current = self.current_read(world)
        best, best_score = None, -99.0
        for r in reads if hurry or self.k == len(call.order) - 1 else [r for r in reads if r == current]:
            px, py, flight = self.aim(world, r)
            early = max(call.routes[r].open_s - 0.12 - t, 0.0)
            score = self._room(world, px, py, flight) - (4.0 if hurried else 10.0) * early + (1.0 if r == current else 0.0)
            score -= 1.6 * (px < 4.5 and t < 3.2)  # the short one is there later too
            score -= 0.1 * max(px - 14.0, 0.0) + 3.0 * max(flight - 1.9, 0.0)
            if not 0.8 < py < WIDTH_YD - 0.8 or px > world.setting.back_line_x - 0.5:
                score -= 4.0
            if score > best_score:
                best, best_score = (r, px, py, flight), score
        need = 4.4 + 1.8 * self.patience - 0.8 * max(t - ready - 0.9, 0.0) - (1.8 if hurried else 0.0)
        if call.kind in ("quick", "screen"):
            need = 2.0 - 3.0 * max(t - ready, 0.0)
        if t > call.forced_s or (call.kind == "quick" and t > 1.46):
            need = -50.0 if call.kind != "pass" or not self.scrambler else 0.5
        if best is not None and best_score > need:
            return best
        if call.kind == "pass" and t > call.forced_s and self.scrambler and t > 2.8:
            self.scrambling = True
        return None

    def aim(self, world: World, r: int) -> tuple[float, float, float]:
        """Where receiver r and the ball can meet, and the flight time."""
        x, y = world.at(self.me)
        rx, ry = world.at(r)
        flight, px, py = 0.4, rx, ry
        runner = self.runners.get(r)
        for _ in range(3):
            if runner is not None:
                px, py = runner.where(rx, ry, flight - 0.05)
            gap = hypot(px - x, py - y)
            flight = 0.15 + gap / (22.5 if gap < 24 else 19.5)
        return px + 0.3 * self.noise[0], min(max(py + 0.3 * self.noise[1], 0.3), WIDTH_YD - 0.3), flight

    def _room(self, world: World, px: float, py: float, flight: float) -> float:
        room = 9.0
        for d in world.defense:
            dx, dy = world.at(d)
            vx, vy = world.velocity(d)
            look = max(flight - 0.3, 0.0)
            gap = hypot(dx + 0.6 * vx * look - px, dy + 0.6 * vy * look - py) - 2.6 * look
            room = min(room, gap)
        return room
