"""A clip registered by a person: some marks of the field clicked in one frame give the camera there, the background's motion
carries it over the clip, and paint and clicks together adjust all frames. Clicks are believed: no residual weighs them down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.assign import YARD_LINE, assign
from homography.clicks import FEWEST, Click, Spots, camera_from_clicks, spots_of
from homography.contest import LEAST_ROWS
from homography.evidence import FrameEvidence, Ridges
from homography.field import LEVELS
from homography.hypotheses import Hypothesis, spread_rows
from homography.refine import GATES_PX, camera_prior, refine
from homography.score import support
from homography.solution import SHARED, Solution
from homography.solve import adjust_all, build_view, check, start_all
from homography.stretches import Stretch, hold_contests, linked_stretches, seconded
from homography.turning import Turning
from homography.types import FieldView

Array = npt.NDArray[np.float64]
PAINT_SIGMAS = 3.3
"""A person who clicks as usual is farther off than this once in two hundred clicks."""
NEAR_FRAMES = 3
TEST_FRAMES = 7


def solve_clicked(evidence: Sequence[FrameEvidence], clicks: Sequence[Click],
                  frame_index: Sequence[int] | npt.NDArray[Any] | None = None, level: str | None = None) -> FieldView:
    """Register a clip by a person's clicks; `evidence` and `frame_index` as in `solve_clip`. The frame with the most clicks, at
    least four, gives the camera; clicks in other frames help. Frames that the camera cannot be carried to are LOST.

    Raises ValueError with one line for clicks that are too few, lie on one line, contradict each other or the paint, or whose
    frame is not among the evidence; and as `solve_clip` does."""
    check(evidence, level, None)
    index = np.array([frame.frame_index for frame in evidence]) if frame_index is None else np.asarray(frame_index, dtype=int)
    row_of = {frame.frame_index: row for row, frame in enumerate(evidence)}
    main = main_frame(clicks)
    if main not in row_of:
        raise ValueError(f"frame {main}: clicked, but not among the {len(evidence)} frames of the clip")
    found = _settled_best(evidence, row_of[main], clicks, level)
    seen = [*evidence[:found.rows.start], *found.frames, *evidence[found.rows.stop:]]
    stretches = hold_contests(evidence, found.winner.level, Stretch(found.rows, found.turning, found.winner, ""))
    fitting = [one for stretch in stretches if (one := seconded(evidence, stretch, found.winner)).winner is not None]
    start, rows = start_all(fitting, found.winner)
    place = {evidence[row].frame_index: i for i, row in enumerate(rows)}
    spots = spots_of(clicks, found.winner.level, place, evidence[0].image_size_px[0])
    solution = adjust_all(seen, rows, start, found.winner.level, spots)
    check_paint(solution, spots, [one for one in clicks if one.frame_index in place])
    view = build_view(seen, rows, solution, found.winner, index, evidence[0].image_size_px, "")
    known_level = level or (found.winner.level if found.rows_seen or any(one.mark.row == "hash" for one in clicks) else None)
    return replace(view, level=known_level, yard_line_known=not any(one.mark.counted for one in clicks))


def check_clicks(clicks: Sequence[Click], image_size_px: tuple[int, int], level: str | None = None) -> None:
    """Raises ValueError with one line unless the clicks give a camera on a field of this level, of any if it is not known. The
    film may still contradict them."""
    main = main_frame(clicks)
    mine, refusals = [one for one in clicks if one.frame_index == main], []
    for name in LEVELS if level is None else (level,):
        try:
            camera_from_clicks(mine, image_size_px, name)
            return
        except ValueError as refusal:
            refusals.append(refusal)
    raise refusals[0]


def main_frame(clicks: Sequence[Click]) -> int:
    """The frame with the most clicks. Raises ValueError where there is none."""
    if not clicks:
        raise ValueError(f"no marks were clicked: at least {FEWEST} in one frame are needed")
    frames = [one.frame_index for one in clicks]
    return max(sorted(set(frames)), key=frames.count)


def check_paint(solution: Solution, spots: Spots, clicks: Sequence[Click]) -> None:
    """Raises ValueError with one line where the film's lines, once all frames are adjusted, leave a click far behind."""
    off = spots(solution, 4 * len(solution.pose) + SHARED).residual.reshape(-1, 2)
    misses = np.hypot(off[:, 0], off[:, 1])
    worst = int(np.argmax(misses))
    if misses[worst] > PAINT_SIGMAS:
        raise ValueError(f"the clicks and the painted lines contradict each other: {clicks[worst].mark.words!r} lies "
                         f"{misses[worst] * spots.sigma_px:.0f} px from where the lines put it; check the marks")


