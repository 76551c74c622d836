"""From single-frame guesses to one camera for a stretch of film: every guess has to explain several frames at once.

A guess on one frame is carried to the others by the background's motion, adjusted to all of them together (one centre, one
distortion), and scored by the paint that it explains in all. What is left of the lead over the best different camera is the
confidence: a wrong spacing or a wrong row may fit one frame, hardly ever a moving camera's whole clip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from homography.evidence import FrameEvidence
from homography.field import LEVELS, YARD_LINE_SPACING_YD
from homography.habit import MARK_OFFSETS_YD, PAINT_SD_YD, mark_habit
from homography.hypotheses import Hypothesis, key_frames, ranked, same_camera, single_frame, spread_rows, unlike
from homography.people_height import plausible
from homography.refine import camera_prior, refine
from homography.score import support
from homography.turning import Turning

KEY_FRAMES = 3
TEST_FRAMES = 5
GUESSES_KEPT = 6
FINALISTS = 6
RETESTED, RETESTED_SHARE = 2, 0.75
FINALIST_SHARE = 0.85
SAME_PLACE_YD = 1.0
TEST_GATES_PX = (12.0, 6.0, 4.0)
LEAST_LINES = 3.0
LEAST_COVER = 0.18
LEAST_SCORE = 60.0
LEAST_SHARP, SURE_SHARP = 2.25, 2.4
"""Paint lies within a pixel of where the right camera puts it, a gain of about 2.6; a wrong one, which took far lines for others,
was seen to give 1.7 to 2.2, the right one 2.3 and more."""
LEAST_ROWS = 30.0
LEAST_LEAD, CLEAR_LEAD, LEAST_ROWS_LEAD = 0.01, 0.07, 1.2
SURE_LEAD, SURE_ROWS = 0.25, 36.0
"""Whoever leads by so much, and has so much of the rows, need not be looked for in a second frame."""


def contest(frames: Sequence[FrameEvidence], turning: Turning, level: str | None, every_other: bool = False) -> list[Hypothesis]:
    """Cameras for a stretch of film whose frames are linked by motion, best first, each tested on the same frames; with
    `every_other` for a field on which only each second yard line is painted."""
    levels = tuple(LEVELS) if level is None else (level,)
    painted = [row for row, frame in enumerate(frames) if frame.ridges is not None]
    tests = spread_rows(painted, TEST_FRAMES)
    finalists: list[Hypothesis] = []
    leaders: list[Hypothesis] = []
    known: dict[int, Hypothesis] = {}
    for key in key_frames(frames, KEY_FRAMES):
        shown = sorted({*tests, key})
        guesses = single_frame(frames[key], levels, every_other)[:GUESSES_KEPT]
        for guess in likely(guesses):
            poses = turning.poses(key, guess.solution.pose[0], guess.solution.distortion)
            good = [row for row in shown if np.isfinite(poses[row]).all()]
            start = replace(guess.solution, pose=poses[good])
            finalists.append(Hypothesis(guess.view, guess.level, tuple(good), start, guess.score))
        if not leaders and sure(first := finals(frames, finalists, known)):
            return first
        leaders += guesses[:1]
        if len(leaders) >= 2 and same_place(leaders[-1], leaders[-2]):
            break
    return finals(frames, finalists, known)


def finals(frames: Sequence[FrameEvidence], finalists: Sequence[Hypothesis], known: dict[int, Hypothesis]) -> list[Hypothesis]:
    """The likeliest of the finalists, adjusted to all their frames, best first. What trials gave is `known` by the hypothesis'
    id, and kept there."""
    def tried(one: Hypothesis, habitual: bool) -> Hypothesis:
        if id(one) not in known:
            habit = mark_habit([frames[row] for row in one.rows], one.solution, one.level) if habitual else None
            known[id(one)] = trial(frames, one, habit)
        return known[id(one)]

    tested = [tried(one, False) for one in likely(unlike(ranked(finalists)))[:FINALISTS]]
    tested = unlike(ranked(tested))
    again = [tried(one, True) for one in tested[:RETESTED] if one.score > RETESTED_SHARE * tested[0].score]
    tested = [replace(one, habit=other.habit) for one, other in zip(tested, again, strict=False)] + tested[len(again):]
    tall = [one for one in [*tested, *again] if plausible([frames[row] for row in one.rows], one.solution)]
    return unlike(ranked(tall))


def likely(best_first: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Those of one frame's cameras, best first, of which one may yet win: behind by more, none was ever seen to."""
    return [one for one in best_first if one.score > FINALIST_SHARE * best_first[0].score]


