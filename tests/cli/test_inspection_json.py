"""Where the field's lines cross in the picture, against OpenCV's own camera (cv2.projectPoints)."""

from __future__ import annotations

import cv2
import numpy as np

from homography.field import WIDTH_YD
from homography.types import SOLVED, CameraPath, FieldView
from homography.view import plane_fits
from tagger.cli.inspection_json import camera_at, crossings

SIZE, FOCAL, HEIGHT = (1280, 720), 1400.0, 12.0
CENTRE, TILT = np.array([60.0, -25.0, HEIGHT]), 0.25


def test_crossings_lie_where_another_camera_model_puts_them() -> None:
    path = CameraPath(CENTRE, *(np.full(1, v) for v in (np.pi / 2, TILT, 0.0, FOCAL)), distortion=0.0, crown_yd=0.3)
    view = FieldView(np.zeros(1, dtype=int), plane_fits(path, SIZE), np.full(1, 0.05), np.full(1, SOLVED), "sideline",
                     "high-school", True, path, SIZE)
    found = crossings(view, 0)
    lines = {cross["xy_yd"][0] for cross in found}
    assert {45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0} <= lines <= set(np.arange(10.0, 111.0, 5.0))
    # Hash marks a third of the width from each sideline (NFHS 1-2), where a crown of 0.3 yd has risen by 0.2 yd.
    risen = {0.0: 0.0, round(WIDTH_YD / 3, 4): 0.2, round(WIDTH_YD * 2 / 3, 4): 0.2, round(WIDTH_YD, 4): 0.0}
    spots = np.array([[*cross["xy_yd"], risen[cross["xy_yd"][1]]] for cross in found])
    # OpenCV's axes: right, down, forward; the camera looks along +y, so +x lies to its right.
    turn = np.array([[1.0, 0.0, 0.0], [0.0, -np.sin(TILT), -np.cos(TILT)], [0.0, np.cos(TILT), -np.sin(TILT)]])
    pinhole = np.array([[FOCAL, 0.0, SIZE[0] / 2], [0.0, FOCAL, SIZE[1] / 2], [0.0, 0.0, 1.0]])
    expected, _ = cv2.projectPoints(spots, cv2.Rodrigues(turn)[0], -turn @ CENTRE, pinhole, np.zeros(4))
    assert np.abs(np.array([cross["xy_px"] for cross in found]) - expected[:, 0]).max() < 0.05
    assert camera_at(path, 0)["crown_yd"] == 0.3
