"""Men on the ground: a box ends at the nearer shoe, the man stands behind it, from whichever side he is filmed."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from vision.boxes import map_points
from vision.ground import place, shown_at
from vision.types import STANCE_YD


def ground_from_image(bearing_rad: float, height_yd: float, away_yd: float, focal_px: float) -> np.ndarray:
    """A camera that looks at the origin of the ground from `away_yd`, pinhole, centre of the picture at (640, 360)."""
    centre = np.array([away_yd * np.cos(bearing_rad), away_yd * np.sin(bearing_rad), height_yd])
    ahead = -centre / np.linalg.norm(centre)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    axes = np.stack([right, -np.cross(right, ahead), ahead])
    inner = np.array([[focal_px, 0, 640], [0, focal_px, 360], [0, 0, 1]])
    return np.linalg.inv(inner @ np.column_stack([axes[:, 0], axes[:, 1], -axes @ centre]))


@given(st.floats(0, 6.28), st.floats(8, 40), st.floats(30, 90), st.floats(900, 4000),
       st.lists(st.tuples(st.floats(100, 1180), st.floats(330, 700)), min_size=1, max_size=5))
def test_middles_lie_behind_the_feet_and_lead_back_to_them(bearing_rad: float, height_yd: float, away_yd: float, focal_px: float,
                                                           feet: list[tuple[float, float]]) -> None:
    foot_px = np.array(feet)
    matrix = np.repeat(ground_from_image(bearing_rad, height_yd, away_yd, focal_px)[None], len(foot_px), axis=0)
    middle, _, _ = place(matrix, foot_px, np.tile(np.eye(2), (len(foot_px), 1, 1)))
    camera = away_yd * np.array([np.cos(bearing_rad), np.sin(bearing_rad)])
    farther = np.linalg.norm(middle - camera, axis=1) - np.linalg.norm(map_points(matrix, foot_px) - camera, axis=1)
    # Straight up the picture is straight away from the camera on its middle line, nearly so beside it.
    assert (farther > 0.8 * STANCE_YD).all()
    assert (farther <= STANCE_YD + 1e-9).all()
    np.testing.assert_allclose(shown_at(np.linalg.inv(matrix), middle)[0], foot_px, atol=0.5)
