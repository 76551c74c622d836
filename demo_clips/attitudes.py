"""What a body looks like from what it does, and where the ball is."""

from __future__ import annotations

import numpy as np

from demo_clips.motion import POSES
from demo_clips.people import LINE
from demo_clips.world import World

SNAP_FLIGHT_S = 0.28
HALF_GRAVITY_YD_S2 = 0.5 * 9.81 / 0.9144
STANCES = {
    "qb": "stand",
    "tackle": "three-point",
    "edge": "three-point",
    "c": "three-point",
    "lg": "three-point",
    "rg": "three-point",
}


def poses(world: World, under_center: bool) -> list[int]:
    """Index into POSES for everybody now."""
    vel = world.bodies.vel
    speed = np.hypot(vel[:, 0], vel[:, 1])
    ahead = np.cos(np.arctan2(vel[:, 1], vel[:, 0]) - world.bodies.face)
    return [POSES.index(_pose(world, i, float(speed[i]), float(ahead[i]), under_center)) for i in range(len(world.people))]


def _pose(w: World, i: int, speed: float, ahead: float, under_center: bool) -> str:
    p = w.people[i]
    if w.end_s is not None and w.t > w.end_s and (i == w.carrier or (w.result == "sack" and i == w.qb)) and speed < 2.5:
        return "ground"
    if w.phase == "air" and i == w.target and w.arrive_s is not None and w.arrive_s - w.t < 0.25:
        return "catch"
    if i == w.qb and w.release_s is not None and w.t - w.release_s < 0.3:
        return "throw"
    if w.t < 0.05 and speed < 0.6:
        return "under-center" if p.role == "qb" and under_center else STANCES.get(p.role, "two-point")
    fights = p.role in LINE or i in w.rushing or i in w.blockers
    if w.t >= 0 and w.phase != "dead" and fights and speed < 3:
        return "block"
    if p.side == "defense" and speed > 0.8 and ahead < -0.6:
        return "backpedal"
    if p.side == "defense" and 0.8 < speed < 4 and abs(ahead) <= 0.6:
        return "shuffle"
    return "run" if speed > 3.2 else "walk" if speed > 0.6 else "stand"


def ball_xyz(w: World) -> tuple[float, float, float]:
    """The ball now, (x, y, z) in the play frame."""
    spot_y = w.setting.ball_y_yd
    if w.t < 0.0:
        return 0.0, spot_y, 0.15
    qx, qy = w.at(w.qb)
    if w.t < SNAP_FLIGHT_S:
        share = w.t / SNAP_FLIGHT_S
        return qx * share, spot_y + (qy - spot_y) * share, 0.15 + 1.0 * share
    if w.phase == "air" and w.release_s is not None and w.arrive_s is not None:
        flight = w.arrive_s - w.release_s
        share = min((w.t - w.release_s) / flight, 1.0)
        (x0, y0), (cx, cy) = w.release_xy, w.catch_xy
        rise = HALF_GRAVITY_YD_S2 * flight**2 * share * (1.0 - share)
        return x0 + (cx - x0) * share, y0 + (cy - y0) * share, 2.0 - 0.6 * share + rise
    if w.carrier is not None:
        x, y = w.at(w.carrier)
        return x, y, 1.0 if w.phase == "carried" else 0.3
    if w.phase == "dead" and w.result == "incomplete":
        return *w.catch_xy, 0.15
    return qx, qy, 1.3
