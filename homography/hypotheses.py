"""Cameras that may have taken one frame: first guesses adjusted to its paint and scored by it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from homography.camera import LOG_FOCAL, PAN, TILT, ground, project, undistort
from homography.crown import USUAL_CROWN, Crown
from homography.evidence import FrameEvidence, Ridges
from homography.field import YARD_LINE_SPACING_YD
from homography.grid import guess_cameras
from homography.mark_shape import mark_shaped
from homography.people_height import plausible
from homography.refine import camera_prior, refine
from homography.rows import Based, Guess, likely_rows
from homography.score import support
from homography.solution import Solution, possible
from homography.stripes import Stripes, find_stripes, joined

Array = npt.NDArray[np.float64]
START_DISTORTION = -0.012
KEY_TRIALS, KEY_STRIPES = 4, 10
MOST_EDGES = 6
MIDDLE_SHARE = 0.25
FAR_PX = 1e5
FITTED_OF_LEVEL, FITTED_AGAIN = 4, 4
FIT_ROUNDS, FIT_AGAIN_ROUNDS = 4, 8
SAME_CAMERA_YD = 0.8
FIRST_GATES_PX = (18.0,)
LAST_GATES_PX = (12.0, 5.0, 3.5)
MEAN_RISE = 0.7
SEEN_YD, FEWEST_SEEN = 90.0, 6


@dataclass(frozen=True)
class Hypothesis:
    """A camera for the frames `rows` of a stretch (poses in `solution`, row by row), its level, its mean support per frame, and
    once they were asked: how much of that hash rows and sidelines alone give, how many yard lines are covered, what share of
    them and how sharply (see `Support`), and how the marks are painted (see `mark_habit`)."""

    view: str
    level: str
    rows: tuple[int, ...]
    solution: Solution
    score: float
    across: float = 0.0
    lines: float = 0.0
    covered: float = 0.0
    sharp: float = 0.0
    habit: tuple[float, float] | None = None

    @cached_property
    def spots(self) -> dict[int, Array]:
        """(P, 2) field points that a raster of the picture shows in each of the frames, by row."""
        size = self.solution.image_size_px
        x, y = np.meshgrid(np.linspace(0.15, 0.85, 4) * size[0], np.linspace(0.35, 0.9, 4) * size[1])
        px = np.column_stack([x.ravel(), y.ravel()])
        return {row: ground(px, *self.solution.eye(i)) for i, row in enumerate(self.rows)}


def spread_rows(candidates: Sequence[int], most: int) -> list[int]:
    """At most `most` of the candidates, evenly spread, ends included."""
    if len(candidates) <= most:
        return list(candidates)
    return [candidates[i] for i in np.unique(np.round(np.linspace(0, len(candidates) - 1, most)).astype(int))]


def key_frames(frames: Sequence[FrameEvidence], most: int) -> list[int]:
    """Rows of the frames with the longest straight stripes, one in each of `most` equal parts of the stretch."""
    painted = [row for row, frame in enumerate(frames) if frame.ridges is not None]
    parts = np.array_split(np.array(painted, dtype=int), min(most, len(painted))) if painted else []
    return [max(spread_rows(part.tolist(), KEY_TRIALS), key=lambda row: striped(frames[row])) for part in parts if len(part)]


def striped(frame: FrameEvidence) -> int:
    """How many points lie on the best few straight stripes of a frame."""
    assert frame.ridges is not None
    return int(find_stripes(frame.ridges.xy_px, frame.ridges.normal_rad, KEY_STRIPES).points.sum())


def single_frame(frame: FrameEvidence, levels: tuple[str, ...], every_other: bool = False) -> list[Hypothesis]:
    """Adjusted and scored cameras of one frame, best first, for a field on which all yard lines or every other one is painted."""
    assert frame.ridges is not None
    size = frame.image_size_px
    ideal = undistort(frame.ridges.xy_px, START_DISTORTION, size)
    dashes = undistort(frame.ridges.dash_xy_px, START_DISTORTION, size)
    stripes = find_stripes(ideal, frame.ridges.normal_rad)
    inner = np.abs(ideal[:, 0] / size[0] - 0.5) < MIDDLE_SHARE
    middle = find_stripes(ideal[inner], frame.ridges.normal_rad[inner])
    solid = joined(stripes, border_edges(frame.ridges, size))
    for by_rows in (False, True):
        guesses = guess_cameras(stripes, middle, solid, dashes, size, levels, every_other=every_other, by_rows=by_rows)
        found = fitted(frame, guesses, solid, dashes, levels, every_other)
        if found or not any(guess.view == "end-zone" for guess in guesses):
            break
    return found


def fitted(frame: FrameEvidence, guesses: Sequence[Guess], solid: Stripes, dashes: Array, levels: tuple[str, ...],
           every_other: bool) -> list[Hypothesis]:
    """The guesses adjusted to the frame's paint, with the rows that fit best, those that have more for them than against them;
    best first. `solid` stripes and `dashes` (M, 2) in ideal px."""
    assert frame.ridges is not None
    size = frame.image_size_px
    placed_well: list[Hypothesis] = []
    for guess in guesses:
        start = Solution(guess.pose[None], guess.centre_yd, START_DISTORTION, size, guess.mark_offset_yd, every_other=every_other)
        if guess.view == "end-zone":
            start = crowned(start, USUAL_CROWN)
        prior = camera_prior(guess.centre_yd)
        solution = refine([frame], [0], start, guess.level, prior, gates_px=FIRST_GATES_PX, rounds=4, per_line=8)
        # The lines have set the pose; the rows, found with a level camera of a guessed focal length, may now stand better.
        based = Based(guess.view, solution.pose[0], float(solution.centre_yd[2]), float(solution.centre_yd[0]), guess.score,
                      solution.crown)
        eye = replace(solution, distortion=START_DISTORTION).eye(0)
        shaped = mark_shaped(frame.ridges.dash_xy_px, frame.ridges.dash_size_px, eye)
        for placed in likely_rows(based, solid, dashes[shaped], size, levels, guess.level):
            moved = replace(solution, centre_yd=placed.centre_yd, mark_offset_yd=placed.mark_offset_yd)
            placed_well.append(Hypothesis(guess.view, placed.level, (0,), moved, support(frame, moved, 0, placed.level).total))
    first = [fit(frame, one, FIT_ROUNDS) for level in levels
             for one in unlike(ranked([h for h in placed_well if h.level == level]))[:FITTED_OF_LEVEL]]
    # Of two cameras that are nearly there it is not yet seen which one will fit.
    nearly = unlike(ranked(first))
    again = [fit(frame, one, FIT_AGAIN_ROUNDS) for one in nearly[:FITTED_AGAIN]]
    return unlike(ranked([one for one in [*again, *nearly] if one.score > 0 and plausible([frame], one.solution)]))


def fit(frame: FrameEvidence, one: Hypothesis, rounds: int) -> Hypothesis:
    """A camera adjusted to the frame's paint and scored by it."""
    prior = camera_prior(one.solution.centre_yd)
    solution = refine([frame], [0], one.solution, one.level, prior, gates_px=LAST_GATES_PX, rounds=rounds, per_line=2 * rounds)
    return replace(one, solution=solution, score=support(frame, solution, 0, one.level).total)


