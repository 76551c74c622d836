"""What receivers do to zones: carried and passed off, high-low and vertical stress, who came late to his landmark."""

from __future__ import annotations

import numpy as np

from homography.field import WIDTH_YD
from tagger.football.course import Course, Job, bounds_of, runs
from tagger.football.types import Event

OUTSIDE_YD = 8.0
"""From the middle of the field: farther out a flat or curl-flat man is between a high and a low receiver."""
LEAST_LANDMARK_YD = {"deep-third": 9.0, "deep-half": 9.0, "deep-quarter": 8.0, "curl-flat": 6.0, "hook-curl": 4.5, "flat": 3.0}
STILL_COMING_YD_S = 3.7


def carries(course: Course) -> list[Event]:
    """A zone man who runs with a receiver going downfield (a half stays over the top of all, he carries nobody), and whom an
    underneath man lets go behind him."""
    settings, found = course.settings.events, []
    live = np.arange(len(course.scene.time_s))
    live_mask = (live >= course.scene.at(0.8)) & (live <= course.thrown)
    for job in (job for job in course.zones() if job.word != "deep-half"):
        for receiver in map(int, course.scene.receivers):
            vertical = ((course.depth(receiver) > settings.carried_depth_yd)
                        & (course.scene.velocity[receiver, :, 0] > settings.carried_speed_yd_s))
            runs_too = course.scene.velocity[job.row, :, 0] > settings.carried_speed_yd_s
            apart = course.apart(job.row, receiver)
            spans = runs(vertical & runs_too & (apart < settings.carried_near_yd) & live_mask, settings.carried_s)
            if not spans:
                continue
            start, end = spans[0][0], spans[-1][1]
            least = float(apart[start : end + 1].min())
            name = course.scene.play.player_id[receiver]
            why = (f"within {least:.1f} yd of {name} from {course.depth(receiver)[start]:.0f} "
                   f"to {course.depth(receiver)[end]:.0f} yd deep")
            found.append(course.event("carried", job, start, end, why, receiver, least, 0.8))
            if not job.deep and end < course.thrown - 1 and course.depth(receiver)[end] > settings.passed_depth_yd:
                deep = _taker(course, receiver, course.thrown)
                why = f"lets {name} go at {course.depth(receiver)[end]:.0f} yd" + (f" to {deep.player_id}" if deep else "")
                found.append(course.event("passed-off", job, end, end, why, receiver, None, 0.7))
    return found


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
        if job.word not in ("curl-flat", "flat") or not job.side:
            continue
        out = {int(r): (course.across(int(r)) - WIDTH_YD / 2) * job.side > OUTSIDE_YD for r in course.scene.receivers}
        gap = {r: course.depth(r) - course.depth(job.row) for r in out}
        best: tuple[int, int, int, int] | None = None
        for high in out:
            for low in out:
                mask = (out[high] & out[low] & (gap[high] > settings.high_yd) & (gap[low] < -settings.low_yd)
                        & (course.depth(low) > 0.0))
                mask &= (gap[high] < 16.0) & (gap[low] > -10.0) & (course.depth(low) < 7.0)
                spans = runs(mask & live_mask, settings.stress_s)
                if spans and (best is None or spans[-1][1] - spans[0][0] > best[1] - best[0]):
                    best = (spans[0][0], spans[-1][1], high, low)
        if best is not None:
            start, end, high, low = best
            sank = course.scene.velocity[job.row, start : end + 1, 0].mean() > 0.3
            names = course.scene.play.player_id
            why = f"{names[high]} behind and {names[low]} in front of him: he {'sank' if sank else 'bit'}"
            found.append(course.event("high-low-stress", job, start, end, why, high, float(-gap[low][end]), 0.7))
    return found


def vertical_stress(course: Course) -> list[Event]:
    """Two receivers past the vertical depth in one deep area."""
    settings, found = course.settings, []
    live = np.arange(len(course.scene.time_s)) <= course.thrown
    for job in course.zones():
        if not job.deep:
            continue
        low, high = bounds_of(job)
        inside = np.array([(course.depth(int(r)) > settings.deep.vertical_yd)
                           & (course.across(int(r)) >= low) & (course.across(int(r)) < high)
                           for r in course.scene.receivers])
        spans = runs((inside.sum(axis=0) >= 2) & live, settings.events.stress_s) if len(inside) else []
        if spans:
            most = int(inside[:, spans[0][0] : spans[-1][1] + 1].sum(axis=0).max())
            why = f"{most} receivers past {settings.deep.vertical_yd:.0f} yd in his area"
            found.append(course.event("vertical-stress", job, spans[0][0], spans[-1][1], why, confidence=0.85))
    return found


def late_men(course: Course) -> list[Event]:
    """Who was still on his way when everybody should be at his landmark."""
    scene = course.scene
    found: list[Event] = []
    at = scene.at(course.settings.events.landmark_s)
    if at >= course.thrown:
        return found
    for job in course.zones():
        if job.word not in LEAST_LANDMARK_YD or not job.side:
            continue
        short = LEAST_LANDMARK_YD[job.word] - course.depth(job.row)
        inward = np.maximum(0.0, _least_out(job) - (course.across(job.row) - WIDTH_YD / 2) * job.side)
        pace = np.linalg.norm(scene.velocity[job.row], axis=1)
        missing = np.hypot(np.maximum(short, 0.0), inward)
        if missing[at] > 2.0 and pace[at] > STILL_COMING_YD_S:
            there = np.flatnonzero(missing[at : course.thrown + 1] < 1.0)
            end = at + int(there[0]) if len(there) else course.thrown
            why = (f"{missing[at]:.0f} yd short of his landmark {course.settings.events.landmark_s:.1f} s after the snap, "
                   f"still at {pace[at]:.0f} yd/s")
            found.append(course.event("late-to-landmark", job, at, end, why, confidence=0.6))
    return found


def _least_out(job: Job) -> float:
    """How far from the middle of the field he must be, yd."""
    return {"deep-third": 9.0, "deep-half": 4.0, "deep-quarter": 12.0 if (job.area or "").endswith("outside") else 0.0,
            "curl-flat": 8.0, "flat": 9.0}.get(job.word, 0.0)


