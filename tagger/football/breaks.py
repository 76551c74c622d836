"""Breaks: who planted and drove on the throw, and when.

The ball is not seen. Where it goes is read off the defense: the receiver and the moment toward which they close fastest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tagger.football.course import NOT_IN_COVERAGE, Course, Job
from tagger.football.scene import STEP_S
from tagger.football.types import Event
from vision.types import FloatArray

PURSUIT_S = (0.8, 3.0)
"""After the throw: while they close on the ball and then chase the man who has it."""
PURSUIT_YD = 25.0
TURNED_SHARE = 0.5
REACT_STEPS = 4
"""They turn about so many steps of the grid after the throw."""
BALL_YD_S = 19.0
FLIGHT_S = (0.4, 2.5)


@dataclass(frozen=True)
class Target:
    """The receiver on whom the defense closes, and the grid index at which the ball is there."""

    receiver: int
    arrival: int


def find_target(course: Course) -> Target | None:
    """Where the throw went: to the receiver whom the coverage men, near enough to hunt him, close on fastest after it, and to
    whose spot of the catch they turned when it was out; the ball is there when its flight at a usual speed is over. None
    without a throw, or where the tracks end too early."""
    scene = course.scene
    cover = [job.row for job in course.jobs if job.word not in NOT_IN_COVERAGE]
    first, last = (min(course.thrown + round(s / STEP_S), len(scene.time_s) - 1) for s in PURSUIT_S)
    if not course.released or not cover or scene.passer is None or last - first < 2 or not len(scene.receivers):
        return None
    hunt = slice(first, last + 1)
    to_man = scene.xy[scene.receivers, hunt][None] - scene.xy[cover, hunt][:, None]
    distance = np.linalg.norm(to_man, axis=3) + 0.1
    closing = (scene.velocity[cover, hunt][:, None] * to_man).sum(axis=3) / distance
    hunted = np.where(distance < PURSUIT_YD, closing, 0.0).mean(axis=2).sum(axis=0)
    arrivals = [_arrival(course, int(r), scene.passer) for r in scene.receivers]
    turned = [_turned(course, cover, scene.xy[r, at], at) for r, at in zip(scene.receivers, arrivals, strict=True)]
    best = int(np.argmax(hunted + TURNED_SHARE * np.array(turned)))
    return Target(int(scene.receivers[best]), arrivals[best])


def _turned(course: Course, cover: list[int], spot: FloatArray, arrival: int) -> float:
    """How much faster the coverage men, all together, close on a spot while the ball is in the air than just before, yd/s."""
    scene, thrown = course.scene, course.thrown
    way = spot - scene.xy[cover]
    distance = np.linalg.norm(way, axis=2)
    closing = (scene.velocity[cover] * way).sum(axis=2) / (distance + 0.5)
    reacting = min(thrown + REACT_STEPS, closing.shape[1] - 1)
    before = closing[:, max(0, thrown - REACT_STEPS) : thrown + 1].mean(axis=1)
    faster = closing[:, reacting : max(arrival, reacting) + 1].mean(axis=1) - before
    return float(faster[distance[:, thrown] < course.settings.events.break_reach_yd].sum())


def _arrival(course: Course, receiver: int, passer: int) -> int:
    """When a ball thrown to where he will be then is there."""
    scene = course.scene
    flight = np.arange(*(round(s / STEP_S) for s in FLIGHT_S))
    at = np.minimum(course.thrown + flight, len(scene.time_s) - 1)
    way = np.linalg.norm(scene.xy[receiver, at] - scene.xy[passer, course.thrown], axis=1)
    return int(at[int(np.argmin(np.abs(way - BALL_YD_S * flight * STEP_S)))])


def breaks(course: Course, target: Target | None) -> list[Event]:
    """Everybody in coverage who drove toward the throw."""
    if target is None:
        return []
    found = [event for job in course.jobs
             if job.word not in NOT_IN_COVERAGE if (event := _break(course, job, target)) is not None]
    return found


def _break(course: Course, job: Job, target: Target) -> Event | None:
    scene, settings = course.scene, course.settings.events
    to_spot = scene.xy[target.receiver, target.arrival] - scene.xy[job.row]
    distance = np.linalg.norm(to_spot, axis=1)
    closing = (scene.velocity[job.row] * to_spot).sum(axis=1) / (distance + 1e-6)
    thrown, arrival = course.thrown, target.arrival
    go = min(thrown + 1, arrival)
    drive = np.flatnonzero(closing[go : arrival + 1] > settings.break_speed_yd_s)
    gained = float(distance[min(thrown + 3, arrival)] - distance[arrival])
    speeds_up = closing[go : arrival + 1].max() - closing[go : go + 4].min()
    if (distance[thrown] > settings.break_reach_yd or not len(drive) or gained < settings.break_gain_yd
            or speeds_up < settings.break_speed_up_yd_s):
        return None
    start = max(go + int(drive[0]), min(thrown + 2, arrival))
    delay_s = (start - course.thrown) * STEP_S
    margin = float(course.apart(job.row, target.receiver)[target.arrival])
    why = (f"drives {gained:.0f} yd toward {scene.play.player_id[target.receiver]}, {delay_s:.1f} s after the throw, "
           f"{margin:.0f} yd from him at the catch")
    return course.event("break", job, start, target.arrival, why, target.receiver, margin, 0.85)
