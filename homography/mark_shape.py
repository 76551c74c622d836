"""Which bright specks are as large as a hash mark would be there: 24 in. by 4 in. (NFHS 1-2, NCAA 1-2, NFL 1-2), lying across
the field, or along it where a yard line is crossed. Scraps of lines, numbers, shadows and watermarks are of any size."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from homography.camera import Eye, ground, project
from homography.field import LINE_WIDTH_YD

MARK_YD = 24.0 / 36.0
LARGEST, LARGER_PX = 1.7, 5.0
SMALLEST, SMALLER_PX = 0.35, 1.5
LONG_ENOUGH_PX, FEWEST_MARKS = 8.0, 8
"""Blur and the halo of a sharpened picture widen a mark by some px; half of one may be hidden."""


def mark_shaped(xy_px: npt.NDArray[Any], size_px: npt.NDArray[Any], eye: Eye) -> npt.NDArray[np.bool_]:
    """(M,) True where a speck at `xy_px` (M, 2), its bounding box `size_px` (M, 2), may be a hash mark, as a camera sees it."""
    fits = np.zeros(len(xy_px), dtype=bool)
    for expected in expected_px(xy_px, eye):
        with np.errstate(invalid="ignore"):
            within = (size_px <= LARGEST * expected + LARGER_PX) & (size_px >= SMALLEST * expected - SMALLER_PX)
        fits |= np.asarray(within).all(axis=1)
    return fits


def expected_px(xy_px: npt.NDArray[Any], eye: Eye) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
    """(M, 2) px of the bounding boxes of hash marks at these points, if they lie across the field and if along it."""
    spot = ground(xy_px.astype(np.float64), *eye)
    steps = np.array([0.5, 0.0]), np.array([0.0, 0.5])
    x, y = (np.abs(project(spot + step, *eye) - project(spot - step, *eye)) for step in steps)
    return MARK_YD * y + LINE_WIDTH_YD * x, MARK_YD * x + LINE_WIDTH_YD * y


def length_ratio(xy_px: npt.NDArray[Any], size_px: npt.NDArray[Any], eye: Eye) -> float:
    """How long marks across the field look beside what the rules give them; 1.0 where too few are large enough to say. Pieces of
    marks look short, so the longest tenth speaks."""
    across, _ = expected_px(xy_px, eye)
    longer = np.nan_to_num(across).argmax(axis=1)
    row = np.arange(len(across))
    expected, seen = across[row, longer], size_px[row, longer]
    told = expected > LONG_ENOUGH_PX
    return float(np.percentile(seen[told] / expected[told], 90)) if told.sum() >= FEWEST_MARKS else 1.0