def ranked(found: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Best first."""
    return sorted(found, key=lambda h: -h.score)


def border_edges(ridges: Ridges, size: tuple[int, int]) -> Stripes:
    """Both edges of the broad stripes, in ideal px: the inner one of a border is the sideline."""
    x, y, normal_rad, width_px = ridges.wide.T.astype(np.float64)
    half = 0.5 * width_px[:, None] * np.column_stack([np.cos(normal_rad), np.sin(normal_rad)])
    middle = np.column_stack([x, y])
    edges = undistort(np.concatenate([middle - half, middle + half]), START_DISTORTION, size)
    return find_stripes(edges, np.tile(normal_rad, 2), MOST_EDGES)


def crowned(level: Solution, crown: Crown) -> Solution:
    """A camera that was fitted to level ground, before a field with a crown: the paint, seen from so high above it, is on the
    whole where it was. Yard lines run from the sidelines over the middle, as high as their mean on either side of it."""
    return replace(level, centre_yd=level.centre_yd + np.array([0.0, 0.0, crown.top_yd * MEAN_RISE]), crown=crown)


def unlike(best_first: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Hypotheses without those that repeat a better one of the same level."""
    kept: list[Hypothesis] = []
    for one in best_first:
        if not any(one.level == other.level and same_camera(one, other) for other in kept):
            kept.append(one)
    return kept


def same_camera(one: Hypothesis, other: Hypothesis) -> bool:
    """Whether two hypotheses on the same frames put the picture's points on the same spots, up to whole 5 yd in x."""
    shared = sorted(set(one.rows) & set(other.rows))
    if not shared:
        return False
    for row in {shared[0], shared[-1]}:
        off = one.spots[row] - other.spots[row]
        off = off[np.isfinite(off).all(axis=1)]
        if not len(off):
            return False
        off[:, 0] -= np.round(np.median(off[:, 0]) / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
        if np.median(np.linalg.norm(off, axis=1)) > SAME_CAMERA_YD:
            return False
    return True


def stretched(one: Hypothesis) -> Hypothesis | None:
    """The camera behind an end zone that sees nearly the same picture of a field twice as long, or half as long where every other
    line is painted: about twice as far away, with twice the focal length. Only the marks along the rows tell whether the lines
    are 5 or 10 yd apart. None where there is no such camera."""
    old, times = one.solution, 0.5 if one.solution.every_other else 2.0
    size = old.image_size_px
    u, v = np.meshgrid(np.linspace(0.1, 0.9, 5) * size[0], np.linspace(0.4, 0.95, 5) * size[1])
    px = np.column_stack([u.ravel(), v.ravel()])
    start = old.pose.copy()
    start[:, [PAN, TILT]] = np.arctan(np.tan(start[:, [PAN, TILT]]) / times)
    start[:, LOG_FOCAL] += np.log(times)
    seen = [(row, px[good], spots[good] * [times, 1.0]) for row in range(len(old.pose))
            for spots in [ground(px, *old.eye(row))]
            for good in [np.isfinite(spots).all(axis=1) & (np.abs(spots[:, 0] - old.centre_yd[0]) < SEEN_YD)]]

    if sum(len(at) for _, at, _ in seen) < FEWEST_SEEN:
        return None

    def off(x: Array) -> Array:
        pose = x[:-3].reshape(-1, 4)
        with np.errstate(over="ignore"):
            parts = [project(spots, pose[row], x[-3:], old.distortion, size, old.crown) - at for row, at, spots in seen]
        return np.asarray(np.clip(np.nan_to_num(np.concatenate(parts), nan=size[0]), -FAR_PX, FAR_PX).ravel())

    fitted = least_squares(off, np.concatenate([start.ravel(), old.centre_yd * [times, 1.0, 1.0]]), x_scale="jac", max_nfev=15).x
    solution = replace(old, pose=fitted[:-3].reshape(-1, 4), centre_yd=fitted[-3:], every_other=not old.every_other)
    return replace(one, solution=solution) if possible(solution) else None
