"""What is kept of a frame once its picture is gone: a few hundred points, no pixels."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from vision.types import FloatArray, check_array

BOX_MARGIN = 0.12
"""Of a person's box, on each side: shadows and what the detector cut off."""
RASTER_PX = 2


def widened(boxes_xyxy: FloatArray) -> FloatArray:
    """(B, 4) people's boxes, larger by the margin."""
    margin = BOX_MARGIN * (boxes_xyxy[:, 2:] - boxes_xyxy[:, :2])
    return np.concatenate([boxes_xyxy[:, :2] - margin, boxes_xyxy[:, 2:] + margin], axis=1)


@dataclass(frozen=True)
class Ridges:
    """Points in the middle of bright stripes, and short bright dashes, of one frame.

    `xy_px` (N, 2) the point; `normal_rad` (N,) the direction across its stripe, in (-pi/2, pi/2]; `width_px` (N,) the
    stripe's width at half height along that normal; `contrast` (N,) grey levels over the turf beside it.
    `dash_xy_px` (M, 2) centroids of short bright components, `dash_size_px` (M, 2) their extents in x and y. `wide` (W, 4) the
    same of stripes too wide for a yard line: x, y, normal, width.
    Raises ValueError on other shapes.
    """

    xy_px: FloatArray
    normal_rad: FloatArray
    width_px: FloatArray
    contrast: FloatArray
    dash_xy_px: FloatArray
    dash_size_px: FloatArray
    wide: FloatArray

    def __post_init__(self) -> None:
        n, m = len(self.xy_px), len(self.dash_xy_px)
        check_array("xy_px", self.xy_px, (n, 2), "f")
        for name in ("normal_rad", "width_px", "contrast"):
            check_array(name, getattr(self, name), (n,), "f")
        check_array("dash_xy_px", self.dash_xy_px, (m, 2), "f")
        check_array("dash_size_px", self.dash_size_px, (m, 2), "f")
        check_array("wide", self.wide, (len(self.wide), 4), "f")


@dataclass(frozen=True)
class FrameEvidence:
    """What one frame tells about the camera.

    `ridges` is None on frames whose paint was not looked at. `before_px` and `after_px` (P, 2) are the same background
    points in the frame observed before this one (`before_index`) and in this one; empty after a cut or in the first frame.
    `boxes_xyxy` (B, 4) px: the people who hide paint.
    Raises ValueError on other shapes.
    """

    frame_index: int
    time_s: float
    image_size_px: tuple[int, int]
    ridges: Ridges | None
    before_index: int | None
    before_px: FloatArray
    after_px: FloatArray
    boxes_xyxy: FloatArray

    def __post_init__(self) -> None:
        p = len(self.before_px)
        check_array("before_px", self.before_px, (p, 2), "f")
        check_array("after_px", self.after_px, (p, 2), "f")
        check_array("boxes_xyxy", self.boxes_xyxy, (len(self.boxes_xyxy), 4), "f")

    def follows(self, before: FrameEvidence) -> bool:
        """Whether the background was followed from that frame to this one."""
        return self.before_index == before.frame_index and len(self.before_px) > 0

    def unhidden(self, xy_px: npt.NDArray[Any]) -> npt.NDArray[np.bool_]:
        """(N,) whether points (N, 2) px of the picture, to about a pixel, have no person before them."""
        column, row = (xy_px / RASTER_PX).astype(int).T
        return np.asarray(self._unhidden[row, column])

    @cached_property
    def _unhidden(self) -> npt.NDArray[np.bool_]:
        width, height = self.image_size_px
        return ~in_boxes(widened(self.boxes_xyxy) / RASTER_PX, (height // RASTER_PX + 1, width // RASTER_PX + 1))


def in_boxes(boxes_xyxy: npt.NDArray[Any], shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Raster of `shape` (H, W), True within any of the boxes (N, 4)."""
    raster = np.zeros(shape, dtype=np.bool_)
    for x0, y0, x1, y1 in np.maximum(np.round(boxes_xyxy), 0.0).astype(int):
        raster[y0:y1, x0:x1] = True
    return raster


NO_POINTS = np.zeros((0, 2), dtype=np.float32)
