"""The camera's formulas against OpenCV and against hand-checkable cases."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from homography.camera import (
    calibration,
    distort,
    ground,
    ideal_from_field,
    pose_from_ideal,
    pose_of,
    project,
    rotation,
    undistort,
)
from homography.types import apply_homography

SIZE = (1280, 720)
CENTRE = np.array([60.0, -25.0, 12.0])
POSE = np.array([np.pi / 2 + 0.1, 0.25, 0.01, np.log(1500.0)])

poses = st.builds(lambda pan, tilt, roll, focal: np.array([pan, tilt, roll, np.log(focal)]),
                  st.floats(0.9, 2.2), st.floats(0.1, 0.6), st.floats(-0.06, 0.06), st.floats(700, 4000))


def test_a_level_camera_looks_along_y() -> None:
    # By hand: at pan 90 degrees and no tilt the picture's right is +x, its down is -z, the axis is +y.
    by_hand = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])
    assert rotation(np.array([np.pi / 2, 0.0, 0.0, 7.0])) == pytest.approx(by_hand, abs=1e-12)


def test_an_end_zone_camera_has_y_to_its_left() -> None:
    px = project(np.array([[50.0, 20.0], [50.0, 30.0]]), np.array([0.0, 0.2, 0.0, 7.0]), np.array([-15.0, 26.0, 12.0]), 0.0, SIZE)
    assert px[0, 0] > px[1, 0]


def test_the_axis_meets_the_ground_where_trigonometry_says() -> None:
    # A camera 10 yd up that looks 30 degrees down sees the ground 10 / tan 30 = 17.32 yd away in the picture's middle.
    spot = ground(np.array([[640.0, 360.0]]), np.array([np.pi / 2, np.pi / 6, 0.0, 7.0]), np.array([60.0, 0.0, 10.0]), 0.0, SIZE)
    assert spot[0] == pytest.approx([60.0, 10 * np.sqrt(3)])


@pytest.mark.parametrize("k", [0.0, -0.03, 0.02])
def test_projection_agrees_with_opencv(k: float) -> None:
    points = np.array([[50.0, 10, 0], [60, 30, 0], [75, 53, 0], [62, 20, 2.0]])
    turn = rotation(POSE)
    matrix = calibration(POSE, SIZE)
    # OpenCV's k1 acts on the radius in focal lengths, ours on the radius in half widths.
    k1 = k * (np.exp(POSE[3]) / (SIZE[0] / 2)) ** 2
    expected, _ = cv2.projectPoints(points, cv2.Rodrigues(turn)[0], -turn @ CENTRE, matrix, np.array([k1, 0, 0, 0.0]))
    assert project(points, POSE, CENTRE, k, SIZE) == pytest.approx(expected.reshape(-1, 2), abs=1e-6)


def test_undistortion_agrees_with_opencv() -> None:
    k = -0.03
    px = np.array([[20.0, 30], [640, 360], [1270, 700], [900, 100]])
    k1 = k * (np.exp(POSE[3]) / (SIZE[0] / 2)) ** 2
    matrix = calibration(POSE, SIZE)
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-12)
    lens = np.array([k1, 0, 0, 0.0])
    expected = cv2.undistortPointsIter(px.reshape(-1, 1, 2), matrix, lens, None, matrix, criteria) \
        if hasattr(cv2, "undistortPointsIter") else cv2.undistortPoints(px.reshape(-1, 1, 2), matrix, lens, None, None, matrix)
    assert undistort(px, k, SIZE) == pytest.approx(expected.reshape(-1, 2), abs=0.02)


def test_the_plane_homography_agrees_with_opencv_on_four_corners() -> None:
    corners = np.array([[40.0, 0], [80, 0], [80, 53], [40, 53]])
    px = project(corners, POSE, CENTRE, 0.0, SIZE)
    expected = cv2.findHomography(corners, px, 0)[0]
    found = ideal_from_field(POSE, CENTRE, SIZE)
    spots = np.stack(np.meshgrid(np.linspace(40, 80, 9), np.linspace(0, 53, 9)), axis=-1).reshape(-1, 2)
    # OpenCV rounds the corners to single precision, 6e-5 px at 1000 px, so its matrix is no better than that.
    assert apply_homography(found, spots) == pytest.approx(apply_homography(expected, spots), abs=1e-3)
    turn = rotation(POSE)
    exact, _ = cv2.projectPoints(np.column_stack([spots, np.zeros(len(spots))]), cv2.Rodrigues(turn)[0], -turn @ CENTRE,
                                 calibration(POSE, SIZE), None)
    assert apply_homography(found, spots) == pytest.approx(exact.reshape(-1, 2), abs=1e-6)


@given(poses, st.floats(-0.03, 0.0))
@settings(max_examples=60, deadline=None)
def test_to_the_ground_and_back(pose: np.ndarray, k: float) -> None:
    px = np.array([[200.0, 650], [640, 500], [1100, 600], [640, 700]])
    spot = ground(px, pose, CENTRE, k, SIZE)
    on = np.isfinite(spot).all(axis=1) & (np.abs(spot - CENTRE[:2]) < 500).all(axis=1)
    assert project(spot[on], pose, CENTRE, k, SIZE) == pytest.approx(px[on], abs=1e-4)


@given(st.floats(-0.035, 0.02), st.floats(0, 1280), st.floats(0, 720))
@settings(max_examples=80, deadline=None)
def test_distortion_round_trip(k: float, x: float, y: float) -> None:
    px = np.array([[x, y]])
    assert distort(undistort(px, k, SIZE), k, SIZE) == pytest.approx(px, abs=1e-5)


@given(poses)
@settings(max_examples=60, deadline=None)
def test_pose_round_trip(pose: np.ndarray) -> None:
    assert pose_of(rotation(pose), float(np.exp(pose[3]))) == pytest.approx(pose, abs=1e-9)
    assert pose_from_ideal(-2.5 * calibration(pose, SIZE) @ rotation(pose), SIZE) == pytest.approx(pose, abs=1e-6)


@given(st.floats(-0.06, -0.005), st.floats(0.0, 1.4))
def test_the_lens_bends_nothing_back_into_the_picture(k: float, pan: float) -> None:
    """Along a line that leaves the picture and runs on past the camera, points go farther out, or are not seen at all."""
    pose = np.array([pan, 0.2, 0.0, np.log(1500.0)])
    line = np.column_stack([np.linspace(60.0, 120.0, 400), np.full(400, 5.0)])
    level, seen = project(line, pose, CENTRE, 0.0, SIZE), project(line, pose, CENTRE, k, SIZE)
    with np.errstate(invalid="ignore"):
        outside = np.abs(level - np.array(SIZE) / 2).max(axis=1) > 1.5 * SIZE[0]
        inside = ((seen > 0) & (seen < np.array(SIZE))).all(axis=1)
    assert not (outside & inside).any()
