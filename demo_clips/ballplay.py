"""What everybody does once the ball is gone: break on it, catch or break it up, run after it, tackle, stop."""

from __future__ import annotations

from math import atan2, hypot

import numpy as np

from demo_clips.world import Want, World, angle_to, arrive, run_at, turn_between
from homography.field import WIDTH_YD


def go_to_ball(world: World, me: int) -> Want:
    """The receiver who is thrown to: be at the catch point when the ball is."""
    x, y = world.at(me)
    left = max((world.arrive_s or world.t) - world.t, 0.08)
    cx, cy = world.catch_xy
    vx, vy = (cx - x) / left, (cy - y) / left
    speed = hypot(vx, vy)
    if speed > 10:
        vx, vy = vx * 10 / speed, vy * 10 / speed
    return vx, vy, None if speed > 2 else angle_to(x, y, *world.at(world.qb))


def break_on_ball(world: World, me: int, reach: float) -> Want | None:
    """A defender who has seen the throw: drive to the catch point, or cut off the run after it. None if far out of it."""
    x, y = world.at(me)
    cx, cy = world.catch_xy
    gap = hypot(cx - x, cy - y)
    if gap > reach:
        return None
    tx, ty = cx, cy
    left = max((world.arrive_s or world.t) - world.t, 0.05)
    if gap > 8.5 * left + 1.0:  # too late for the ball: get between it and the goal
        tx = cx + min(0.35 * (gap - 8.5 * left), 6.0)
    elif gap < 0.7:
        return *arrive(x, y, tx, ty, 5.0), angle_to(x, y, *world.at(world.qb))
    vx, vy = run_at(x, y, tx, ty, 9.6)
    return vx, vy, None


def pursue(world: World, me: int, contain: float, free: bool) -> tuple[Want, bool]:
    """Run down the ball carrier with a pursuit angle; blocked men fight through slowly. Also whether he is blocked."""
    x, y = world.at(me)
    if world.carrier is None:
        return (0.0, 0.0, None), False
    cx, cy = world.at(world.carrier)
    vx, vy = world.velocity(world.carrier)
    gap = hypot(cx - x, cy - y)
    lead = min(gap / 8.5, 1.6)
    tx, ty = cx + max(vx, 1.0) * lead, cy + vy * lead + contain * min(gap / 6.0, 1.0)
    ty = min(max(ty, 0.5), WIDTH_YD - 0.5)
    speed = 9.5
    blocked = False
    if gap > 1.2:
        heading = angle_to(x, y, tx, ty)
        for i in (*world.line, *world.blockers):
            bx, by = world.at(i)
            if hypot(bx - x, by - y) < 1.25 and abs(turn_between(heading, angle_to(x, y, bx, by))) < 1.3:
                speed, blocked = (4.5 if free else 1.3), True
                break
    if gap < 3.0:
        speed = min(speed, 4.0 + 2.0 * gap)
    return (*run_at(x, y, tx, ty, speed), None), blocked


def carry(world: World, me: int, aim_y: float | None) -> Want:
    """The ball carrier: downfield, to the aiming point first, then to daylight."""
    x, y = world.at(me)
    if aim_y is not None and x < 0.5:
        return *run_at(x, y, 1.5, aim_y, 7.0), None
    best, best_room = 0.0, -99.0
    for angle in (-1.1, -0.7, -0.35, 0.0, 0.35, 0.7, 1.1):
        px, py = x + 4.0 * np.cos(angle), y + 4.0 * np.sin(angle)
        room = min(hypot(world.at(d)[0] - px, world.at(d)[1] - py) for d in world.defense) - 0.9 * abs(angle)
        if not 0.5 < py < WIDTH_YD - 0.5:
            room -= 2.5
        if room > best_room:
            best, best_room = angle, room
    return 8.6 * float(np.cos(best)), 8.6 * float(np.sin(best)), None


def slow_down(world: World, me: int) -> Want:
    """After the whistle: jog it off."""
    vx, vy = world.velocity(me)
    since = world.t - (world.end_s or world.t)
    keep = max(0.0, 0.9 - 0.9 * since)
    return vx * keep, vy * keep, atan2(vy, vx) if hypot(vx, vy) > 1.5 else None


def settle_catch(world: World, rng: np.random.Generator) -> None:
    """The ball arrives: caught, dropped, broken up or intercepted."""
    cx, cy = world.catch_xy
    target = world.target
    assert target is not None
    gap = hypot(world.at(target)[0] - cx, world.at(target)[1] - cy)
    nearest = min(world.defense, key=lambda d: hypot(world.at(d)[0] - cx, world.at(d)[1] - cy))
    d_gap = hypot(world.at(nearest)[0] - cx, world.at(nearest)[1] - cy)
    chance = 0.93 - 0.25 * max(gap - 0.8, 0.0)
    if d_gap < 1.6:
        chance -= 0.42 * (1.6 - d_gap) / 1.6 + (0.2 if d_gap < gap else 0.0)
    out = not 0.3 < cy < WIDTH_YD - 0.3 or cx > world.setting.back_line_x - 0.3
    roll = rng.random()
    if roll < chance and not out:
        world.phase, world.carrier, world.result, world.caught_s = "carried", target, "complete", world.t
    elif d_gap < 1.2 and rng.random() < (0.32 if d_gap < gap else 0.12) and not out:
        world.phase, world.carrier, world.result, world.caught_s = "carried", nearest, "interception", world.t
    else:
        world.phase, world.result = "dead", "incomplete"
        world.end_s = world.t + 0.1


def is_down(world: World, held_s: dict[str, float], step_s: float) -> bool:
    """Is the carrier tackled, out of bounds or over the goal line?"""
    if world.carrier is None:
        return False
    x, y = world.at(world.carrier)
    foes = world.defense if world.carrier in world.offense else world.offense
    close = [hypot(world.at(d)[0] - x, world.at(d)[1] - y) for d in foes]
    if min(close) < 1.0:
        held_s["tackle"] = held_s.get("tackle", 0.0) + step_s * (1 + sum(g < 1.2 for g in close))
    out = not 0.0 < y < WIDTH_YD or (world.carrier in world.offense and x > world.setting.goal_x + 0.5)
    return held_s.get("tackle", 0.0) > 0.3 or out
