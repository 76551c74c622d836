"""What vision hands on: detections of one frame, tracks of one clip. Parallel numpy arrays, checked when built.

Pixels count from the picture's top left corner, x to the right, y down; a box is (x0, y0, x1, y1). Times are seconds
from the container's timestamps.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.floating[Any]]
IntArray = npt.NDArray[np.integer[Any]]
BoolArray = npt.NDArray[np.bool_]

NO_KIT = -1
"""`kit_id` of a track whose shirt could not be told."""


def check_array(name: str, array: npt.NDArray[Any], shape: tuple[int | None, ...], kind: str, finite: bool = True) -> None:
    """Raise ValueError unless `array` has this shape (None = any length), dtype kind (numpy's letters) and finiteness."""
    if array.ndim != len(shape) or any(want not in (None, got) for want, got in zip(shape, array.shape, strict=True)):
        raise ValueError(f"{name}: shape {array.shape}, wanted {shape}")
    if array.dtype.kind not in kind:
        raise ValueError(f"{name}: dtype {array.dtype}, wanted kind {kind!r}")
    if finite and array.dtype.kind == "f" and not np.isfinite(array).all():
        raise ValueError(f"{name}: holds NaN or infinity")


@dataclass(frozen=True)
class Outlines:
    """How well the boxes (N) of one frame fit: standard deviations of their sides `side_sigma_px` (N, 4); where on the ground the
    men's middles are, `ground_px` (N, 2), and how surely, `ground_sigma_px` (N, 2). Raises ValueError on other shapes."""

    side_sigma_px: FloatArray
    ground_px: FloatArray
    ground_sigma_px: FloatArray

    def __post_init__(self) -> None:
        n = len(self.ground_px)
        for name, width in (("side_sigma_px", 4), ("ground_px", 2), ("ground_sigma_px", 2)):
            check_array(name, getattr(self, name), (n, width), "f")


@dataclass(frozen=True)
class Detections:
    """The people found in one frame.

    `xyxy` (N, 4) float32 px; `confidence` (N,) in 0..1; `class_id` (N,) int; `outlines` of the boxes where somebody looked.
    Raises ValueError on other shapes.
    """

    frame_index: int
    time_s: float
    xyxy: FloatArray
    confidence: FloatArray
    class_id: IntArray
    outlines: Outlines | None = None

    def __post_init__(self) -> None:
        n = len(self.xyxy)
        check_array("xyxy", self.xyxy, (n, 4), "f")
        check_array("confidence", self.confidence, (n,), "f")
        check_array("class_id", self.class_id, (n,), "iu")
        if self.outlines is not None and len(self.outlines.ground_px) != n:
            raise ValueError(f"detections: {len(self.outlines.ground_px)} outlines of {n} boxes")

    def __len__(self) -> int:
        return len(self.xyxy)

    @property
    def ground_px(self) -> FloatArray:
        """(N, 2) where the men's middles are on the ground; without outlines the middle of each box's lower edge."""
        return foot_of(self.xyxy) if self.outlines is None else self.outlines.ground_px


@dataclass(frozen=True)
class Tracks:
    """People followed through one clip: one row per track and frame, sorted by (frame_index, track_id).

    All arrays have length M. `xyxy` (M, 4) px; `observed` is False where the row was bridged, not seen; `kit_id` is the
    shirt cluster of the whole track (0, 1, ... or NO_KIT); `ground_px` (M, 2) is the point of the ground under the man's middle
    (if not given, the middle of his box's lower edge) and `foot_sigma_px` its standard deviation.
    Raises ValueError on other shapes or a doubled (frame, track) row.
    """

    frame_index: IntArray
    time_s: FloatArray
    track_id: IntArray
    xyxy: FloatArray
    observed: BoolArray
    kit_id: IntArray
    confidence: FloatArray
    foot_sigma_px: FloatArray
    ground_px: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))

    def __post_init__(self) -> None:
        m = len(self.frame_index)
        for name, kind in (("frame_index", "iu"), ("track_id", "iu"), ("kit_id", "iu"), ("observed", "b"),
                           ("time_s", "f"), ("confidence", "f"), ("foot_sigma_px", "f")):
            check_array(name, getattr(self, name), (m,), kind)
        check_array("xyxy", self.xyxy, (m, 4), "f")
        if not len(self.ground_px):
            object.__setattr__(self, "ground_px", foot_of(self.xyxy))
        check_array("ground_px", self.ground_px, (m, 2), "f")
        rows = np.stack([self.frame_index, self.track_id], axis=1)
        if m and len(np.unique(rows, axis=0)) != m:
            raise ValueError("tracks: a track stands twice in one frame")

    def __len__(self) -> int:
        return len(self.frame_index)


def foot_of(xyxy: FloatArray) -> FloatArray:
    """(N, 2) px: the middle of each box's lower edge, where the person's nearer shoe ends."""
    return np.stack([(xyxy[:, 0] + xyxy[:, 2]) / 2, xyxy[:, 3]], axis=1)
