"""What homography hands on: the picture's relation to the field over one clip, and tracks in yards."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.camera import Eye
from homography.crown import Crown
from vision.types import BoolArray, FloatArray, IntArray, check_array

LOST, CARRIED, SOLVED = 0, 1, 2
STATUS_NAMES = ("lost", "carried", "solved")
VIEWS = ("sideline", "end-zone", "unknown")


@dataclass(frozen=True)
class CameraPath:
    """A camera that turns and zooms about one point. Angles in rad, `focal_px` (F,) in px, `centre_yd` (3,) in the field
    frame with z up. `distortion` is the radial term k of `r' = r (1 + k (r / (width / 2))^2)` about the picture's middle;
    `crown_yd` how far the field's middle stands above its sidelines, `bulge_yd` how round its slopes are (see `Crown`). Rows of
    lost frames are NaN."""

    centre_yd: FloatArray
    pan_rad: FloatArray
    tilt_rad: FloatArray
    roll_rad: FloatArray
    focal_px: FloatArray
    distortion: float
    crown_yd: float = 0.0
    bulge_yd: float = 0.0

    def eye(self, row: int, image_size_px: tuple[int, int]) -> Eye:
        """What `project` and `ground` ask of a frame's camera."""
        pose = np.array([self.pan_rad[row], self.tilt_rad[row], self.roll_rad[row], np.log(self.focal_px[row])])
        return pose, self.centre_yd, self.distortion, image_size_px, Crown(self.crown_yd, self.bulge_yd)


@dataclass(frozen=True)
class FieldView:
    """One clip's registration, one row per frame of the clip.

    `frame_index` (F,); `field_from_image` (F, 3, 3), NaN where lost: the plane homography that fits best over the visible
    field; `sigma_yd` (F,) the standard deviation of a field point in the middle of the visible field, NaN where lost;
    `status` (F,) of LOST, CARRIED, SOLVED. While `yard_line_known` is False, x is right only up to whole multiples of
    5 yd (and the field's half-turn: the camera is taken to look toward +y from a sideline, toward +x from an end zone).
    `level` is None where no hash marks tell it.
    `reason` says in one line why frames are lost, empty if none is. Raises ValueError on other shapes.
    """

    frame_index: IntArray
    field_from_image: FloatArray
    sigma_yd: FloatArray
    status: IntArray
    view: str
    level: str | None
    yard_line_known: bool
    camera: CameraPath | None
    image_size_px: tuple[int, int]
    reason: str = ""

    def __post_init__(self) -> None:
        f = len(self.frame_index)
        check_array("frame_index", self.frame_index, (f,), "iu")
        check_array("field_from_image", self.field_from_image, (f, 3, 3), "f", finite=False)
        check_array("sigma_yd", self.sigma_yd, (f,), "f", finite=False)
        check_array("status", self.status, (f,), "iu")
        solved = self.status != LOST
        if not np.isfinite(self.field_from_image[solved]).all() or not np.isfinite(self.sigma_yd[solved]).all():
            raise ValueError("field view: a frame that is not lost lacks its homography or its sigma")
        if self.view not in VIEWS:
            raise ValueError(f"view: {self.view!r}, wanted one of {', '.join(VIEWS)}")

    @property
    def solved_share(self) -> float:
        """Share of the frames that are solved or carried."""
        return float((self.status != LOST).mean()) if len(self.status) else 0.0


@dataclass(frozen=True)
class FieldTracks:
    """Tracks on the field, one row per track and frame, sorted by (frame_index, track_id); frames that are lost have none.

    All arrays have length M: `xy_yd` (M, 2) field frame, `sigma_yd` (M,), `facing_rad` (M,) in the field frame (0 = +x,
    growing toward +y) with its circular standard deviation `facing_sigma_rad` (M,; all NaN if left out), NaN where unknown,
    `kit_id` the shirt cluster of the track. Raises ValueError on other shapes.
    """

    frame_index: IntArray
    time_s: FloatArray
    track_id: IntArray
    kit_id: IntArray
    observed: BoolArray
    xy_yd: FloatArray
    sigma_yd: FloatArray
    facing_rad: FloatArray
    facing_sigma_rad: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        m = len(self.frame_index)
        if not len(self.facing_sigma_rad):
            object.__setattr__(self, "facing_sigma_rad", np.full(m, np.nan))
        for name, kind in (("frame_index", "iu"), ("track_id", "iu"), ("kit_id", "iu"), ("observed", "b"),
                           ("time_s", "f"), ("sigma_yd", "f")):
            check_array(name, getattr(self, name), (m,), kind)
        check_array("xy_yd", self.xy_yd, (m, 2), "f")
        check_array("facing_rad", self.facing_rad, (m,), "f", finite=False)
        check_array("facing_sigma_rad", self.facing_sigma_rad, (m,), "f", finite=False)

    def __len__(self) -> int:
        return len(self.frame_index)


def apply_homography(matrix: npt.NDArray[Any], points: npt.NDArray[Any]) -> FloatArray:
    """Map (N, 2) points by a (3, 3) homography, or by (N, 3, 3), one each."""
    homogeneous = np.concatenate([points, np.ones((len(points), 1))], axis=1)
    mapped = np.einsum("...ij,...j->...i", matrix, homogeneous)
    out: FloatArray = mapped[:, :2] / mapped[:, 2:]
    return out
