"""Leverage lost by a deep man: beaten over the top, or on the side that he is to protect.

Thirds and quarters protect the inside, halves the outside (common practice, no source). Nothing is said where the tracks' own
uncertainty is as large as the margin.
"""

from __future__ import annotations

import numpy as np

from tagger.football.course import Course, Job, runs
from tagger.football.types import Abstention, Event
from vision.types import FloatArray

FROM_DEPTH_YD = 8.0


def leverage_lost(course: Course) -> tuple[list[Event], list[Abstention]]:
    """Every deep zone man against every receiver in his area before the throw, and what was too close to call."""
    events: list[Event] = []
    unsure: list[Abstention] = []
    for job in course.zones():
        if not job.deep:
            continue
        for receiver in course.scene.receivers:
            for found in (_over_top(course, job, int(receiver)), _crossed(course, job, int(receiver))):
                if found is None:
                    continue
                if abs(found.margin_yd or 0.0) <= _sigma(course, job.row, int(receiver), found):
                    unsure.append(Abstention(
                        "leverage", f"{job.player_id} against {found.against}: the margin of {found.margin_yd:+.1f} yd "
                                    "is no larger than the positions' own uncertainty"))
                else:
                    events.append(found)
    return events, unsure


def _over_top(course: Course, job: Job, receiver: int) -> Event | None:
    settings = course.settings.deep
    cushion = course.depth(job.row) - course.depth(receiver)
    inside = course.entering(receiver, job) & (course.depth(receiver) > FROM_DEPTH_YD)
    inside &= _known(course, job.row, receiver)
    beaten = runs(inside & (cushion < -settings.beaten_yd) & _until_thrown(course), settings.beaten_s)
    if not beaten:
        return None
    start, end = beaten[0][0], beaten[-1][1]
    worst = float(cushion[start : end + 1].min())
    name = course.scene.play.player_id[receiver]
    why = f"{name} is {-worst:.1f} yd deeper than the {job.word} man, {float(course.scene.time_s[start]):.1f} s after the snap"
    return course.event("leverage-lost-over-top", job, start, end, why, receiver, worst, 0.9)


def _crossed(course: Course, job: Job, receiver: int) -> Event | None:
    """He comes from the other side of the man and gets past him to the protected one."""
    settings = course.settings.deep
    if not job.side or (job.word == "deep-half" and course.family == "cover-2-man"):
        return None
    protects = "outside" if job.word == "deep-half" else "inside"
    toward = job.side if protects == "outside" else -job.side
    past = (course.across(receiver) - course.across(job.row)) * toward
    near = (course.apart(job.row, receiver) < settings.near_yd) & (course.depth(receiver) > FROM_DEPTH_YD)
    near &= course.entering(receiver, job) & _until_thrown(course) & _known(course, job.row, receiver)
    before = np.maximum.accumulate(near & (past < 0.0))
    crossed = runs(near & before & (past > settings.crossed_yd), settings.crossed_s)
    if not crossed:
        return None
    start, end = crossed[0][0], crossed[-1][1]
    worst = float(past[start : end + 1].max())
    why = f"{course.scene.play.player_id[receiver]} crosses {worst:.1f} yd to the {protects}, which a {job.word} man protects"
    return course.event(f"leverage-lost-{protects}", job, start, end, why, receiver, -worst, 0.7)


def _until_thrown(course: Course) -> np.ndarray:
    index = np.arange(len(course.scene.time_s))
    return (index >= course.scene.at(1.0)) & (index <= course.thrown)


def _known(course: Course, one: int, other: int) -> np.ndarray:
    return np.asarray(course.scene.seen[one] & course.scene.seen[other])


def _sigma(course: Course, one: int, other: int, event: Event) -> float:
    """Standard deviation of the difference of two men's positions about the event, yd."""
    play = course.scene.play
    window = (play.time_s >= event.start_s - 0.2) & (play.time_s <= event.end_s + 0.2)
    both: FloatArray = play.sigma_yd[[one, other]][:, window]
    if not np.isfinite(both).any(axis=1).all():
        return np.inf
    return float(np.sqrt((np.nanmedian(both, axis=1) ** 2).sum()))