@dataclass(frozen=True)
class _Settled:
    """The stretch of the clicked frame (`rows` of the clip), its frames, those paint rows left out that it does not show
    (`rows_seen` False), and its camera on the level of field whose paint fits best."""

    rows: range
    frames: list[FrameEvidence]
    turning: Turning
    winner: Hypothesis
    rows_seen: bool


def _settled_best(evidence: Sequence[FrameEvidence], at: int, clicks: Sequence[Click], level: str | None) -> _Settled:
    rows = next(rows for rows in linked_stretches(evidence) if at in rows)
    frames = [evidence[row] for row in rows]
    turning = Turning(frames)
    mine = [one for one in clicks if one.frame_index == evidence[at].frame_index]
    found, refusals = [], []
    for name in LEVELS if level is None else (level,):
        try:
            camera = camera_from_clicks(mine, frames[0].image_size_px, name)
        except ValueError as refusal:
            refusals.append(refusal)
            continue
        winner, painted = _settled(frames, turning, at - rows.start, camera, clicks, name)
        seen = painted >= LEAST_ROWS
        kept = frames
        if not seen:
            kept = _without_rows(frames, turning.poses(at - rows.start, camera.pose[0], camera.distortion), camera)
            winner, _ = _settled(kept, turning, at - rows.start, camera, clicks, name)
        found.append(_Settled(rows, kept, turning, winner, seen))
    if not found:
        raise refusals[0]
    return max(found, key=lambda one: (one.rows_seen, one.winner.score))


def _settled(frames: Sequence[FrameEvidence], turning: Turning, at: int, camera: Solution, clicks: Sequence[Click],
             level: str) -> tuple[Hypothesis, float]:
    """The clicked camera adjusted to paint, first about its frame, then over the stretch, scored by paint and clicks; and the
    gain of the rows (hash marks and sidelines) alone."""
    painted = [row for row, frame in enumerate(frames) if frame.ridges is not None]
    near = sorted(painted, key=lambda row: abs(row - at))[:NEAR_FRAMES]
    solution, rows = camera, [at]
    for chosen in (near, spread_rows(painted, TEST_FRAMES)):
        poses = turning.poses(at, solution.pose[rows.index(at)], solution.distortion)
        rows = sorted(row for row in {at, *chosen} if np.isfinite(poses[row]).all())
        taken = [frames[row] for row in rows]
        spots = spots_of(clicks, level, {frame.frame_index: i for i, frame in enumerate(taken)}, frames[0].image_size_px[0])
        prior = replace(camera_prior(solution.centre_yd), known=spots)
        solution = refine(taken, range(len(taken)), replace(solution, pose=poses[rows]), level, prior, gates_px=GATES_PX)
    scores = [support(frames[row], solution, i, level) for i, row in enumerate(rows) if frames[row].ridges is not None]
    misses = spots(solution, 4 * len(rows) + SHARED).residual
    score = float(np.mean([one.total + one.rows for one in scores])) if scores else 0.0
    gain = float(np.mean([one.rows for one in scores])) if scores else 0.0
    return Hypothesis(clicks[0].mark.view, level, tuple(rows), solution, score - 0.5 * float((misses**2).sum())), gain


def _without_rows(frames: Sequence[FrameEvidence], poses: Array, camera: Solution) -> list[FrameEvidence]:
    """The frames with nothing but what lies on yard lines. Where neither hash marks nor sidelines are to be seen, whatever looks
    like them is turf."""
    out = []
    for frame, pose in zip(frames, poses, strict=True):
        ridges = frame.ridges
        if ridges is not None:
            lined = set()
            if np.isfinite(pose).all():
                found = assign(ridges, replace(camera, pose=pose[None]), 0, "college", GATES_PX[0])
                lined = set(map(tuple, found.xy_px[found.kind == YARD_LINE].tolist()))
            keep = np.array([tuple(xy) in lined for xy in ridges.xy_px.astype(float).tolist()], dtype=bool)
            ridges = Ridges(ridges.xy_px[keep], ridges.normal_rad[keep], ridges.width_px[keep], ridges.contrast[keep],
                            ridges.dash_xy_px[:0], ridges.dash_size_px[:0], ridges.wide[:0])
        out.append(replace(frame, ridges=ridges))
    return out

