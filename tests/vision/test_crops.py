"""One person cut out of a picture: always the same size, centred, nothing aliased, the edge continued."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.crops import CROP, MARGIN, cut, window


def test_a_crop_shows_its_box_in_the_middle() -> None:
    picture = np.zeros((300, 400, 3), np.uint8)
    cv2.rectangle(picture, (180, 100), (209, 179), (255, 255, 255), -1)  # 30 x 80 px
    crop = cut(picture, np.array([[180.0, 100.0, 210.0, 180.0]]))[0]
    rows, columns = np.nonzero(crop[..., 0] > 127)
    assert (rows.max() - rows.min() + 1) / CROP[0] == pytest.approx(1 / MARGIN, abs=0.02)
    assert (rows.min() + rows.max()) / 2 == pytest.approx(CROP[0] / 2 - 0.5, abs=1)
    assert (columns.min() + columns.max()) / 2 == pytest.approx(CROP[1] / 2 - 0.5, abs=1)


def test_a_large_man_is_averaged_not_sampled() -> None:
    stripes = np.zeros((800, 600, 3), np.uint8)
    stripes[::2] = 255
    crop = cut(stripes, np.array([[200.0, 50.0, 400.0, 750.0]]))[0]
    assert abs(float(crop.mean()) - 127.5) < 2
    assert float(crop.std()) < 25


@settings(max_examples=60, deadline=None)
@given(st.floats(-50, 450), st.floats(-50, 350), st.floats(0.1, 500), st.floats(0.1, 500))
def test_any_box_gives_a_crop(x: float, y: float, width: float, height: float) -> None:
    """Also one that lies outside the picture or is a line."""
    picture = np.full((300, 400, 3), 90, np.uint8)
    box = np.array([[x, y, x + width, y + height]])
    crops = cut(picture, box)
    assert crops.shape == (1, *CROP, 3)
    assert (crops == 90).all()
    assert window(box)[0, 2] >= min(MARGIN * height, 2.0)


def test_nobody() -> None:
    assert cut(np.zeros((10, 10, 3), np.uint8), np.zeros((0, 4))).shape == (0, *CROP, 3)
