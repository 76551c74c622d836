"""The shell shown against the structure played: who rotated, from when, and whether he came late."""

from __future__ import annotations

import numpy as np

from tagger.football.course import Course, Job
from tagger.football.scene import STEP_S
from tagger.football.shell import read_shell
from tagger.football.types import Event

HIGH_OF = {"cover-0": "zero-high", "cover-1": "one-high", "cover-3": "one-high"}
SHOWN_S = -2.0
WINDOW_S = (-2.6, 1.6)
LEFT_YD = 0.7
FIRST_STEP_S = 0.3
MOST_S = 1.0


def disguises(course: Course) -> list[Event]:
    """One event of the man who rotated, if the shell shown is not the one played; another if he was late at his place."""
    scene = course.scene
    shown_s = max(SHOWN_S, float(scene.time_s[0]))
    look = read_shell(scene, course.settings.shell, shown_s)
    shown, played = max(look.shell, key=lambda s: look.shell[s]), HIGH_OF.get(course.family, "two-high")
    if shown == played:
        return []
    deep = {int(scene.defense[k]) for k in look.deep}
    corners = {int(scene.defense[k]) for k in look.corners}
    from_depth = scene.xy[:, scene.at(shown_s), 0] - scene.line_yd > course.settings.shell.deep_yd
    candidates = [job for job in course.jobs
                  if job.row in deep or (job.deep and job.row not in corners) or (from_depth[job.row] and not job.deep)]
    movers = [(_start(course, job), -_moved(course, job), job) for job in candidates
              if _moved(course, job) >= course.settings.events.rotation_yd]
    if not movers:
        return []
    start, lost, job = min(movers, key=lambda mover: mover[:2])
    moved = -lost
    when = f"{abs(scene.time_s[start]):.1f} s {'before' if scene.time_s[start] < 0 else 'after'} the snap"
    why = f"{shown} shown, {course.family} played: he leaves his place {when} and has gone {moved:.0f} yd by {WINDOW_S[1]:.1f} s"
    sure = course.sure * look.shell[shown]
    found = [course.event("disguise", job, start, max(start, scene.at(MOST_S)), why, confidence=0.9 * sure)]
    late = scene.at(course.settings.events.landmark_s)
    pace = float(np.linalg.norm(scene.velocity[job.row, late]))
    if scene.time_s[start] > 0.6 and pace > 4.0 and late < course.thrown:
        why = f"began to rotate only {scene.time_s[start]:.1f} s after the snap, still at {pace:.0f} yd/s when he should be there"
        found.append(course.event("late-rotation", job, late, course.thrown, why, confidence=0.5 * sure))
    return found


def _moved(course: Course, job: Job) -> float:
    """Way from where he showed to where he is soon after the snap: across counts whole, depth by what is beyond a backpedal."""
    scene = course.scene
    a, b = scene.at(max(WINDOW_S[0], float(scene.time_s[0]))), scene.at(WINDOW_S[1])
    down, across = scene.xy[job.row, b] - scene.xy[job.row, a]
    return float(np.hypot(down - 3.0 if down > 3.0 else min(down, 0.0), across))


def _start(course: Course, job: Job) -> int:
    """When he left his place of before for good, the moment of his first step before it shows."""
    scene = course.scene
    a, b = scene.at(max(WINDOW_S[0], float(scene.time_s[0]))), scene.at(WINDOW_S[1])
    gone = np.linalg.norm(scene.xy[job.row, a : b + 1] - scene.xy[job.row, a], axis=1) > LEFT_YD
    here = np.flatnonzero(~gone)
    return max(a, a + int(here[-1]) - round(FIRST_STEP_S / STEP_S))
