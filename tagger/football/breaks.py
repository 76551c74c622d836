"""Breaks: who planted and drove on the throw, and when."""

from __future__ import annotations

import numpy as np

from tagger.football.course import NOT_IN_COVERAGE, Course, Job
from tagger.football.release import Target
from tagger.football.scene import STEP_S
from tagger.football.types import Event

REACT_STEPS = 3
"""A man sees the throw about so many steps of the grid after it."""
STRAIGHT_SHARE = 0.9
"""Who runs within 25 degrees of the spot already runs there."""


def breaks(course: Course, target: Target | None) -> list[Event]:
    """Everybody in coverage who drove toward the throw; none without one, or where it cannot be said where it went."""
    if target is None:
        return []
    found = [event for job in course.jobs
             if job.word not in NOT_IN_COVERAGE if (event := _break(course, job, target)) is not None]
    return found


def _break(course: Course, job: Job, target: Target) -> Event | None:
    scene, settings = course.scene, course.settings.events
    thrown, arrival = course.thrown, target.arrival
    to_spot = scene.xy[target.receiver, arrival] - scene.xy[job.row]
    distance, pace = np.linalg.norm(to_spot, axis=1), np.linalg.norm(scene.velocity[job.row], axis=1)
    closing = (scene.velocity[job.row] * to_spot).sum(axis=1) / (distance + 1e-6)
    react = min(thrown + REACT_STEPS, arrival)
    drive = np.flatnonzero(closing[react : arrival + 1] > settings.break_speed_yd_s)
    gained = float(distance[react] - distance[arrival])
    ran_there = pace[react] > settings.break_ran_yd_s and closing[react] > STRAIGHT_SHARE * pace[react]
    speeds_up = closing[react : arrival + 1].max() - closing[react - 1 : react + 2].min()
    if (distance[thrown] > settings.break_reach_yd or not len(drive) or gained < settings.break_gain_yd or ran_there
            or speeds_up < settings.break_speed_up_yd_s):
        return None
    start = react + int(drive[0])
    delay_s = (start - thrown) * STEP_S
    margin = float(course.apart(job.row, target.receiver)[arrival])
    why = (f"drives {gained:.0f} yd toward {scene.play.player_id[target.receiver]}, {delay_s:.1f} s after the throw, "
           f"{margin:.0f} yd from him at the catch")
    return course.event("break", job, start, arrival, why, target.receiver, margin, 0.9 * target.chance)
