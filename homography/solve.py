"""One clip's registration: where the camera stood, and for each frame where it looked.

The clip is cut into stretches whose frames are linked by the background's motion. Each stretch holds a contest of cameras
(`hypotheses`); then all frames of all stretches are adjusted at once with one camera centre and one distortion, each frame
getting its `sigma_yd` out of the same least-squares problem.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.adjust import Part, Solution
from homography.assign import YARD_LINE, assign
from homography.camera import TILT
from homography.evidence import FrameEvidence
from homography.field import LEVELS, YARD_LINE_SPACING_YD
from homography.habit import mark_habit
from homography.hypotheses import Hypothesis, contest, same_camera, spread_rows
from homography.refine import camera_prior, refine
from homography.score import support
from homography.turning import Turning
from homography.types import CARRIED, LOST, SOLVED, CameraPath, FieldView
from homography.uncertainty import sigmas
from homography.view import lost_view, plane_fits

Array = npt.NDArray[np.float64]
LOST_SIGMA_YD = 1.5
FULL_GATES_PX = (7.0, 3.5)
FULL_PER_LINE = 9
LINK_POINTS = 16
HABIT_FRAMES = 6
LEAST_LINES = 3.0
LEAST_COVER = 0.18
LEAST_SCORE = 60.0
LEAST_ROWS = 12.0
LEAST_LEAD = 0.01
NEAR_PAINT_FRAMES = 6
POINTS_ON_LINE = 6
SAME_CENTRE_YD, NEARLY_SAME_CENTRE_YD = 6.0, 2.5
HELD_CENTRE_SD_YD = 0.05
SECONDED_GATES_PX = (25.0, 12.0, 5.0)


@dataclass(frozen=True)
class Stretch:
    """Consecutive frames linked by motion: their rows in the clip's evidence, the camera that won there, if any, and the reason
    why there is none. `ranked` holds all that were tried, best first."""

    rows: range
    turning: Turning
    winner: Hypothesis | None
    reason: str
    ranked: tuple[Hypothesis, ...] = ()


def solve_clip(evidence: Sequence[FrameEvidence], frame_index: Sequence[int] | npt.NDArray[Any] | None = None,
               time_s: npt.NDArray[Any] | None = None, image_size_px: tuple[int, int] | None = None,
               level: str | None = None) -> FieldView:
    """Register a clip. `evidence` of its frames in order (all, or every n-th), `frame_index` and `time_s` (F,) of the frames
    wanted (those of the evidence if left out; frames between are interpolated), `level` if it is known.

    Never raises for want of a field: frames that cannot be registered are LOST, with the reason. Raises ValueError for an
    unknown level, or evidence that is empty, out of order or of changing size."""
    check(evidence, level, image_size_px)
    index = np.array([frame.frame_index for frame in evidence]) if frame_index is None else np.asarray(frame_index, dtype=int)
    return register(evidence, [hold_contest(evidence, rows, level) for rows in linked_stretches(evidence)], index)


def solve_or_guess(evidence: Sequence[FrameEvidence], level: str | None = None) -> tuple[FieldView, FieldView | None]:
    """As `solve_clip`; where the paint leaves the whole clip in doubt also its likeliest registration, for a caller who can
    confirm it by something else."""
    check(evidence, level, None)
    index = np.array([frame.frame_index for frame in evidence])
    stretches = [hold_contest(evidence, rows, level) for rows in linked_stretches(evidence)]
    view = register(evidence, stretches, index)
    if view.solved_share:
        return view, None
    return view, register(evidence, [replace(one, winner=next(iter(one.ranked), None)) for one in stretches], index)


def register(evidence: Sequence[FrameEvidence], stretches: Sequence[Stretch], index: npt.NDArray[Any]) -> FieldView:
    """One registration out of the stretches' winners, for the frames `index`."""
    size = evidence[0].image_size_px
    won = [stretch for stretch in stretches if stretch.winner is not None]
    if not won:
        longest = max(stretches, key=lambda s: len(s.rows))
        return lost_view(index, size, longest.reason)
    main = max(won, key=lambda s: s.winner.score * len(s.rows))  # type: ignore[union-attr]
    assert main.winner is not None
    fitting = [s for one in stretches if (s := one if one is main else seconded(evidence, one, main.winner)).winner is not None]
    solution, rows = start_all(fitting, main.winner)
    solution = adjust_all(evidence, rows, solution, main.winner.level)
    solution = settle_x(solution, main.winner.view)
    reasons = {s.reason for s in stretches if s.rows not in [one.rows for one in fitting] and s.reason}
    return build_view(evidence, rows, solution, main.winner, index, size, "; ".join(sorted(reasons)))


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


