"""One clip's registration: where the camera stood, and for each frame where it looked.

The camera of each stretch of linked frames is found first (`stretches`); then all frames of all stretches are adjusted at once
with one camera centre and one distortion, each frame getting its `sigma_yd` out of the same least-squares problem.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.assign import YARD_LINE, assign_stripes
from homography.camera import TILT
from homography.crown import BULGE_SD_YD
from homography.evidence import FrameEvidence
from homography.field import LEVELS, YARD_LINE_SPACING_YD
from homography.habit import mark_habit
from homography.hypotheses import Hypothesis, spread_rows
from homography.refine import camera_prior, refine
from homography.score import both_sidelines, hash_gain, support
from homography.solution import Part, Solution
from homography.stretches import Stretch, hold_contests, seconded
from homography.tears import mended, tears
from homography.types import CARRIED, LOST, SOLVED, CameraPath, FieldView
from homography.uncertainty import filled, misfit_px, sigmas
from homography.view import lost_view, plane_fits

Array = npt.NDArray[np.float64]
LOST_SIGMA_YD = 1.5
FULL_GATES_PX = (7.0, 3.5)
FULL_PER_LINE = 9
LINK_POINTS = 16
HABIT_FRAMES = 6
LOW_CAMERA_YD = 4.0
LEAST_MARKS, LEAST_BARE_LINES = 8.0, 5.0
"""Mean gain of the hash marks in a frame: without marks about 0, with any that are seen 15 and more."""
NEAR_PAINT_FRAMES = 10
POINTS_ON_LINE = 6


def solve_clip(evidence: Sequence[FrameEvidence], frame_index: Sequence[int] | npt.NDArray[Any] | None = None,
               time_s: npt.NDArray[Any] | None = None, image_size_px: tuple[int, int] | None = None,
               level: str | None = None) -> FieldView:
    """Register a clip. `evidence` of its frames in order (all, or every n-th), `frame_index` and `time_s` (F,) of the frames
    wanted (those of the evidence if left out; frames between are interpolated), `level` if it is known.

    Never raises for want of a field: frames that cannot be registered are LOST, with the reason. Raises ValueError for an
    unknown level, or evidence that is empty, out of order or of changing size."""
    check(evidence, level, image_size_px)
    index = np.array([frame.frame_index for frame in evidence]) if frame_index is None else np.asarray(frame_index, dtype=int)
    return register(evidence, hold_contests(evidence, level), index, level)


def solve_or_guess(evidence: Sequence[FrameEvidence], level: str | None = None) -> tuple[FieldView, FieldView | None]:
    """As `solve_clip`; where the paint leaves the whole clip in doubt also its likeliest registration, for a caller who can
    confirm it by something else."""
    check(evidence, level, None)
    index = np.array([frame.frame_index for frame in evidence])
    stretches = hold_contests(evidence, level)
    view = register(evidence, stretches, index, level)
    if view.solved_share:
        return view, None
    likeliest = [replace(one, winner=next(iter(one.ranked), None)) for one in stretches]
    guess = register(evidence, likeliest, index, level)
    return view, guess if guess.solved_share else None


def register(evidence: Sequence[FrameEvidence], stretches: Sequence[Stretch], index: npt.NDArray[Any],
             level: str | None) -> FieldView:
    """One registration out of the stretches' winners, for the frames `index`. Where no hash marks are seen, the level of field
    stays unknown unless `level` tells it."""
    size = evidence[0].image_size_px
    won = [stretch for stretch in stretches if stretch.winner is not None]
    if not won:
        longest = max(stretches, key=lambda s: len(s.rows))
        return lost_view(index, size, longest.reason)
    main = max(won, key=lambda s: s.winner.score * len(s.rows))  # type: ignore[union-attr]
    assert main.winner is not None
    fitting = [s for one in stretches if (s := one if one is main else seconded(evidence, one, main.winner)).winner is not None]
    solution, rows = start_all(fitting, main.winner)
    solution = adjust_all(evidence, rows, solution, main.winner.level, habit=main.winner.habit)
    solution = untorn(evidence, rows, solution, main.winner)
    solution = settle_x(solution, main.winner.view)
    left_out = [s for s in stretches if s.rows not in [one.rows for one in fitting]]
    reasons = {s.reason or "a part is filmed from another place" for s in left_out if s.reason or s.winner is not None}
    view = build_view(evidence, rows, solution, main.winner, index, size, "; ".join(sorted(reasons)))
    painted = spread_rows([i for i, row in enumerate(rows) if evidence[row].ridges is not None], HABIT_FRAMES)
    marks = np.mean([hash_gain(evidence[rows[i]], solution, i, main.winner.level) for i in painted]) if painted else 0.0
    if marks > LEAST_MARKS:
        return view
    if solution.centre_yd[2] < LOW_CAMERA_YD:
        return lost_view(index, size, "no hash marks were found, so from so low down the distance across the field is unknown")
    lines = np.mean([support(evidence[rows[i]], solution, i, main.winner.level).yard_lines for i in painted]) if painted else 0.0
    if lines < LEAST_BARE_LINES:
        return lost_view(index, size, "no hash marks were found, and too few yard lines to know a football field by")
    # Without motion one stripe beside the field, a shadow's edge too, is any sideline.
    if len(evidence) == 1 and not both_sidelines(evidence[rows[0]], solution, 0):
        return lost_view(index, size, "no hash marks were found, and a single picture without them has to show both sidelines")
    return replace(view, level=level)


def check(evidence: Sequence[FrameEvidence], level: str | None, image_size_px: tuple[int, int] | None) -> None:
    """Refuse what no clip can be."""
    if level is not None and level not in LEVELS:
        raise ValueError(f"level: {level!r}, wanted one of {', '.join(LEVELS)}")
    if not len(evidence):
        raise ValueError("field registration: no frames were observed")
    order = [frame.frame_index for frame in evidence]
    if any(b <= a for a, b in itertools.pairwise(order)):
        raise ValueError("field registration: frames must come in order, each once")
    if len({frame.image_size_px for frame in evidence} | ({tuple(image_size_px)} if image_size_px else set())) > 1:
        raise ValueError("field registration: the picture's size changes within the clip")


def start_all(stretches: Sequence[Stretch], main: Hypothesis) -> tuple[Solution, list[int]]:
    """A solution that holds all frames of the stretches, each carried from the nearest adjusted frame, and their rows."""
    poses, rows = [], []
    for stretch in stretches:
        assert stretch.winner is not None
        anchors = np.array(stretch.winner.rows)
        carried = stretch.turning.carried(stretch.winner.rows, stretch.winner.solution.pose, stretch.winner.solution.distortion)
        for row in range(len(stretch.rows)):
            nearest = int(anchors[np.abs(anchors - row).argmin()])
            pose = carried[nearest][row]
            if np.isfinite(pose).all():
                poses.append(pose)
                rows.append(stretch.rows[row])
    order = np.argsort(rows)
    return replace(main.solution, pose=np.array(poses)[order]), [rows[i] for i in order]


def adjust_all(evidence: Sequence[FrameEvidence], rows: Sequence[int], start: Solution, level: str,
               known: Callable[[Solution, int], Part] | None = None, habit: tuple[float, float] | None = None) -> Solution:
    """The final adjustment of all frames, paint and motion together, and what is `known` besides (see `Prior`); `habit` is how
    the marks are painted, if that was asked already."""
    place = {row: i for i, row in enumerate(rows)}
    links = []
    for row in rows:
        frame = evidence[row]
        if row - 1 in place and frame.follows(evidence[row - 1]):
            some = slice(None, LINK_POINTS)
            links.append((place[row - 1], place[row], frame.before_px[some].astype(float), frame.after_px[some].astype(float)))
    frames = [evidence[row] for row in rows]
    some_rows = spread_rows([row for row, frame in enumerate(frames) if frame.ridges is not None], HABIT_FRAMES)
    mean, sd = habit or mark_habit([frames[row] for row in some_rows], replace(start, pose=start.pose[some_rows]), level)
    prior = replace(camera_prior(start.centre_yd), mark_offset_yd=mean, mark_offset_sd_yd=sd, bulge_sd_yd=BULGE_SD_YD,
                    known=known)
    start = replace(start, mark_offset_yd=mean)
    return refine(frames, range(len(frames)), start, level, prior, links, FULL_GATES_PX, 4, FULL_PER_LINE)


def untorn(evidence: Sequence[FrameEvidence], rows: Sequence[int], solution: Solution, winner: Hypothesis) -> Solution:
    """The solution, begun anew from its longest part if neighbouring frames were torn apart, where that explains the paint as
    well."""
    frames = [evidence[row] for row in rows]
    torn = tears(frames, solution)
    if not len(torn):
        return solution
    again = adjust_all(evidence, rows, mended(frames, solution, torn), winner.level, habit=winner.habit)
    return again if again.cost <= solution.cost and len(tears(frames, again)) < len(torn) else solution


def settle_x(solution: Solution, view: str) -> Solution:
    """Choose among the equally good x: a sideline camera about midfield, an end-zone camera behind the end line."""
    wanted = 60.0 if view == "sideline" else -15.0
    shift = np.round((wanted - solution.centre_yd[0]) / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
    return replace(solution, centre_yd=solution.centre_yd + np.array([shift, 0.0, 0.0]))


def lines_seen(frame: FrameEvidence, solution: Solution, row: int) -> tuple[int, float]:
    """How many yard lines of one frame have paint where the camera puts them, and how far off it is on the whole (see
    `misfit_px`); NaN for a frame whose paint was not looked at."""
    if frame.ridges is None:
        return 0, np.nan
    found = assign_stripes(frame.ridges, solution, row, FULL_GATES_PX[-1])
    found = found[found.kind == YARD_LINE]
    return int((np.unique(found.line[:, 2], return_counts=True)[1] >= POINTS_ON_LINE).sum()), misfit_px(found)


def build_view(evidence: Sequence[FrameEvidence], rows: Sequence[int], solution: Solution, winner: Hypothesis,
               index: npt.NDArray[Any], size: tuple[int, int], reason: str) -> FieldView:
    """Put frames, statuses and sigmas together; frames that were not observed lie between their neighbours."""
    observed = np.array([evidence[row].frame_index for row in rows])
    lines, misfit = np.array([lines_seen(evidence[row], solution, i) for i, row in enumerate(rows)]).T
    sigma = sigmas(solution, filled(misfit))
    painted = observed[lines >= 2]
    pose = np.full((len(index), 4), np.nan)
    out_sigma = np.full(len(index), np.nan)
    status = np.full(len(index), LOST)
    stride = max(1, int(np.median(np.diff([frame.frame_index for frame in evidence])))) if len(evidence) > 1 else 1
    for i, frame in enumerate(index):
        after = int(np.searchsorted(observed, frame))
        before = after if after < len(observed) and observed[after] == frame else after - 1
        if before < 0 or after >= len(observed) or observed[after] - observed[before] > 2 * stride:
            continue
        share = 0.0 if before == after else (frame - observed[before]) / (observed[after] - observed[before])
        pose[i] = (1 - share) * solution.pose[before] + share * solution.pose[after]
        out_sigma[i] = max(sigma[before], sigma[after])
        if out_sigma[i] < LOST_SIGMA_YD:
            near = len(painted) and np.abs(painted - frame).min() <= NEAR_PAINT_FRAMES
            status[i] = SOLVED if near else CARRIED
    plane = plane_fits(camera_path(solution, pose), size)
    # A camera whose picture shows hardly any ground has a pose but no plane.
    lost = (status == LOST) | ~np.isfinite(plane).all(axis=(1, 2))
    status[lost], pose[lost], out_sigma[lost], plane[lost] = LOST, np.nan, np.nan, np.nan
    if lost.any() and not reason:
        reason = "no linked frame with visible lines is near enough"
    return FieldView(index, plane, out_sigma, status, winner.view, winner.level, False, camera_path(solution, pose), size,
                     reason if lost.any() else "")


def camera_path(solution: Solution, pose: Array) -> CameraPath:
    """The camera of the wanted frames' poses (F, 4)."""
    return CameraPath(solution.centre_yd, pose[:, 0], pose[:, TILT], pose[:, 2], np.exp(pose[:, 3]), solution.distortion,
                      *solution.crown)
