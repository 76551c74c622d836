"""The field in one still picture: no motion to lean on, so the frame must speak for itself."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from homography.observe import Observer
from homography.solve import solve_clip
from homography.types import FieldView
from homography.yard_numbers import read_yard_lines


def solve_still(bgr: npt.NDArray[np.uint8], boxes_xyxy: npt.NDArray[Any], level: str | None = None) -> FieldView:
    """A view of one row. `bgr` (H, W, 3) uint8, `boxes_xyxy` (B, 4) px of the people in it. Raises ValueError as
    `observe` does."""
    observer = Observer()
    view = solve_clip([observer.observe(0, 0.0, bgr, boxes_xyxy)], level=level)
    return read_yard_lines(view, observer.stills)
