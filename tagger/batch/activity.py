"""What moves in a recording: how much of the picture, how fast, and how the camera turned. One pass over small pictures.

The camera's own motion between two pictures is a homography fitted to corners of the background; what dense optical flow
finds beyond it is people. Memory does not grow with the film but for a few dozen numbers a picture.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from vision.video import probe, read_frames

LOOKS_PER_S = 12.5
HEIGHT_PX = 360
BINS_PX_S = np.arange(0.0, 160.0, 5.0)
"""Lower edges of the speeds that are told apart, pixels of the small picture a second."""
CHANGED_GREY = 12
"""A pixel belongs to something that moves if it differs by so much from where the camera's motion would put it."""
CELL_PX, LEAST_STRENGTH = 32, 1e-5
LEAST_CORNERS = 12
LEAST_SHARE = 0.2
"""Of the corners that must agree on one motion of the camera; fewer is a cut."""
BACK_PX, COARSE_PX, FINE_PX = 1.0, 3.0, 1.5

Array = npt.NDArray[np.float64]
Grey = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Activity:
    """One row a look, T in all. `time_s` (T,) of the film's clock; `moving` (T, B) share of the picture that moves at each of
    BINS_PX_S; `camera_px_s` (T,) how fast the picture's middle turns; `cut` (T,) True where this picture does not follow from
    the one before. `start_s`, `end_s`: what the film holds."""

    time_s: Array
    moving: Array
    camera_px_s: Array
    cut: npt.NDArray[np.bool_]
    start_s: float
    end_s: float


def measure(path: Path, tell: Callable[[float, str], None] | None = None) -> Activity:
    """Look through a film. Raises FileNotFoundError or ValueError with one line if it cannot be read."""
    info = probe(path)
    every = max(1, round((info.rate_hz or 30.0) / LOOKS_PER_S))
    look, before_s = _Look(), info.start_s
    rows: list[tuple[float, Array, float, bool]] = []
    for frame in read_frames(path, HEIGHT_PX, every):
        grey: Grey = np.asarray(cv2.cvtColor(frame.bgr, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
        rows.append((frame.time_s, *look.step(grey, max(1e-3, frame.time_s - before_s))))
        before_s = frame.time_s
        if tell is not None and info.duration_s and len(rows) % 50 == 0:
            tell(min(1.0, (frame.time_s - info.start_s) / info.duration_s), "looking for reps")
    time_s, moving, camera, cut = (np.array(column) for column in zip(*rows, strict=True))
    return Activity(time_s, moving, camera, cut, float(time_s[0]), max(float(time_s[-1]), info.start_s + info.duration_s))


class _Look:
    """Compares each picture with the one before, and keeps no other."""

    def __init__(self) -> None:
        self._before: Grey | None = None
        self._flow: Any = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_ULTRAFAST)  # type: ignore[attr-defined]

    def step(self, grey: Grey, lasts_s: float) -> tuple[Array, float, bool]:
        """(moving, camera_px_s, cut) of the next picture, `lasts_s` after the one before."""
        before, self._before = self._before, grey
        nothing = np.zeros(len(BINS_PX_S))
        if before is None or before.shape != grey.shape:
            return nothing, 0.0, True
        camera = _camera_motion(before, grey)
        if camera is None:
            return nothing, 0.0, True
        height, width = grey.shape
        steady = cv2.warpPerspective(before, camera, (width, height))
        inside = cv2.warpPerspective(np.full_like(before, 255), camera, (width, height)) == 255
        changed = _changed(steady, grey)
        flow = self._flow.calc(steady, grey, None)  # the camera's motion is taken out already
        speed = np.hypot(flow[..., 0], flow[..., 1])[changed & inside] / lasts_s
        counts, _ = np.histogram(speed, np.append(BINS_PX_S, np.inf))
        middle = np.array([[[width / 2, height / 2]]], dtype=np.float32)
        turned = float(np.linalg.norm(cv2.perspectiveTransform(middle, camera) - middle))
        return counts / inside.sum(), turned / lasts_s, False


def _changed(before: Any, now: Any) -> npt.NDArray[np.bool_]:
    """(H, W) what is brighter or darker than anything was within a pixel of it: the camera's motion is known no better, and thin
    lines would stand out all over the field."""
    before, now = (cv2.GaussianBlur(grey, (3, 3), 0) for grey in (before, now))
    near = np.ones((3, 3), dtype=np.uint8)
    brighter, darker = cv2.subtract(now, cv2.dilate(before, near)), cv2.subtract(cv2.erode(before, near), now)
    return np.asarray(np.maximum(brighter, darker) > CHANGED_GREY)


def _camera_motion(before: Grey, now: Grey) -> npt.NDArray[Any] | None:
    """(3, 3) now_from_before of the background; None after a cut."""
    corners = _spread_corners(before)
    if len(corners) < LEAST_CORNERS:
        return None
    there, ahead = _followed(before, now, corners)
    back, behind = _followed(now, before, there)
    good = ahead & behind & (np.linalg.norm(back - corners, axis=1) < BACK_PX)
    if good.sum() < LEAST_CORNERS:
        return None
    # Few of the corners may lie on the ground while a play fills the picture: first a motion that few can tell, then a full one.
    coarse, near = cv2.estimateAffine2D(corners[good], there[good], None, cv2.RANSAC, COARSE_PX, 2000, 0.999, 10)
    if coarse is None or near.sum() < max(LEAST_CORNERS, LEAST_SHARE * good.sum()):
        return None
    motion: npt.NDArray[Any] = np.vstack([coarse, [0.0, 0.0, 1.0]])
    ground = near.ravel() == 1
    if ground.sum() >= 2 * LEAST_CORNERS:
        fine, kept = cv2.findHomography(corners[good][ground], there[good][ground], cv2.RANSAC, FINE_PX)
        if fine is not None and kept.sum() >= LEAST_CORNERS:
            motion = fine
    return motion


def _spread_corners(grey: Grey) -> npt.NDArray[np.float32]:
    """(N, 2) the best corner of each cell, so that people, who have the strongest, do not have all."""
    strength = cv2.cornerMinEigenVal(grey, 3)
    height, width = (side // CELL_PX for side in grey.shape)
    cells = strength[:height * CELL_PX, :width * CELL_PX].reshape(height, CELL_PX, width, CELL_PX).swapaxes(1, 2)
    flat = cells.reshape(height, width, -1)
    best, at = flat.max(axis=2), flat.argmax(axis=2)
    row, column = np.nonzero(best > LEAST_STRENGTH)
    inside = at[row, column]
    return np.stack([column * CELL_PX + inside % CELL_PX, row * CELL_PX + inside // CELL_PX], axis=1).astype(np.float32)


def _followed(before: Grey, now: Grey, corners: npt.NDArray[np.float32]) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_]]:
    """Where each corner is in the other picture, and whether it was found."""
    found, status, _ = cv2.calcOpticalFlowPyrLK(  # type: ignore[call-overload]
        before, now, corners.reshape(-1, 1, 2), None, winSize=(15, 15), maxLevel=3)
    return found.reshape(-1, 2), status.ravel() == 1
