"""How the offense protects: linemen who set back and stay between, backs and ends who pick up what is free."""

from __future__ import annotations

from math import hypot

import numpy as np
from scipy.optimize import linear_sum_assignment

from demo_clips.world import Want, World, angle_to, arrive


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
        mine = pass_block_pairs(world).get(self.me)
        if mine is None:
            vx, vy = arrive(x, y, depth, home_y, 3.2)
            return vx, vy, 0.0
        dx, dy = world.at(mine)
        gap = max(hypot(qx - dx, qy - dy), 0.3)
        near = hypot(dx - x, dy - y)
        tx, ty = dx + 1.12 * (qx - dx) / gap, dy + 1.12 * (qy - dy) / gap  # he gives ground slowly
        if near > 1.6:  # get to the line between him and the passer before he does
            fx, fy = dx + 0.35 * world.velocity(mine)[0], dy + 0.35 * world.velocity(mine)[1]
            far = max(hypot(qx - fx, qy - fy), 1.0)
            share = 1.0 - min(1.0, max(0.9, 0.35 * near) / far)
            tx, ty = qx + share * (fx - qx), qy + share * (fy - qy)
            reach = 2.8 if abs(self.slot) == 2 else 1.5
            tx, ty = min(max(tx, depth - 2.5), depth + 0.5), min(max(ty, home_y - reach), home_y + reach)
        vx, vy = arrive(x, y, tx, ty, 5.2 if abs(self.slot) == 2 or near < 2.0 else 3.6, 5.0)
        return vx, vy, angle_to(x, y, dx, dy)


def pass_block_pairs(world: World) -> dict[int, int]:
    """Which lineman has which rusher now: matched in order across the line, renewed each step (cached)."""
    if world.block_pairs is not None and world.block_pairs[0] == len(world.past):
        return world.block_pairs[1]
    rushers = sorted((d for d in world.rushing if world.at(d)[0] < 3.5), key=lambda d: world.at(d)[1])
    line = sorted(world.line, key=lambda i: world.at(i)[1])
    pairs: dict[int, int] = {}
    if rushers and line:
        place = {i: world.at(i) for i in (*line, *rushers)}
        cost = np.array(
            [[(place[i][0] - place[d][0]) ** 2 + 1.7 * (place[i][1] - place[d][1]) ** 2 for d in rushers] for i in line]
        )
        rows, cols = linear_sum_assignment(np.minimum(cost, 60.0))
        pairs = {line[a]: rushers[b] for a, b in zip(rows, cols, strict=True) if cost[a, b] < 60.0}
    for i in line:  # free linemen help the nearest
        if i not in pairs and rushers:
            d = min(rushers, key=lambda d: hypot(world.at(i)[0] - world.at(d)[0], world.at(i)[1] - world.at(d)[1]))
            if hypot(world.at(i)[0] - world.at(d)[0], world.at(i)[1] - world.at(d)[1]) < 2.6:
                pairs[i] = d
    world.block_pairs = (len(world.past), pairs)
    return pairs
