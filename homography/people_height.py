"""How tall people are by a camera: a yardstick that stands all over the field.

Where no hash marks are painted, or every other yard line is missing, lines alone leave the scale open: a camera twice as high
over lines twice as far apart sees the same. Players in it would be twice as tall.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from homography.camera import ground, project
from homography.evidence import FrameEvidence
from homography.field import WIDTH_YD
from homography.solution import Solution

Array = npt.NDArray[np.float64]
LEAST_PEOPLE = 5
PLAUSIBLE_YD = (1.25, 2.7)
"""Median height of a box: from children of ten who crouch to tall men with helmets; a wrong spacing is wrong by half or twice."""
BESIDE_YD = 3.0


def median_height_yd(frames: Sequence[FrameEvidence], solution: Solution) -> float:
    """Median height of the people in the frames, whose poses are the solution's row by row; NaN for fewer than LEAST_PEOPLE.
    Those on the field are asked if there are enough of them."""
    on_field, all_of_them = list[Array](), list[Array]()
    for row, frame in enumerate(frames):
        boxes = np.asarray(frame.boxes_xyxy, dtype=np.float64).reshape(-1, 4)
        eye = solution.eye(row)
        foot_px = np.column_stack([boxes[:, [0, 2]].mean(axis=1), boxes[:, 3]])
        spot = ground(foot_px, *eye)
        yard_up_px = project(solution.crown.raised(spot) + np.array([0.0, 0.0, 1.0]), *eye)[:, 1]
        with np.errstate(invalid="ignore", divide="ignore"):
            height = (boxes[:, 3] - boxes[:, 1]) / (boxes[:, 3] - yard_up_px)
            there = np.isfinite(height) & (height > 0)
            inside = there & (spot[:, 1] > -BESIDE_YD) & (spot[:, 1] < WIDTH_YD + BESIDE_YD)
        on_field.append(height[inside])
        all_of_them.append(height[there])
    found = next((heights for some in (on_field, all_of_them) if len(heights := np.concatenate(some)) >= LEAST_PEOPLE), None)
    return float("nan") if found is None else float(np.median(found))


def plausible(frames: Sequence[FrameEvidence], solution: Solution) -> bool:
    """Whether the people are as tall as people, as far as there are any."""
    height_yd = median_height_yd(frames, solution) if frames else float("nan")
    return bool(np.isnan(height_yd) or PLAUSIBLE_YD[0] < height_yd < PLAUSIBLE_YD[1])
