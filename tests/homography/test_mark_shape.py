"""Specks as large as a hash mark (24 in. by 4 in., NFHS, NCAA and NFL rules 1-2) are told from scraps of other paint."""

import numpy as np

from homography.camera import project
from homography.crown import LEVEL
from homography.mark_shape import mark_shaped

SIZE = (1280, 720)
CENTRE = np.array([-25.0, 26.0, 14.0])
POSE = np.array([0.05, 0.3, 0.0, np.log(1700.0)])


def speck(x_yd: float, y_yd: float, along_yd: float, across_yd: float) -> tuple[np.ndarray, np.ndarray]:
    """Middle and bounding box of a painted rectangle, in px."""
    half = np.array([along_yd, across_yd]) / 2
    corners = np.array([x_yd, y_yd]) + half * np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]])
    px = project(corners, POSE, CENTRE, 0.0, SIZE)
    return px.mean(axis=0), np.ptp(px, axis=0)


def judged(*specks: tuple[np.ndarray, np.ndarray]) -> list[bool]:
    middles, sizes = map(np.array, zip(*specks, strict=True))
    return mark_shaped(middles, sizes, (POSE, CENTRE, 0.0, SIZE, LEVEL)).tolist()


def test_marks_across_and_bars_along_near_and_far() -> None:
    marks = [speck(x, 20.0, 4 / 36, 24 / 36) for x in (8.0, 30.0, 60.0)] + [speck(x, 20.0, 24 / 36, 4 / 36) for x in (10.0, 40.0)]
    assert judged(*marks) == [True] * 5


def test_numbers_long_lines_and_scraps_are_no_marks() -> None:
    number, line = speck(10.0, 10.0, 1.3, 2.0), speck(15.0, 25.0, 4 / 36, 6.0)
    scrap = (speck(8.0, 20.0, 4 / 36, 24 / 36)[0], np.array([3.0, 2.0]))
    assert judged(number, line, scrap) == [False] * 3


def test_nothing_above_the_horizon_is_a_mark() -> None:
    assert judged((np.array([640.0, -2000.0]), np.array([20.0, 4.0]))) == [False]
