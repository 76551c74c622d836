"""What the adjustment works on: the cameras of a clip's frames, the measurements of them, and what is likely beforehand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.camera import LOG_FOCAL, Eye
from homography.crown import CROWN_RANGE_YD, CROWN_SD_YD, LEVEL, USUAL_CROWN, Crown
from homography.field import LINE_WIDTH_YD

Array = npt.NDArray[np.float64]
SHARED = 8  # centre x, y, z, distortion, mark offset, border, top and bulge of the crown
OFFSET, BORDER, TOP = -4, -3, -2
LEAST_HEIGHT_YD, MOST_LOG_ZOOM = 0.5, 6.0
MOST_OFFSET_YD = 0.4
"""Marks are two feet long: with an end on the inbounds line, their middle is a foot off."""
HELD_BULGE_SD_YD = 0.01
"""A few frames do not tell how round a crown is."""
BORDER_RANGE_YD = (-0.3, 1.5)
"""Below zero where yard marks melt into the stripe."""


@dataclass(frozen=True)
class Measurements:
    """`xy_px` (N, 2) picture points on the field lines `line` (N, 3), a x + b y + c + slide @ (mark offset, border, top, bulge)
    = 0 in yards on level ground, with `sigma_px` (N,), seen in the frames `row` (N,). Of `slide` (N, 4) the first two are 0 but
    for hash marks and sidelines; the others are by how much the crown there shifts the line away from the camera (see `Crown`).
    And background points `before_px`/`after_px` (P, 2) in the frames `from_row`/`to_row` (P,)."""

    row: npt.NDArray[Any]
    xy_px: Array
    line: Array
    slide: Array
    sigma_px: Array
    from_row: npt.NDArray[Any]
    to_row: npt.NDArray[Any]
    before_px: Array
    after_px: Array
    motion_sigma_px: float = 0.25


@dataclass(frozen=True)
class Part:
    """Rows of the Jacobian with the same number of entries each: `values` and `columns` (R, E); doubled columns add up."""

    residual: Array
    values: Array
    columns: npt.NDArray[Any]


@dataclass(frozen=True)
class Prior:
    """What is held to be likely before looking: each value with its standard deviation. `known` gives further rows for a solution
    and the number of its parameters, taken with full weight whatever they say: a person's word."""

    centre_yd: Array
    centre_sd_yd: Array
    distortion: float = -0.012
    distortion_sd: float = 0.012
    mark_offset_yd: float = 0.0
    mark_offset_sd_yd: float = 0.25
    border_yd: float = LINE_WIDTH_YD / 2.0
    border_sd_yd: float = 0.3
    crown_yd: float = USUAL_CROWN.top_yd
    crown_sd_yd: float = CROWN_SD_YD
    bulge_sd_yd: float = HELD_BULGE_SD_YD
    roll_sd_rad: float = 0.03
    roll_step_sd_rad: float = 0.0015
    pose: Array | None = None
    pose_sd: Array = field(default_factory=lambda: np.full(4, np.inf))
    known: Callable[[Solution, int], Part] | None = None


@dataclass(frozen=True)
class Solution:
    """`pose` (F, 4), `centre_yd` (3,), `distortion`; `mark_offset_yd` by how much the middles of the hash marks lie nearer to the
    field's middle than the inbounds line (some painters put a mark's end on it, some its middle); `border_yd` how far outside the
    sidelines the middles of their stripes lie; the field's `crown`; `every_other` yard line alone is painted; `cost` the
    robust sum; `normal` the information matrix (4 F + SHARED square, poses frame by frame, then the shared ones), None before
    `adjust` has run."""

    pose: Array
    centre_yd: Array
    distortion: float
    image_size_px: tuple[int, int]
    mark_offset_yd: float = 0.0
    border_yd: float = LINE_WIDTH_YD / 2.0
    crown: Crown = LEVEL
    every_other: bool = False
    cost: float = np.inf
    normal: Any = None

    def eye(self, row: int) -> Eye:
        """What `project` and `ground` ask of a frame's camera."""
        return self.pose[row], self.centre_yd, self.distortion, self.image_size_px, self.crown


def possible(solution: Solution) -> bool:
    """Whether the poses are such as a camera can have, so that each has a plane."""
    return bool(np.isfinite(solution.pose).all() and solution.centre_yd[2] > LEAST_HEIGHT_YD
                and (np.abs(solution.pose[:, LOG_FOCAL] - np.log(solution.image_size_px[0])) < MOST_LOG_ZOOM).all())


def moved(solution: Solution, step: Array) -> Solution:
    """A solution with a step (4 F + SHARED,) added."""
    pose, shared = solution.pose + step[:-SHARED].reshape(-1, 4), step[-SHARED:]
    return replace(solution, pose=pose, centre_yd=solution.centre_yd + shared[:3],
                   distortion=float(solution.distortion + shared[3]),
                   mark_offset_yd=float(np.clip(solution.mark_offset_yd + shared[4], -MOST_OFFSET_YD, MOST_OFFSET_YD)),
                   border_yd=float(np.clip(solution.border_yd + shared[5], *BORDER_RANGE_YD)),
                   crown=Crown(float(np.clip(solution.crown.top_yd + shared[TOP], *CROWN_RANGE_YD)),
                               float(solution.crown.bulge_yd + shared[-1])))
