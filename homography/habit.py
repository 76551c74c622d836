"""How the hash marks are painted: with an end or with their middle on the inbounds line.

The least-squares cost cannot tell: a wrong habit shifts the camera until the marks fit, and what no longer fits falls out of the
gate. The marks' own gain can, as it pays for every mark that should be seen and is not, and the bars on the yard lines stand on
the inbounds line whatever the habit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from homography.evidence import FrameEvidence
from homography.refine import camera_prior, refine
from homography.score import rows_gain
from homography.solution import Solution

MARK_OFFSETS_YD = (-1 / 3, 0.0, 1 / 3)
PAINT_SD_YD, UNSURE_SD_YD = 0.04, 0.12
GATES_PX = (12.0, 4.0)
LEAD = 3.0


def mark_habit(frames: Sequence[FrameEvidence], solution: Solution, level: str) -> tuple[float, float]:
    """Mean and standard deviation of the mark offset in yards, from painted frames and their poses, row by row: the habit whose
    camera finds the most marks, taken more loosely where its lead is small."""
    prior = camera_prior(solution.centre_yd)
    gains = []
    for offset in MARK_OFFSETS_YD:
        held = replace(prior, mark_offset_yd=offset, mark_offset_sd_yd=PAINT_SD_YD)
        start = replace(solution, mark_offset_yd=offset)
        tried = refine(frames, range(len(frames)), start, level, held, gates_px=GATES_PX)
        gains.append(float(np.mean([rows_gain(frame, tried, row, level) for row, frame in enumerate(frames)])))
    second, best = np.sort(gains)[-2:]
    return MARK_OFFSETS_YD[int(np.argmax(gains))], PAINT_SD_YD if best - second > LEAD else UNSURE_SD_YD
