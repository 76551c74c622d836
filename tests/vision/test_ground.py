"""Men on the ground, from whichever side they are filmed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.boxes import map_points
from vision.ground import MENDED_FRAMES, build_ground, place


def ground_from_image(bearing_rad: float, height_yd: float, away_yd: float, focal_px: float) -> np.ndarray:
    """A camera that looks at the origin of the ground from `away_yd`, pinhole, centre of the picture at (640, 360)."""
    centre = np.array([away_yd * np.cos(bearing_rad), away_yd * np.sin(bearing_rad), height_yd])
    ahead = -centre / np.linalg.norm(centre)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    axes = np.stack([right, -np.cross(right, ahead), ahead])
    inner = np.array([[focal_px, 0, 640], [0, focal_px, 360], [0, 0, 1]])
    return np.linalg.inv(inner @ np.column_stack([axes[:, 0], axes[:, 1], -axes @ centre]))


@given(st.floats(0, 6.28), st.floats(8, 40), st.floats(30, 90), st.floats(900, 4000), st.floats(100, 1180), st.floats(330, 700))
def test_a_pixel_more_or_less_is_as_much_on_the_ground_as_place_says(bearing_rad: float, height_yd: float, away_yd: float,
                                                                     focal_px: float, x_px: float, y_px: float) -> None:
    matrix, middle = ground_from_image(bearing_rad, height_yd, away_yd, focal_px), np.array([x_px, y_px])
    sigma_px, turn = 0.01, np.linspace(0, 2 * np.pi, 720, endpoint=False)
    here, spread, scale = place(matrix[None], middle[None], sigma_px**2 * np.eye(2)[None])
    np.testing.assert_allclose(here[0], map_points(matrix, middle[None])[0])
    around = map_points(matrix, middle + sigma_px * np.stack([np.cos(turn), np.sin(turn)], axis=1)) - here
    # A circle of one standard deviation in the picture is the ellipse of the covariance on the ground.
    np.testing.assert_allclose(2 * around.T @ around / len(turn), spread[0], rtol=0.05, atol=1e-6)
    assert scale[0] == pytest.approx(sigma_px / np.linalg.norm(around, axis=1).min(), rel=0.05)


AMID_PX = np.array([640.0, 420.0])


def panned(frames: int) -> tuple[np.ndarray, np.ndarray]:
    """(F, 3, 3) ground of a picture that slides 3 px a frame over it, 60 px a yard, and its motion."""
    slide, grown = np.eye(3), np.tile(np.diag([1 / 60, 2.5 / 60, 1.0]), (frames, 1, 1))
    slide[0, 2] = -3.0
    grown[:, 0, 2] = 3.0 / 60 * np.arange(frames)
    return grown, np.tile(slide, (frames, 1, 1))


@given(st.integers(MENDED_FRAMES + 2, 80), st.floats(-2, 2), st.floats(-2, 2))
def test_a_step_of_the_registration_tears_nobody_in_two(at: int, x_yd: float, y_yd: float) -> None:
    plane, motion = panned(120)
    stepped = plane.copy()
    stepped[at:, :2, 2] += [x_yd, y_yd]
    mended = build_ground(stepped, np.full(120, 0.03), motion, 120, 120.0, AMID_PX).ground_from_image
    still = AMID_PX + np.arange(120)[:, None] * [-3.0, 0.0]
    path = map_points(mended, still)
    longest = max(0.3, np.hypot(x_yd, y_yd) / 2 / MENDED_FRAMES + 1e-9)
    assert np.linalg.norm(np.diff(path, axis=0), axis=1).max() <= longest + 1e-6
    # Where it was right it stays: far from the step nothing is moved.
    np.testing.assert_allclose(mended[: at - MENDED_FRAMES - 1], stepped[: at - MENDED_FRAMES - 1])
    np.testing.assert_allclose(mended[at + MENDED_FRAMES + 1:], stepped[at + MENDED_FRAMES + 1:])


def test_without_the_cameras_motion_no_step_is_known() -> None:
    plane, motion = panned(60)
    plane[30:, 0, 2] += 1.0
    motion[30] = np.nan
    kept = build_ground(plane, np.full(60, 0.03), motion, 60, 120.0, AMID_PX).ground_from_image
    np.testing.assert_allclose(kept, plane)
