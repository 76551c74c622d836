"""The crown of a field: its middle stands higher than its sidelines, so that rain runs off.

Both halves slope evenly from the long axis to the sidelines, by 0.5 % (synthetic turf: some 5 in. at the middle) to 1.5 %
(grass: some 14 in.; old fields up to 20). Common practice of sports-turf construction, from memory. The ends are level.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from homography.field import WIDTH_YD

Array = npt.NDArray[np.float64]
USUAL_CROWN_YD, CROWN_SD_YD = 0.15, 0.2
CROWN_RANGE_YD = (0.0, 0.8)


def rise(y_yd: npt.NDArray[Any]) -> Array:
    """How much of the crown's height the turf has at distances y from the near sideline: 1 in the middle, 0 from the sidelines
    on."""
    return np.asarray(np.maximum(1.0 - np.abs(y_yd / (WIDTH_YD / 2.0) - 1.0), 0.0))


def raised(points_yd: npt.NDArray[Any], crown_yd: float) -> Array:
    """(N, 3) points on the turf at (N, 2)."""
    return np.column_stack([points_yd, crown_yd * rise(points_yd[:, 1])])
