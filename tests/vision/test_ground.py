"""Men on the ground, from whichever side they are filmed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.boxes import map_points
from vision.ground import place


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
