"""Between picture and field, once a clip is registered."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from homography.camera import ground, project
from homography.field import WIDTH_YD
from homography.types import LOST, CameraPath, FieldView, apply_homography

Array = npt.NDArray[np.float64]
GRID = (12, 8)
LOW_IN_PICTURE = np.array([0.5, 0.98])


def lost_view(frame_index: npt.NDArray[Any], image_size_px: tuple[int, int], reason: str) -> FieldView:
    """A view in which no frame is registered."""
    count = len(frame_index)
    return FieldView(frame_index, np.full((count, 3, 3), np.nan), np.full(count, np.nan), np.full(count, LOST), "unknown", None,
                     False, None, image_size_px, reason)


def to_field(view: FieldView, frame_row: int, xy_px: npt.NDArray[Any]) -> Array:
    """(N, 2) field points in yards of picture points (N, 2) in row `frame_row` of the view, distortion included; NaN above the
    horizon. Raises ValueError when the frame is lost."""
    require(view, frame_row)
    if view.camera is None:
        return np.asarray(apply_homography(view.field_from_image[frame_row], xy_px))
    return ground(np.asarray(xy_px, dtype=float), *view.camera.eye(frame_row, view.image_size_px))


def to_image(view: FieldView, frame_row: int, xy_yd: npt.NDArray[Any]) -> Array:
    """(N, 2) picture points of field points (N, 2), or of points in space (N, 3) with z up, in yards; NaN behind the camera.
    Raises ValueError when the frame is lost, or for points in space where no camera is known."""
    require(view, frame_row)
    if view.camera is None:
        if np.shape(xy_yd)[1] != 2:
            raise ValueError("points above the field need a camera, and this view has none")
        image_from_field = np.linalg.inv(view.field_from_image[frame_row])
        # A homography knows no sign; what stands low in the picture lies before the camera.
        low = apply_homography(view.field_from_image[frame_row], LOW_IN_PICTURE * np.array([view.image_size_px]))[0]
        depth = np.column_stack([xy_yd, np.ones(len(xy_yd))]) @ image_from_field[2] * np.sign(image_from_field[2] @ [*low, 1.0])
        return np.asarray(np.where(depth[:, None] > 0.0, apply_homography(image_from_field, xy_yd), np.nan))
    return project(np.asarray(xy_yd, dtype=float), *view.camera.eye(frame_row, view.image_size_px))


def moved(view: FieldView, new_from_old: npt.NDArray[Any]) -> FieldView:
    """The same registration on a field that is laid over the old one by `new_from_old` (3, 3), yards to yards, its yard lines
    known. The camera goes along where the field is shifted; nothing else leaves it a camera that turns and zooms."""
    map_yd = np.asarray(new_from_old, dtype=float) / new_from_old[2, 2]
    shift_only = np.allclose(map_yd - np.eye(3), np.pad(map_yd[:2, 2:], ((0, 1), (2, 0))), atol=1e-9)
    camera = view.camera if shift_only else None
    if camera is not None:
        camera = replace(camera, centre_yd=camera.centre_yd + np.append(map_yd[:2, 2], 0.0))
    return replace(view, field_from_image=map_yd @ view.field_from_image, camera=camera, yard_line_known=True)


def require(view: FieldView, frame_row: int) -> None:
    """Refuse a frame without registration."""
    if view.status[frame_row] == LOST:
        raise ValueError(f"frame {view.frame_index[frame_row]}: the field was not found ({view.reason or 'lost'})")


def plane_fits(camera: CameraPath, image_size_px: tuple[int, int]) -> Array:
    """(F, 3, 3) field-from-image homographies that fit the camera, lens included, best over the visible field; NaN rows stay."""
    width, height = image_size_px
    x, y = np.meshgrid((np.arange(GRID[0]) + 0.5) / GRID[0] * width, (np.arange(GRID[1]) + 0.5) / GRID[1] * height)
    px = np.column_stack([x.ravel(), y.ravel()])
    out = np.full((len(camera.pan_rad), 3, 3), np.nan)
    for row in range(len(out)):
        eye = camera.eye(row, image_size_px)
        if not np.isfinite(eye[0]).all():
            continue
        spot = ground(px, *eye)
        with np.errstate(invalid="ignore"):
            on = (spot[:, 1] > -5) & (spot[:, 1] < WIDTH_YD + 5) & (np.abs(spot[:, 0] - camera.centre_yd[0]) < 120)
        if on.sum() < 6:
            on = np.isfinite(spot).all(axis=1)
        matrix = cv2.findHomography(px[on], spot[on], 0)[0] if on.sum() >= 4 else None
        if matrix is not None:
            out[row] = matrix
    return out
