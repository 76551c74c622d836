"""How the offense plays after the snap: routes, releases, protection, the passer's drop, progression and throw."""

from __future__ import annotations

from math import atan2, hypot, sqrt

import numpy as np
from scipy.optimize import linear_sum_assignment

from demo_clips.concepts import Call
from demo_clips.routes import Route
from demo_clips.setting import WIDTH_YD
from demo_clips.world import Want, World, angle_to, arrive, run_at


class RunRoute:
    """Run a route point by point, slowing for each break; at the end go on, or sit and slide off defenders."""

    def __init__(self, me: int, route: Route, react_s: float, release_s: float, tempo: float) -> None:
        self.me, self.route, self.k = me, route, 0
        self.start_s = react_s + route.delay_s
        self.release_until_s = self.start_s + release_s
        self.release_side = 0.0
        self.tempo = tempo
        self.blocking = route.ending == "block"

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
            return arrive(x, y, x - 0.3, y + 3.0 * side, 3.0) + (face,)
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


class StalkBlock:
    """A receiver or back who blocks: get in the way of the nearest defender between him and the ball."""

    def __init__(self, me: int, react_s: float, protect: bool, step_y: float = 0.0) -> None:
        self.me, self.react_s, self.protect = me, react_s, protect
        self.step_y = step_y

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        if world.t < self.react_s:
            return 0.0, 0.0, None
        holder = world.carrier if world.carrier is not None else world.qb
        qx, qy = world.at(holder)
        best, best_gap = None, 8.0
        for d in world.rushing if self.protect else world.defense:
            dx, dy = world.at(d)
            gap = hypot(dx - x, dy - y)
            covered = self.protect and any(hypot(world.at(i)[0] - dx, world.at(i)[1] - dy) < 1.2 for i in world.line)
            if gap + (3.0 if covered else 0.0) < best_gap:
                best, best_gap = d, gap + (3.0 if covered else 0.0)
        if best is None:
            return (*arrive(x, y, max(x, qx + 2.2), qy + self.step_y * min(world.t, 1.2), 2.8), 0.0)
        dx, dy = world.at(best)
        away = max(hypot(qx - dx, qy - dy), 0.5)
        tx, ty = dx + 0.95 * (qx - dx) / away, dy + 0.95 * (qy - dy) / away
        vx, vy = arrive(x, y, tx, ty, 6.0, 5.0)
        return vx, vy, angle_to(x, y, dx, dy)


class PassBlock:
    """A lineman in protection: set back inside-out, stay between his rusher and the passer."""

    def __init__(self, me: int, home_y: float, slot: int, react_s: float) -> None:
        self.me, self.home_y, self.slot, self.react_s = me, home_y, slot, react_s

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        if world.t < self.react_s:
            return 0.0, 0.0, 0.0
        qx, qy = world.at(world.qb)
        depth = -1.2 - min(1.1 * world.t, 2.6) * (1.35 if abs(self.slot) == 2 else 1.0)
        home_y = self.home_y + 0.22 * self.slot * min(world.t, 1.5)
        mine = world_assignments(world).get(self.me)
        if mine is None:
            vx, vy = arrive(x, y, depth, home_y, 3.2)
            return vx, vy, 0.0
        dx, dy = world.at(mine)
        gap = max(hypot(qx - dx, qy - dy), 0.3)
        near = hypot(dx - x, dy - y)
        tx, ty = dx + 0.85 * (qx - dx) / gap, dy + 0.85 * (qy - dy) / gap
        if near > 1.6:  # get to the line between him and the passer before he does
            fx, fy = dx + 0.35 * world.velocity(mine)[0], dy + 0.35 * world.velocity(mine)[1]
            far = max(hypot(qx - fx, qy - fy), 1.0)
            share = 1.0 - min(1.0, max(0.9, 0.35 * near) / far)
            tx, ty = qx + share * (fx - qx), qy + share * (fy - qy)
            reach = 2.8 if abs(self.slot) == 2 else 1.5
            tx, ty = min(max(tx, depth - 2.5), depth + 0.5), min(max(ty, home_y - reach), home_y + reach)
        vx, vy = arrive(x, y, tx, ty, 5.2 if abs(self.slot) == 2 or near < 2.0 else 3.6, 5.0)
        return vx, vy, angle_to(x, y, dx, dy)


def world_assignments(world: World) -> dict[int, int]:
    """Which lineman has which rusher now: matched in order across the line, renewed each step (cached)."""
    cached = getattr(world, "_blocks", None)
    key = len(world.past)
    if cached is not None and cached[0] == key:
        return cached[1]
    rushers = sorted((d for d in world.rushing if world.at(d)[0] < 3.5), key=lambda d: world.at(d)[1])
    line = sorted(world.line, key=lambda i: world.at(i)[1])
    pairs: dict[int, int] = {}
    if rushers and line:
        place = {i: world.at(i) for i in (*line, *rushers)}
        cost = np.array([[(place[i][0] - place[d][0]) ** 2 + 1.7 * (place[i][1] - place[d][1]) ** 2 for d in rushers] for i in line])
        rows, cols = linear_sum_assignment(np.minimum(cost, 60.0))
        pairs = {line[a]: rushers[b] for a, b in zip(rows, cols, strict=True) if cost[a, b] < 60.0}
    for i in line:  # free linemen help the nearest
        if i not in pairs and rushers:
            d = min(rushers, key=lambda d: hypot(world.at(i)[0] - world.at(d)[0], world.at(i)[1] - world.at(d)[1]))
            if hypot(world.at(i)[0] - world.at(d)[0], world.at(i)[1] - world.at(d)[1]) < 2.6:
                pairs[i] = d
    world._blocks = (key, pairs)  # type: ignore[attr-defined]
    return pairs


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
            vx, vy = arrive(x, y, tx, ty, (2.6 if self.call.drop_depth > 6 and x > -6 and self.deep_set else 4.9) if world.t > 0.3 else 1.4, 5.0)
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


def facing_of(vx: float, vy: float, current: float) -> float:
    return atan2(vy, vx) if hypot(vx, vy) > 0.8 else current


