"""What receivers do to zones: carried and passed off, high-low and vertical stress, who came late to his landmark."""

from __future__ import annotations

import numpy as np

from homography.field import WIDTH_YD
from tagger.football.course import ENTERING_S, Course, Job, bounds_of, runs
from tagger.football.types import Event
from vision.types import BoolArray, FloatArray

OUTSIDE_YD = {"flat": 10.0, "curl-flat": 7.0}
"""From the middle of the field: farther out he is between a high and a low receiver, ..."""
REACH_YD = 15.0
"""... if both are so near to him across, ..."""
SHARED_YD = 1.0
"""... and no other underneath zone man is nearer to them across by more than this."""
NEARER_YD = 1.0
"""Two men run beside one receiver: he is carried by the nearer, or by both if it is as near as this."""
GIVING_GROUND = 0.5
"""A deep man runs slower than who comes at him as long as he has a cushion to give up: at so much of the least speed."""
PASSED_STEPS = 3
"""Who lets go so many steps of the grid before the throw has passed his man off; later he only saw the throw."""
LATE_STEPS, LATELY_STEPS = 2, 10
"""Steps of the grid: nobody sees a lateness that lasts less; who was at his landmark so lately has been there."""
WITH_HIM_YD = 4.5
"""A zone man so near to a receiver plays him."""
LEAST_DEPTH_YD = {"deep-third": 12.0, "deep-half": 12.0, "deep-quarter": 12.0, "curl-flat": 6.0, "hook-curl": 6.0, "flat": 3.0}
LANDMARK_ACROSS_YD = {"deep-third": (WIDTH_YD / 6, WIDTH_YD / 2), "deep-half": (3.0, 18.0), "curl-flat": (9.0, 22.0),
                      "hook-curl": (1.0, 13.0), "flat": (12.0, WIDTH_YD / 2)}
"""The areas of the landmarks, from the middle of the field toward his side, with room for one who settles early."""


def carries(course: Course) -> list[Event]:
    """A zone man who runs downfield with a receiver past the underneath landmarks; if he is underneath and lets go of one who
    runs on, he passed him off."""
    settings, scene, found = course.settings.events, course.scene, []
    live = np.arange(len(scene.time_s))
    live_mask = (live > scene.snap) & (live <= course.thrown)
    for job in course.zones():
        for receiver in map(int, scene.receivers):
            vertical = ((course.depth(receiver) > settings.carried_depth_yd)
                        & (scene.velocity[receiver, :, 0] > settings.carried_speed_yd_s))
            least_yd_s = settings.carried_speed_yd_s * (GIVING_GROUND if job.deep else 1.0)
            runs_too = scene.velocity[job.row, :, 0] > least_yd_s
            apart = course.apart(job.row, receiver)
            with_him = (apart < settings.carried_near_yd) & (apart < _nearest_other(course, job, receiver) + NEARER_YD)
            spans = runs(vertical & runs_too & with_him & live_mask, settings.carried_s)
            if not spans:
                continue
            start, end = spans[0][0], spans[-1][1]
            least = float(apart[start : end + 1].min())
            name = scene.play.player_id[receiver]
            why = (f"runs with {name} from {course.depth(receiver)[start]:.0f} to {course.depth(receiver)[end]:.0f} yd deep, "
                   f"{least:.1f} yd from him at the nearest")
            found.append(course.event("carried", job, start, end, why, receiver, least, 0.8))
            later = min(end + 2, len(live) - 1)
            runs_on = scene.velocity[receiver, later, 0] > settings.passed_speed_yd_s
            if not job.deep and runs_on and end <= course.thrown - PASSED_STEPS:
                deep = _taker(course, receiver, later)
                why = f"lets {name} go at {course.depth(receiver)[end]:.0f} yd" + (f" to {deep.player_id}" if deep else "")
                found.append(course.event("passed-off", job, end, end, why, receiver, None, 0.7))
    return found


def _nearest_other(course: Course, job: Job, receiver: int) -> FloatArray:
    """(T,) distance from a receiver to the nearest other zone man who is deep or underneath as this one is."""
    others = [course.apart(other.row, receiver) for other in course.zones() if other.row != job.row and other.deep == job.deep]
    return np.asarray(np.min(others, axis=0)) if others else np.full(len(course.scene.time_s), np.inf)


def _taker(course: Course, receiver: int, at: int) -> Job | None:
    """The deep man whose area the receiver is in."""
    across = course.across(receiver)[at]
    return next((job for job in course.zones() if job.deep and bounds_of(job)[0] <= across < bounds_of(job)[1]), None)