def linked_stretches(evidence: Sequence[FrameEvidence]) -> list[range]:
    """Runs of frames in which each is linked to the one before."""
    starts = [row for row, frame in enumerate(evidence)
              if row == 0 or frame.before_index != evidence[row - 1].frame_index or not len(frame.before_px)]
    return [range(a, b) for a, b in zip(starts, [*starts[1:], len(evidence)], strict=True)]


def hold_contest(evidence: Sequence[FrameEvidence], rows: range, level: str | None) -> Stretch:
    """Find the camera of one stretch, or the reason why there is none."""
    frames = [evidence[row] for row in rows]
    turning = Turning(frames)
    ranked = contest(frames, turning, level)
    if not ranked:
        return Stretch(rows, turning, None, "no set of yard lines was found")
    best = ranked[0]
    reason = doubt(frames, best, ranked[1:])
    return Stretch(rows, turning, None if reason else best, reason, tuple(ranked))


def doubt(frames: Sequence[FrameEvidence], best: Hypothesis, others: Sequence[Hypothesis]) -> str:
    """Why the best camera is not to be trusted; empty if it is."""
    solution = best.solution
    scores = [support(frames[row], solution, i, best.level) for i, row in enumerate(best.rows)]
    if np.mean([s.yard_lines for s in scores]) < LEAST_LINES or np.mean([s.covered for s in scores]) < LEAST_COVER \
            or best.score < LEAST_SCORE:
        return "too few lines fit a football field"
    if np.mean([s.rows for s in scores]) < LEAST_ROWS:
        return "neither hash marks nor sidelines were found, so the distance across the field is unknown"
    rival = next((other for other in others if not same_camera(best, other)), None)
    if rival is not None and best.score - rival.score < LEAST_LEAD * best.score:
        return "two different cameras explain the lines about equally well"
    return ""


