"""The shell shown against the structure played: who rotated, from when, and whether he came late."""

from __future__ import annotations

import numpy as np

from tagger.football.course import Course, Job
from tagger.football.scene import STEP_S
from tagger.football.shell import read_shell
from tagger.football.types import Event
from tagger.football.zones import LEAST_DEPTH_YD, is_there

HIGH_OF = {"cover-0": "zero-high", "cover-1": "one-high", "cover-3": "one-high"}
SHOWN_S = -2.0
WINDOW_S = (-2.6, 1.6)
BEFORE_S = 0.2
"""The shell shown is that of so long before the first of them leaves."""
LEFT_YD = 0.7
FIRST_STEP_S = 0.3
MOST_S = 1.0


def disguises(course: Course) -> list[Event]:
    """One event of every man who rotated, if the shell shown is not the one played: who left his place, and who was high and
    plays low or the other way, however short his way. If he is late at his place too, he rotated late."""
    scene, most_yd = course.scene, course.settings.events.rotation_yd
    candidates = _candidates(course)
    starts = [_start(course, job) for job in candidates if _moved(course, job, _window(course)[0]) >= most_yd]
    if not starts:
        return []
    held = max(0, min(*starts, scene.snap) - round(BEFORE_S / STEP_S))
    look = read_shell(scene, course.settings.shell, float(scene.time_s[held]))
    shell, high = look.shell, {int(scene.defense[k]) for k in look.deep}
    shown, played = max(shell, key=lambda s: shell[s]), HIGH_OF.get(course.family, "two-high")
    if shown == played:
        return []
    found = []
    for job in candidates:
        moved = _moved(course, job, held)
        was_high, is_high = job.row in high, _comes_deep(course, job)
        if moved < most_yd and was_high == is_high:
            continue
        start = _start(course, job)
        when = f"{abs(scene.time_s[start]):.1f} s {'before' if scene.time_s[start] < 0 else 'after'} the snap"
        how = (f"he leaves his place {when} and has gone {moved:.0f} yd by {WINDOW_S[1]:.1f} s" if moved >= most_yd
               else f"he shows {'high' if was_high else 'low'} and plays {'high' if is_high else 'low'}")
        why = f"{shown} shown, {course.family} played: {how}"
        sure = course.sure * shell[shown]
        found.append(course.event("disguise", job, start, max(start, scene.at(MOST_S)), why, confidence=0.9 * sure))
        found += _late(course, job, start, sure)
    return found


def _late(course: Course, job: Job, start: int, sure: float) -> list[Event]:
    scene, settings = course.scene, course.settings.events
    at = scene.at(settings.landmark_s)
    if job.word not in LEAST_DEPTH_YD or at >= course.thrown or is_there(course, job, at):
        return []
    why = (f"began to rotate {scene.time_s[start]:.1f} s after the snap, not at his landmark "
           f"{settings.landmark_s:.1f} s after it")
    return [course.event("late-rotation", job, at, course.thrown, why, confidence=0.6 * sure)]


def _candidates(course: Course) -> list[Job]:
    """Who was deep some time before the snap, or is in the coverage, but for the corners."""
    scene = course.scene
    look = read_shell(scene, course.settings.shell)
    corners = {int(scene.defense[k]) for k in look.corners}
    deep = {int(scene.defense[k]) for k in look.deep}
    shown_s = max(SHOWN_S, float(scene.time_s[0]))
    deep |= {int(scene.defense[k]) for k in read_shell(scene, course.settings.shell, shown_s).deep}
    return [job for job in course.jobs if job.row not in corners and (job.row in deep or _comes_deep(course, job))]


def _comes_deep(course: Course, job: Job) -> bool:
    """A deep man other than a corner's outside part and the runner of tampa-2, who are in no shell."""
    pole = course.family == "tampa-2" and job.word == "deep-third"
    return job.deep and not pole and not (job.word == "deep-third" and job.side) and not (job.area or "").endswith("outside")


def _window(course: Course) -> tuple[int, int]:
    scene = course.scene
    return scene.at(max(WINDOW_S[0], float(scene.time_s[0]))), scene.at(WINDOW_S[1])


def _moved(course: Course, job: Job, held: int) -> float:
    """Way from where he showed to where he is soon after the snap: across counts whole, depth by what is beyond a backpedal."""
    back, across = course.scene.xy[job.row, _window(course)[1]] - course.scene.xy[job.row, held]
    return float(np.hypot(min(back, 0.0) + max(back - course.settings.events.backpedal_yd, 0.0), across))


def _start(course: Course, job: Job) -> int:
    """When he left his place of before for good, the moment of his first step before it shows."""
    scene = course.scene
    a, b = _window(course)
    gone = np.linalg.norm(scene.xy[job.row, a : b + 1] - scene.xy[job.row, a], axis=1) > LEFT_YD
    here = np.flatnonzero(~gone)
    return max(a, a + int(here[-1]) - round(FIRST_STEP_S / STEP_S))