def high_lows(course: Course) -> list[Event]:
    """A flat or curl-flat man with a receiver in front of him and another behind: did he sink or bite."""
    settings, found = course.settings.events, []
    live = np.arange(len(course.scene.time_s))
    live_mask = (live >= course.scene.at(1.2)) & (live <= course.thrown)
    for job in course.zones():
        if job.word not in OUTSIDE_YD or not job.side:
            continue
        near = {int(r): _in_his_part(course, job, int(r)) for r in course.scene.receivers}
        gap = {r: course.depth(r) - course.depth(job.row) for r in near}
        best: tuple[int, int, int, int] | None = None
        for high in near:
            for low in near:
                mask = (near[high] & near[low] & (gap[high] > settings.high_yd) & (gap[low] < -settings.low_yd)
                        & (course.depth(low) > -1.0) & (gap[high] < settings.high_reach_yd)
                        & (gap[high] - gap[low] > settings.levels_yd))
                spans = runs(mask & live_mask, settings.high_low_s)
                if spans and (best is None or spans[-1][1] - spans[0][0] > best[1] - best[0]):
                    best = (spans[0][0], spans[-1][1], high, low)
        if best is not None:
            start, end, high, low = best
            sank = course.scene.velocity[job.row, start : end + 1, 0].mean() > 0.3
            names = course.scene.play.player_id
            why = f"{names[high]} behind and {names[low]} in front of him: he {'sank' if sank else 'bit'}"
            found.append(course.event("high-low-stress", job, start, end, why, high, float(-gap[low][end]), 0.7))
    return found


def _in_his_part(course: Course, job: Job, receiver: int) -> BoolArray:
    """(T,) the receiver is, or will be in half a second, outside the hook on his side, within reach of him across, and no other
    underneath man's."""
    across = course.across(receiver)
    mine = np.abs(across - course.across(job.row))
    nearest = np.min([np.abs(across - course.across(other.row)) for other in course.zones() if not other.deep], axis=0)
    soon = across + ENTERING_S * course.scene.velocity[receiver, :, 1]
    out = np.maximum((across - WIDTH_YD / 2) * job.side, (soon - WIDTH_YD / 2) * job.side)
    return np.asarray((out > OUTSIDE_YD[job.word]) & (mine < REACH_YD) & (mine <= nearest + SHARED_YD))


def vertical_stress(course: Course) -> list[Event]:
    """Two receivers past the vertical depth in one deep area, or entering it."""
    settings, found = course.settings, []
    live = np.arange(len(course.scene.time_s)) <= course.thrown
    for job in course.zones():
        if not job.deep:
            continue
        inside = np.array([(course.depth(int(r)) > settings.deep.vertical_yd) & course.entering(int(r), job)
                           for r in course.scene.receivers])
        spans = runs((inside.sum(axis=0) >= 2) & live, settings.events.stress_s) if len(inside) else []
        if spans:
            most = int(inside[:, spans[0][0] : spans[-1][1] + 1].sum(axis=0).max())
            why = f"{most} receivers past {settings.deep.vertical_yd:.0f} yd in his area"
            found.append(course.event("vertical-stress", job, spans[0][0], spans[-1][1], why, confidence=0.85))
    return found


def late_men(course: Course) -> list[Event]:
    """Who was still well short of his landmark when everybody should be there, and had no receiver to run with."""
    scene, settings = course.scene, course.settings.events
    found: list[Event] = []
    at = scene.at(settings.landmark_s)
    if at + LATE_STEPS > course.thrown:
        return found
    for job in course.zones():
        if job.word not in LEAST_DEPTH_YD:
            continue
        missing = short_of_landmark(course, job)
        if not is_there(course, job, at):
            there = np.flatnonzero(missing[at : course.thrown + 1] < 1.0)
            end = at + int(there[0]) if len(there) else course.thrown
            why = f"{missing[at]:.0f} yd short of his landmark {settings.landmark_s:.1f} s after the snap, no receiver near him"
            found.append(course.event("late-to-landmark", job, at, end, why, confidence=0.6))
    return found


def is_there(course: Course, job: Job, at: int) -> bool:
    """At his landmark, or with a receiver instead, in the second until then: who has been there plays what comes."""
    lately = slice(max(0, at - LATELY_STEPS), at + 1)
    nearest = min((float(course.apart(job.row, int(r))[lately].min()) for r in course.scene.receivers), default=np.inf)
    return bool(short_of_landmark(course, job)[lately].min() <= course.settings.events.short_yd or nearest <= WITH_HIM_YD)


def short_of_landmark(course: Course, job: Job) -> FloatArray:
    """(T,) yards from the nearest spot of his landmark's area."""
    low, high = _landmark_across(job)
    out = (course.across(job.row) - WIDTH_YD / 2) * (job.side or 1.0)
    across = np.maximum(0.0, np.maximum(low - out, out - high))
    return np.asarray(np.hypot(np.maximum(0.0, LEAST_DEPTH_YD[job.word] - course.depth(job.row)), across))


def _landmark_across(job: Job) -> tuple[float, float]:
    """From the middle of the field toward his side, yd."""
    if job.word == "deep-quarter":
        return (WIDTH_YD / 4, WIDTH_YD / 2) if (job.area or "").endswith("outside") else (0.0, WIDTH_YD / 4)
    return LANDMARK_ACROSS_YD[job.word] if job.side else (-WIDTH_YD / 6, WIDTH_YD / 6)