def seconded(evidence: Sequence[FrameEvidence], stretch: Stretch, main: Hypothesis) -> Stretch:
    """The stretch as seen from where the clip's main camera stands: what its own paint leaves in doubt the rest of the clip
    settles. Without a winner if none of its cameras stands there."""
    if stretch.winner is not None and agrees(stretch.winner, main):
        return stretch
    one = next((one for one in stretch.ranked if agrees(one, main, NEARLY_SAME_CENTRE_YD)), None)
    if one is None:
        return replace(stretch, winner=None)
    shift = one.solution.centre_yd[0] - main.solution.centre_yd[0]
    step = np.array([np.round(shift / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD, 0.0, 0.0])
    moved = replace(main.solution, pose=one.solution.pose, centre_yd=main.solution.centre_yd + step)
    frames = [evidence[stretch.rows[row]] for row in one.rows]
    held = camera_prior(moved.centre_yd, np.full(3, HELD_CENTRE_SD_YD))
    fitted = refine(frames, range(len(frames)), moved, main.level, held, gates_px=SECONDED_GATES_PX)
    return replace(stretch, winner=replace(one, solution=fitted))


def agrees(one: Hypothesis, main: Hypothesis, within_yd: float = SAME_CENTRE_YD) -> bool:
    """Whether two stretches were seen from one place (x is free by whole 5 yd)."""
    if one.view != main.view or one.level != main.level:
        return False
    off = one.solution.centre_yd - main.solution.centre_yd
    off[0] -= np.round(off[0] / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
    return bool(np.abs(off).max() < within_yd)


def start_all(stretches: Sequence[Stretch], main: Hypothesis) -> tuple[Solution, list[int]]:
    """A solution that holds all frames of the stretches, each carried from the nearest adjusted frame, and their rows."""
    poses, rows = [], []
    for stretch in stretches:
        assert stretch.winner is not None
        anchors = np.array(stretch.winner.rows)
        carried = {row: stretch.turning.poses(row, stretch.winner.solution.pose[i], stretch.winner.solution.distortion)
                   for i, row in enumerate(stretch.winner.rows)}
        for row in range(len(stretch.rows)):
            nearest = int(anchors[np.abs(anchors - row).argmin()])
            pose = carried[nearest][row]
            if np.isfinite(pose).all():
                poses.append(pose)
                rows.append(stretch.rows[row])
    order = np.argsort(rows)
    return replace(main.solution, pose=np.array(poses)[order]), [rows[i] for i in order]


def adjust_all(evidence: Sequence[FrameEvidence], rows: Sequence[int], start: Solution, level: str,
               known: Callable[[Solution, int], Part] | None = None) -> Solution:
    """The final adjustment of all frames, paint and motion together, and what is `known` besides (see `Prior`)."""
    place = {row: i for i, row in enumerate(rows)}
    links = []
    for row in rows:
        frame = evidence[row]
        if row - 1 in place and len(frame.before_px) and frame.before_index == evidence[row - 1].frame_index:
            some = slice(None, LINK_POINTS)
            links.append((place[row - 1], place[row], frame.before_px[some].astype(float), frame.after_px[some].astype(float)))
    frames = [evidence[row] for row in rows]
    some_rows = spread_rows([row for row, frame in enumerate(frames) if frame.ridges is not None], HABIT_FRAMES)
    mean, sd = mark_habit([frames[row] for row in some_rows], replace(start, pose=start.pose[some_rows]), level)
    prior = replace(camera_prior(start.centre_yd), mark_offset_yd=mean, mark_offset_sd_yd=sd, known=known)
    start = replace(start, mark_offset_yd=mean)
    return refine(frames, range(len(frames)), start, level, prior, links, FULL_GATES_PX, 4, FULL_PER_LINE)


def settle_x(solution: Solution, view: str) -> Solution:
    """Choose among the equally good x: a sideline camera about midfield, an end-zone camera behind the end line."""
    wanted = 60.0 if view == "sideline" else -15.0
    shift = np.round((wanted - solution.centre_yd[0]) / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
    return replace(solution, centre_yd=solution.centre_yd + np.array([shift, 0.0, 0.0]))


def lines_seen(frame: FrameEvidence, solution: Solution, row: int, level: str) -> int:
    """How many yard lines of one frame have paint where the camera puts them."""
    if frame.ridges is None:
        return 0
    found = assign(frame.ridges, solution, row, level, FULL_GATES_PX[-1])
    return int((np.unique(found.line[found.kind == YARD_LINE, 2], return_counts=True)[1] >= POINTS_ON_LINE).sum())


def build_view(evidence: Sequence[FrameEvidence], rows: Sequence[int], solution: Solution, winner: Hypothesis,
               index: npt.NDArray[Any], size: tuple[int, int], reason: str) -> FieldView:
    """Put frames, statuses and sigmas together; frames that were not observed lie between their neighbours."""
    observed = np.array([evidence[row].frame_index for row in rows])
    sigma = sigmas(solution)
    seen = np.array([lines_seen(evidence[row], solution, i, winner.level) >= 2 for i, row in enumerate(rows)])
    painted = observed[seen]
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
    return CameraPath(solution.centre_yd, pose[:, 0], pose[:, TILT], pose[:, 2], np.exp(pose[:, 3]), solution.distortion)
