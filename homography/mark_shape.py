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
    return fits_a_mark(size_px, expected_px(xy_px, eye))


def fits_a_mark(size_px: npt.NDArray[Any], expected: tuple[npt.NDArray[Any], ...]) -> npt.NDArray[np.bool_]:
    """(M,) True where a bounding box (M, 2) is about as large as one of those `expected` (M, 2) there."""
    fits = np.zeros(len(size_px), dtype=bool)
    for one in expected:
        with np.errstate(invalid="ignore"):
            within = (size_px <= LARGEST * one + LARGER_PX) & (size_px >= SMALLEST * one - SMALLER_PX)
        fits |= within[:, 0] & within[:, 1]
    return fits


def expected_px(xy_px: npt.NDArray[Any], eye: Eye) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
    """(M, 2) px of the bounding boxes of hash marks at these points, if they lie across the field and if along it."""
    spot = ground(xy_px.astype(np.float64), *eye)
    ends = spot[None] + np.array([[0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [0.0, -0.5]])[:, None]
    px = project(ends.reshape(-1, 2), *eye).reshape(4, -1, 2)
    x, y = np.abs(px[0] - px[1]), np.abs(px[2] - px[3])
    return MARK_YD * y + LINE_WIDTH_YD * x, MARK_YD * x + LINE_WIDTH_YD * y


def length_ratio(size_px: npt.NDArray[Any], across: npt.NDArray[Any]) -> float:
    """How long marks (M, 2) across the field look beside what the rules give them there (M, 2); 1.0 where too few are large
    enough to say. Pieces of marks look short, so the longest tenth speaks."""
    longer = np.nan_to_num(across).argmax(axis=1)
    row = np.arange(len(across))
    expected, seen = across[row, longer], size_px[row, longer]
    told = expected > LONG_ENOUGH_PX
    return float(np.percentile(seen[told] / expected[told], 90)) if told.sum() >= FEWEST_MARKS else 1.0
