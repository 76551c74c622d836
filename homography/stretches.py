"""A clip's stretches of linked frames, and the camera of each.

A stretch is a run of frames that are linked by the background's motion. The longest hold contests of cameras (`contest`); the
winners are followed into the stretches beside them, across the frames in which the motion was lost; and what a stretch's own
paint leaves in doubt the clip's main camera settles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from homography.camera import LOG_FOCAL
from homography.contest import SURE_ROWS, contest, doubt, rated, same_place, trial
from homography.evidence import FrameEvidence
from homography.field import YARD_LINE_SPACING_YD
from homography.hypotheses import Hypothesis, spread_rows, stretched
from homography.refine import camera_prior, refine
from homography.solution import possible
from homography.turning import Turning

SAME_CENTRE_YD, NEARLY_SAME_CENTRE_YD = 6.0, 2.5
HELD_CENTRE_SD_YD = 0.05
SECONDED_GATES_PX = (25.0, 12.0, 5.0)
RESTRETCHED = 2
MARKS_OF_LONGER = 0.8
"""Seen from behind the goal, a field and one twice as long differ by their hash marks alone: on the wrong one half of them are
missing, or half of those that are there are not to be."""
MOST_CONTESTS = 8
"""Of the longest stretches: film without a field, or of flickering light, has hundreds."""
FOLLOWED_FRAMES = 5
FOLLOWED_SHARE = 0.5
FOLLOWED_PX = 60.0
"""A camera that is followed over a break is found within so many px of where it was going, or it is not the same shot."""


@dataclass(frozen=True)
class Stretch:
    """Consecutive frames linked by motion: their rows in the clip's evidence, the camera that won there, if any, and the reason
    why there is none. `ranked` holds all that were tried, best first."""

    rows: range
    turning: Turning
    winner: Hypothesis | None
    reason: str
    ranked: tuple[Hypothesis, ...] = ()


def linked_stretches(evidence: Sequence[FrameEvidence]) -> list[range]:
    """Runs of frames in which each is linked to the one before."""
    starts = [row for row, frame in enumerate(evidence) if row == 0 or not frame.follows(evidence[row - 1])]
    return [range(a, b) for a, b in zip(starts, [*starts[1:], len(evidence)], strict=True)]


def hold_contests(evidence: Sequence[FrameEvidence], level: str | None, known: Stretch | None = None) -> list[Stretch]:
    """Every stretch with its camera, starting from one that is `known` if there is one."""
    linked = linked_stretches(evidence)
    done = {} if known is None else {linked.index(known.rows): known}
    held = 0
    for middle in [*done, *sorted(range(len(linked)), key=lambda k: -len(linked[k]))]:
        if middle not in done and held >= MOST_CONTESTS:
            frames = [evidence[row] for row in linked[middle]]
            done[middle] = Stretch(linked[middle], Turning(frames), None, "the picture jumps too often to be followed")
        elif middle not in done:
            done[middle] = hold_contest(evidence, linked[middle], level)
            held += 1
        for step in (1, -1):
            at = middle
            while 0 <= at + step < len(linked) and at + step not in done:
                beside = follow(evidence, done[at], linked[at + step])
                if beside is None:
                    break
                at += step
                done[at] = beside
    return [done[k] for k in range(len(linked))]


def follow(evidence: Sequence[FrameEvidence], known: Stretch, rows: range) -> Stretch | None:
    """The camera of a stretch, where that of the stretch before or behind it is known and goes on turning as it did; None where
    it does not: the film was cut, or shows no paint."""
    winner, painted = known.winner, [i for i, row in enumerate(rows) if evidence[row].ridges is not None]
    if winner is None or not painted:
        return None
    turning = Turning([evidence[row] for row in rows])
    onwards = rows.start >= known.rows.stop
    last, entry = (len(known.rows) - 1, 0) if onwards else (0, len(rows) - 1)
    inner = max(0, min(last + (-1 if onwards else 1), len(known.rows) - 1))
    anchor = int(np.argmin(np.abs(np.array(winner.rows) - last)))
    carried = known.turning.poses(winner.rows[anchor], winner.solution.pose[anchor], winner.solution.distortion)
    expected = 2 * carried[last] - carried[inner]
    poses = turning.poses(entry, expected, winner.solution.distortion)
    tests = [row for row in spread_rows(painted, FOLLOWED_FRAMES) if np.isfinite(poses[row]).all()]
    start = replace(winner.solution, pose=poses[tests])
    if not tests or not possible(start):
        return None
    frames = [evidence[rows[row]] for row in tests]
    held = camera_prior(winner.solution.centre_yd, np.full(3, HELD_CENTRE_SD_YD))
    solution = refine(frames, range(len(tests)), start, winner.level, held, gates_px=SECONDED_GATES_PX)
    found = rated(frames, replace(winner, rows=tuple(tests), solution=solution))
    off_px = np.abs(solution.pose - poses[tests])[:, :2].max() * np.exp(solution.pose[:, LOG_FOCAL]).max()
    if found.score < FOLLOWED_SHARE * winner.score or off_px > FOLLOWED_PX or doubt(found, []):
        return None
    return Stretch(rows, turning, found, "", (found,))


def hold_contest(evidence: Sequence[FrameEvidence], rows: range, level: str | None) -> Stretch:
    """Find the camera of one stretch, or the reason why there is none."""
    frames = [evidence[row] for row in rows]
    turning = Turning(frames)
    ranked = contest(frames, turning, level)
    # Practice fields are found on which only every other yard line is painted.
    ranked += [other for one in ranked[:RESTRETCHED] if (other := _of_right_length(frames, one)) is not one]
    ranked.sort(key=lambda h: -h.score)
    if not ranked or doubt(ranked[0], ranked[1:]) or ranked[0].across < SURE_ROWS:
        sparse = contest(frames, turning, level, every_other=True)
        ranked += [_of_right_length(frames, one) for one in sparse[:RESTRETCHED]]
        ranked.sort(key=lambda h: -h.score)
    if not ranked:
        return Stretch(rows, turning, None, "no set of yard lines was found")
    reason = doubt(ranked[0], ranked[1:])
    return Stretch(rows, turning, None if reason else ranked[0], reason, tuple(ranked))


def _of_right_length(frames: Sequence[FrameEvidence], one: Hypothesis) -> Hypothesis:
    """An end zone's camera, or that of a field twice as long, or half, if the marks speak for it."""
    other = stretched(one) if one.view == "end-zone" else None
    if other is None:
        return one
    long, short = sorted((one, trial(frames, other)), key=lambda h: not h.solution.every_other)
    return long if long.across > MARKS_OF_LONGER * short.across else short


def seconded(evidence: Sequence[FrameEvidence], stretch: Stretch, main: Hypothesis) -> Stretch:
    """The stretch as seen from where the clip's main camera stands: what its own paint leaves in doubt the rest of the clip
    settles. Without a winner if none of its cameras stands there."""
    if stretch.winner is not None and same_place(stretch.winner, main, SAME_CENTRE_YD):
        return stretch
    one = next((one for one in stretch.ranked if same_place(one, main, NEARLY_SAME_CENTRE_YD)), None)
    if one is None:
        return replace(stretch, winner=None)
    shift = one.solution.centre_yd[0] - main.solution.centre_yd[0]
    step = np.array([np.round(shift / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD, 0.0, 0.0])
    moved = replace(main.solution, pose=one.solution.pose, centre_yd=main.solution.centre_yd + step)
    frames = [evidence[stretch.rows[row]] for row in one.rows]
    held = camera_prior(moved.centre_yd, np.full(3, HELD_CENTRE_SD_YD))
    fitted = refine(frames, range(len(frames)), moved, main.level, held, gates_px=SECONDED_GATES_PX)
    return replace(stretch, winner=replace(one, solution=fitted))
