"""Breaks: who planted and drove on the throw, and when.

The ball is not seen. Where it goes is read off the defense: the receiver and the moment toward which they close fastest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tagger.football.course import NOT_IN_COVERAGE, Course, Job
from tagger.football.scene import STEP_S
from tagger.football.types import Event

PURSUIT_S = (0.8, 3.0)
"""After the throw: while they close on the ball and then chase the man who has it."""
PURSUIT_YD = 25.0
BALL_YD_S = 19.0
FLIGHT_S = (0.4, 2.5)


@dataclass(frozen=True)
class Target:
    """The receiver on whom the defense closes, and the grid index at which the ball is there."""

    receiver: int
    arrival: int


def find_target(course: Course) -> Target | None:
    """Where the throw went: to the receiver whom the coverage men, near enough to hunt him, close on fastest after it; the ball
    is there when its flight at a usual speed is over. None without a throw, or where the tracks end too early."""
    scene = course.scene
    cover = [job.row for job in course.jobs if job.word not in NOT_IN_COVERAGE]
    first, last = (min(course.thrown + round(s / STEP_S), len(scene.time_s) - 1) for s in PURSUIT_S)
    if not course.released or not cover or scene.passer is None or last - first < 2 or not len(scene.receivers):
        return None
    hunt = slice(first, last + 1)
    to_man = scene.xy[scene.receivers, hunt][None] - scene.xy[cover, hunt][:, None]
    distance = np.linalg.norm(to_man, axis=3) + 0.1
    closing = (scene.velocity[cover, hunt][:, None] * to_man).sum(axis=3) / distance
    score = np.where(distance < PURSUIT_YD, closing, 0.0).mean(axis=2).sum(axis=0)
    receiver = int(scene.receivers[int(np.argmax(score))])
    return Target(receiver, _arrival(course, receiver, scene.passer))


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
    turned = closing[min(thrown + 10, arrival)] > closing[thrown]
    if distance[thrown] > settings.break_reach_yd or not len(drive) or gained < settings.break_gain_yd or not turned:
        return None
    start = max(go + int(drive[0]), min(thrown + 2, arrival))
    delay_s = (start - course.thrown) * STEP_S
    margin = float(course.apart(job.row, target.receiver)[target.arrival])
    why = (f"drives {gained:.0f} yd toward {scene.play.player_id[target.receiver]}, {delay_s:.1f} s after the throw, "
           f"{margin:.0f} yd from him at the catch")
    return course.event("break", job, start, target.arrival, why, target.receiver, margin, 0.85)
