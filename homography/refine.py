"""From a first guess to a camera that fits: measurements gathered under a shrinking gate, adjusted in turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.adjust import Measurements, Prior, Solution, adjust
from homography.assign import FINE_GATE_PX, SIDELINE, Assigned, assign, thin_out
from homography.camera import ground
from homography.evidence import FrameEvidence
from homography.field import LINE_WIDTH_YD

Array = npt.NDArray[np.float64]
GATES_PX = (18.0, 9.0, 5.0, 3.5)
CAMERA_HEIGHT_YD, CAMERA_HEIGHT_SD_YD = 13.0, 12.0
CENTRE_SD_YD = 60.0
BORDER_FRAMES = 8
MARK_OFFSETS_YD = (-1 / 3, 0.0, 1 / 3)
PAINT_SD_YD = 0.04
HABIT_GATE_PX = 5.0
HABIT_ROUNDS = 5
HABIT_LEAD = 3.0
FEWEST_WIDTHS = 8
BLUR_PX = 1.8
WIDEST_BORDER_YD = 3.0


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
    return Measurements(
        row=np.concatenate([np.zeros(0, dtype=int), *owner]).astype(int),
        xy_px=np.concatenate([empty, *(found.xy_px for found in taken)]),
        line=np.concatenate([np.zeros((0, 3)), *(found.line for found in taken)]),
        slide=np.concatenate([np.zeros(0), *(found.slide for found in taken)]),
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
    for gate in gates_px:
        if gate <= FINE_GATE_PX:
            solution = replace(solution, border_yd=border_width(frames, rows, solution, level, gate) / 2.0)
        seen = measure(frames, rows, solution, level, gate, links, per_line)
        if len(seen.row) < 12:
            return solution
        solution = adjust(solution, seen, prior, rounds)
        if not np.isfinite(solution.pose).all() or solution.centre_yd[2] < 1.0:
            return start
    return solution


def mark_habit(frames: Sequence[FrameEvidence], rows: Sequence[int], solution: Solution, level: str) -> tuple[float, float]:
    """Mean and standard deviation of the mark offset: marks stand with an end or with their middle on the inbounds line. Where one
    of these three habits explains the frames clearly better, it is taken; else the offset stays free."""
    seen = measure(frames, rows, solution, level, HABIT_GATE_PX)
    prior = camera_prior(solution.centre_yd)
    costs = []
    for offset in MARK_OFFSETS_YD:
        held = replace(prior, mark_offset_yd=offset, mark_offset_sd_yd=PAINT_SD_YD)
        costs.append(adjust(solution, seen, held, HABIT_ROUNDS).cost)
    best, second = np.sort(costs)[:2]
    if second - best < HABIT_LEAD:
        return 0.0, prior.mark_offset_sd_yd
    return MARK_OFFSETS_YD[int(np.argmin(costs))], PAINT_SD_YD


def border_width(frames: Sequence[FrameEvidence], rows: Sequence[int], solution: Solution, level: str, gate_px: float) -> float:
    """Width of the sideline stripes in yards as the picture shows them, a line's width where none is seen."""
    widths = []
    for frame, row in list(zip(frames, rows, strict=True))[:: max(1, len(frames) // BORDER_FRAMES)]:
        if frame.ridges is None or not np.isfinite(solution.pose[row]).all():
            continue
        found = assign(frame.ridges, solution, row, level, gate_px)
        found = found[found.kind == SIDELINE]
        spot = found.field_yd
        side = ground([*found.xy_px, 0.0, 1.0], solution.pose[row], solution.centre_yd, solution.distortion, frame.image_size_px)
        across = ground([*found.xy_px, 1.0, 0.0], solution.pose[row], solution.centre_yd, solution.distortion, frame.image_size_px)
        yd_per_px = np.hypot(side[:, 1] - spot[:, 1], across[:, 1] - spot[:, 1])
        # Blur widens what is thinner than about two pixels.
        widths.append(np.sqrt(np.maximum(found.width_px**2 - BLUR_PX**2, 0.25)) * yd_per_px)
    every = np.concatenate(widths) if widths else np.zeros(0)
    if len(every) < FEWEST_WIDTHS:
        return LINE_WIDTH_YD
    return float(np.clip(np.nanmedian(every), LINE_WIDTH_YD, WIDEST_BORDER_YD))
