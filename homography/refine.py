"""From a first guess to a camera that fits: measurements gathered under a shrinking gate, adjusted in turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse

from homography.adjust import adjust
from homography.assign import MERGED_SIGMA_YD, SIDELINE, YARD_LINE, Assigned, assign, assign_stripes, thin_out
from homography.evidence import FrameEvidence
from homography.field import LINE_WIDTH_YD, WIDTH_YD
from homography.solution import BORDER, OFFSET, Measurements, Prior, Solution

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
GATES_PX = (18.0, 9.0, 5.0, 3.5)
CAMERA_HEIGHT_YD, CAMERA_HEIGHT_SD_YD = 13.0, 12.0
CENTRE_SD_YD = 60.0
BORDER_FRAMES = 8
SHARED_POINTS = 8.0
FEWEST_WIDTHS = 8
BORDER_GATE_PX = 20.0
WIDE_FROM_YD = 0.4
MARKS_REACH_YD = 0.9
"""With the gap before them, from the sideline: a wider stripe is more than marks."""
ON_ONE_LINE_YD, OUT_SHARE = 0.35, 0.35
NARROW_SHARE = 0.3
BORDER_SD_YD, WIDE_BORDER_SD_YD, MERGED_BORDER_SD_YD = 0.04, 0.1, 0.4
WIDEST_BORDER_YD = 3.0
OTHER_BORDER_YD = 0.3
"""A stripe this much off is looked for in the wrong place."""


def camera_prior(centre_yd: Array, centre_sd_yd: Array | None = None) -> Prior:
    """A loose prior: heights usual for a press box, a lift or a tower; x and y wherever the guess put them."""
    mean = np.array([centre_yd[0], centre_yd[1], CAMERA_HEIGHT_YD])
    if centre_sd_yd is None:
        return Prior(mean, np.array([CENTRE_SD_YD, CENTRE_SD_YD, CAMERA_HEIGHT_SD_YD]))
    return Prior(centre_yd, centre_sd_yd)


def measure(frames: Sequence[FrameEvidence], rows: Sequence[int], solution: Solution, level: str, gate_px: float,
            links: Sequence[tuple[int, int, Array, Array]] = (), per_line: int = 16) -> Measurements:
    """Measurements of `frames[i]`, whose pose is row `rows[i]` of the solution, and of the background `links` (from row, to row,
    before px, after px)."""
    taken: list[Assigned] = []
    owner: list[Any] = []
    for frame, row in zip(frames, rows, strict=True):
        if frame.ridges is None or not np.isfinite(solution.pose[row]).all():
            continue
        found = thin_out(assign(frame.ridges, solution, row, level, gate_px), per_line)
        taken.append(found)
        owner.append(np.full(len(found), row))
    # A wide gate lets wrong points in as well as right ones: their spread sets the scale of the robust kernel.
    slack = max(1.0, gate_px / 4.0)
    empty = np.zeros((0, 2))
    line = np.concatenate([np.zeros((0, 3)), *(found.line for found in taken)])
    slide = np.concatenate([np.zeros((0, 4)), *(found.slide for found in taken)])
    # Lines are handed on as they lie without any slide; of the crown they know nothing.
    line[:, 2] -= slide[:, :2] @ [solution.mark_offset_yd, solution.border_yd]
    return Measurements(
        row=np.concatenate([np.zeros(0, dtype=int), *owner]).astype(int),
        xy_px=np.concatenate([empty, *(found.xy_px for found in taken)]),
        line=line,
        slide=slide,
        sigma_px=slack * np.concatenate([np.zeros(0), *(found.sigma_px for found in taken)]),
        from_row=np.concatenate([np.zeros(0, dtype=int), *(np.full(len(link[2]), link[0]) for link in links)]).astype(int),
        to_row=np.concatenate([np.zeros(0, dtype=int), *(np.full(len(link[2]), link[1]) for link in links)]).astype(int),
        before_px=np.concatenate([empty, *(link[2] for link in links)]).astype(np.float64),
        after_px=np.concatenate([empty, *(link[3] for link in links)]).astype(np.float64),
    )


def refine(frames: Sequence[FrameEvidence], rows: Sequence[int], start: Solution, level: str, prior: Prior,
           links: Sequence[tuple[int, int, Array, Array]] = (), gates_px: Sequence[float] = GATES_PX, rounds: int = 6,
           per_line: int = 16) -> Solution:
    """Adjust a solution to the paint of the frames and to the background links, under each gate in turn."""
    solution = start
    heavy = prior
    for gate in gates_px:
        width, sd = border_width(frames, rows, solution)
        prior = replace(prior, border_yd=width / 2.0, border_sd_yd=sd)
        if sd < MERGED_BORDER_SD_YD and abs(solution.border_yd - width / 2.0) > OTHER_BORDER_YD:
            solution = replace(solution, border_yd=width / 2.0)
        seen = measure(frames, rows, solution, level, gate, links, per_line)
        if len(seen.row) < 12:
            return solution
        heavy = weighted_prior(prior, seen)
        solution = adjust(solution, seen, heavy, rounds)
        if not np.isfinite(solution.pose).all() or solution.centre_yd[2] < 1.0:
            return start
    return solution if solution.normal is None else replace(solution, normal=unweighted(solution.normal, prior, heavy))


def weighted_prior(prior: Prior, seen: Measurements) -> Prior:
    """The prior on where marks and stripes are painted, made as heavy as the measurements of them: these share their errors, so
    many points on one stripe tell little more than a few."""
    marks, stripes = np.maximum(np.abs(seen.slide[:, :2]).sum(axis=0) / SHARED_POINTS, 1.0)
    return replace(prior, mark_offset_sd_yd=prior.mark_offset_sd_yd / float(np.sqrt(marks)),
                   border_sd_yd=prior.border_sd_yd / float(np.sqrt(stripes)))


def unweighted(normal: Any, prior: Prior, heavy: Prior) -> Any:
    """The information matrix as it is with the prior itself: where the paint lies is no better known for being held more
    tightly."""
    excess = np.zeros(normal.shape[0])
    for column, name in ((OFFSET, "mark_offset_sd_yd"), (BORDER, "border_sd_yd")):
        excess[column] = getattr(heavy, name) ** -2.0 - getattr(prior, name) ** -2.0
    return normal - (np.diag(excess) if isinstance(normal, np.ndarray) else sparse.diags(excess))


def border_width(frames: Sequence[FrameEvidence], rows: Sequence[int], solution: Solution) -> tuple[float, float]:
    """Width of the sideline stripes in yards as the picture shows them, where no yard mark touches them, and the standard
    deviation of their middle; a line's width, loosely, where none is clearly seen. The picture's blur is taken from the yard
    lines, whose width is known."""
    lines: list[Array] = []
    sides: list[Array] = []
    painted = [(frame.ridges, row) for frame, row in zip(frames, rows, strict=True)
               if frame.ridges is not None and np.isfinite(solution.pose[row]).all()]
    for ridges, row in painted[:: max(1, len(painted) // BORDER_FRAMES)]:
        found = assign_stripes(ridges, solution, row, BORDER_GATE_PX)
        for kind, parts in ((YARD_LINE, lines), (SIDELINE, sides)):
            mine = found[found.kind == kind]
            parts.append(np.column_stack([mine.width_px, 1.0 / mine.px_per_yd, mine.field_yd[:, 1],
                                          mine.paint_yd == MERGED_SIGMA_YD]))
    line_px, line_slope, _, _ = np.concatenate([np.zeros((0, 4)), *lines]).T
    side_px, slope, y, merged = np.concatenate([np.zeros((0, 4)), *sides]).T
    if min(len(line_px), len(side_px)) < FEWEST_WIDTHS:
        return LINE_WIDTH_YD, MERGED_BORDER_SD_YD
    blur2 = float(np.median(line_px**2 - (LINE_WIDTH_YD / line_slope) ** 2))
    width = np.sqrt(np.maximum(side_px**2 - blur2, 0.0)) * slope
    use = _clear(width, np.abs(y - WIDTH_YD / 2.0) - WIDTH_YD / 2.0, slope, y < WIDTH_YD / 2.0, merged > 0)
    if use.sum() < FEWEST_WIDTHS:
        return LINE_WIDTH_YD, MERGED_BORDER_SD_YD
    middle = _narrow_middle(width[use], slope[use])
    return (middle, WIDE_BORDER_SD_YD) if WIDE_FROM_YD < middle < WIDEST_BORDER_YD else (LINE_WIDTH_YD, BORDER_SD_YD)


def _narrow_middle(width_yd: Array, slope: Array) -> float:
    """A width among those of one stripe, the narrower ones before what has run into it; what is seen large counts more."""
    order = np.argsort(width_yd)
    weight = np.cumsum(slope[order] ** -2.0)
    return float(width_yd[order][np.searchsorted(weight, NARROW_SHARE * weight[-1])])


def _clear(width_yd: Array, out_yd: Array, slope: Array, near: Flags, merged: Flags) -> Flags:
    """(N,) which points of the sidelines tell their stripes' width: those that no yard mark has `merged` with, or so wide that
    marks hardly matter and as far out as such a stripe's middle lies; all on one line. A stripe too wide to be seen as one leaves
    scraps all over it, and narrow ones along its edge: where the other side is wide, both are."""
    far_off = np.abs(out_yd - width_yd / 2.0) > np.maximum(MARKS_REACH_YD / 2.0, OUT_SHARE * width_yd)
    clear: Flags = ~merged | ((width_yd > MARKS_REACH_YD) & ~far_off)
    narrow, wide = np.zeros_like(clear), np.zeros_like(clear)
    for side in (clear & near, clear & ~near):
        if side.sum() >= FEWEST_WIDTHS:
            low, middle, high = np.percentile(out_yd[side], [25, 50, 75])
            if high - low < ON_ONE_LINE_YD:
                side &= np.abs(out_yd - middle) < ON_ONE_LINE_YD
                broad = _narrow_middle(width_yd[side], slope[side]) > MARKS_REACH_YD and far_off[side].mean() < 0.5
                wide, narrow = (wide | side, narrow) if broad else (wide, narrow | side)
    return wide if wide.any() else narrow if narrow.any() else clear & ~merged
