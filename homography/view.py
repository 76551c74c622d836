"""Between picture and field, once a clip is registered."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from homography.camera import Eye, ground, project
from homography.field import WIDTH_YD
from homography.types import LOST, CameraPath, FieldView, apply_homography

Array = npt.NDArray[np.float64]
GRID = (12, 8)
FAR_SHARE = 0.5
SLOPE_STEP_PX = 0.5
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


def middle_px(eye: Eye) -> Array:
    """(2,) px: the middle of that part of the picture which shows the field; the picture's middle if none does."""
    px = field_px(eye)
    return np.asarray(px.mean(axis=0) if len(px) else np.array(eye[3]) / 2.0)


def field_px(eye: Eye) -> Array:
    """(N, 2) px: those of a raster of the picture that show the field."""
    px = raster(eye[3])
    spot = ground(px, *eye)
    with np.errstate(invalid="ignore"):
        return np.asarray(px[(spot[:, 1] > 0) & (spot[:, 1] < WIDTH_YD) & (np.abs(spot[:, 0] - eye[1][0]) < 100)])


def raster(size: tuple[int, int]) -> Array:
    """Points of the picture, evenly spread, in px."""
    x, y = np.meshgrid((np.arange(GRID[0]) + 0.5) / GRID[0] * size[0], (np.arange(GRID[1]) + 0.5) / GRID[1] * size[1])
    return np.column_stack([x.ravel(), y.ravel()])


def yd_per_px(view: FieldView, frame_row: int, xy_px: npt.NDArray[Any]) -> Array:
    """(N,) by how many yards, root mean square over axes and directions, the field point of a picture point moves with a px."""
    place = to_field(view, frame_row, xy_px)
    slopes = [to_field(view, frame_row, xy_px + step) - place for step in SLOPE_STEP_PX * np.eye(2)]
    return np.asarray(np.sqrt(sum((part**2).sum(axis=1) for part in slopes) / SLOPE_STEP_PX**2 / 2.0))


def sigma_at(view: FieldView, frame_row: int, xy_px: npt.NDArray[Any]) -> Array:
    """(N,) standard deviation in yards, per axis, of the field points of picture points (N, 2). Raises ValueError when the frame
    is lost."""
    return sigma_where(view, frame_row, yd_per_px(view, frame_row, np.asarray(xy_px, dtype=float)))


def sigma_where(view: FieldView, frame_row: int, there: Array) -> Array:
    """As `sigma_at`, of points at which a px covers `there` (N,) yards (see `yd_per_px`)."""
    require(view, frame_row)
    camera = view.camera
    middle = np.array(view.image_size_px) / 2.0 if camera is None else middle_px(camera.eye(frame_row, view.image_size_px))
    return np.asarray(view.sigma_yd[frame_row] * growth(there / yd_per_px(view, frame_row, middle[None])[0]))


def growth(farther: npt.NDArray[Any]) -> Array:
    """How many times as uncertain as the middle of the visible field points are where a px covers `farther` times as many yards:
    nearer it hardly sinks, as the lines' own places are no better known there."""
    return np.asarray(np.sqrt(1.0 - FAR_SHARE + FAR_SHARE * farther**2))


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
    px = raster(image_size_px)
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