def same_place(one: Hypothesis, other: Hypothesis, within_yd: float = SAME_PLACE_YD) -> bool:
    """Whether two cameras stand in one place, before the same level's field (x counts up to whole 5 yd)."""
    off = one.solution.centre_yd - other.solution.centre_yd
    off[0] -= np.round(off[0] / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
    return one.view == other.view and one.level == other.level and bool(np.abs(off).max() < within_yd)


def trial(frames: Sequence[FrameEvidence], one: Hypothesis, habit: tuple[float, float] | None = None) -> Hypothesis:
    """Adjust a hypothesis to all its frames at once and score it anew; `habit` is how the marks are painted, if known."""
    taken = [frames[row] for row in one.rows]
    prior, solution = camera_prior(one.solution.centre_yd), one.solution
    if habit is not None:
        solution = replace(solution, mark_offset_yd=habit[0])
        prior = replace(prior, mark_offset_yd=habit[0], mark_offset_sd_yd=PAINT_SD_YD)
    solution = refine(taken, range(len(taken)), solution, one.level, prior, gates_px=TEST_GATES_PX[:-1])
    # Marks are painted by one of a few habits; what lies between has to be paid for.
    offset = min(MARK_OFFSETS_YD, key=lambda offset: abs(offset - solution.mark_offset_yd))
    prior = replace(prior, mark_offset_yd=offset, mark_offset_sd_yd=PAINT_SD_YD)
    solution = replace(solution, mark_offset_yd=offset)
    solution = refine(taken, range(len(taken)), solution, one.level, prior, gates_px=TEST_GATES_PX[-1:])
    return replace(rated(taken, replace(one, solution=solution)), habit=habit)


def rated(frames: Sequence[FrameEvidence], one: Hypothesis) -> Hypothesis:
    """A hypothesis with what its frames, row by row of its solution, say for it."""
    found = [support(frame, one.solution, i, one.level) for i, frame in enumerate(frames)]
    across = float(np.mean([s.rows for s in found]))
    # Rows count twice: many cameras explain the yard lines, and only the rows tell these and the levels apart.
    return replace(one, score=float(np.mean([s.total for s in found])) + across, across=across,
                   lines=float(np.mean([s.yard_lines for s in found])), covered=float(np.mean([s.covered for s in found])),
                   sharp=float(np.mean([s.sharp for s in found])))


def doubt(best: Hypothesis, others: Sequence[Hypothesis]) -> str:
    """Why the best of the rated cameras is not to be trusted; empty if it is."""
    if best.lines < LEAST_LINES or best.covered < LEAST_COVER or best.score < LEAST_SCORE:
        return "too few lines fit a football field"
    if best.sharp < LEAST_SHARP:
        return "lines were found, but they bend as no field does"
    if best.across < LEAST_ROWS:
        return "neither hash marks nor sidelines were found, so the distance across the field is unknown"
    # Many cameras explain the yard lines; where another has as many marks on its rows, these are chance.
    rows = max((one.across for one in others if one.solution.every_other == best.solution.every_other
                and not same_camera(best, one)), default=0.0)
    ahead = lead(best, others)
    if ahead < LEAST_LEAD or (ahead < CLEAR_LEAD and best.across < LEAST_ROWS_LEAD * rows):
        return "two different cameras explain the lines about equally well"
    return ""


def lead(best: Hypothesis, others: Sequence[Hypothesis]) -> float:
    """By what share of its score the best camera leads over the best different one."""
    rival = next((other.score for other in others if not same_camera(best, other)), 0.0)
    return (best.score - rival) / max(best.score, 1e-9)


def sure(best_first: Sequence[Hypothesis]) -> bool:
    """Whether the best of one frame's cameras stands so far above the others that no second frame's are needed. From behind the
    goal it never is: one frame's few lines across may leave the right camera out."""
    best, others = next(iter(best_first), None), best_first[1:]
    if best is None or best.view == "end-zone" or doubt(best, others) or lead(best, others) < SURE_LEAD:
        return False
    return best.across > SURE_ROWS and best.sharp > SURE_SHARP
