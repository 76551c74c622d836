"""Which yard line is which, by the painted numbers: 10 to 50 and back, at every ten yards (NFHS 1-2, NCAA 1-2, NFL Rule 1)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from homography import Observer, solve_clip, to_field
from homography.yard_numbers import best_shift, number_at, read_yard_lines
from tests.homography.drawn import WIDTH, Paint, Shot, film, sideline_shot


def test_the_numbers_of_a_field_as_the_rulebooks_draw_it() -> None:
    x = np.arange(0.0, 121.0, 5.0)
    numbered = dict(zip(x[number_at(x) > 0].tolist(), number_at(x)[number_at(x) > 0].tolist(), strict=True))
    assert numbered == {20: 1, 30: 2, 40: 3, 50: 4, 60: 5, 70: 4, 80: 3, 90: 2, 100: 1}


def seen(first: float, last: float, likeness: float, rival: float) -> tuple[np.ndarray, np.ndarray]:
    """Yard lines from `first` to `last`, whose numbers look like themselves and less so like others; blank turf between."""
    x = np.arange(first, last + 1.0, 5.0)
    looks = np.full((len(x), 3, 5), 0.2)
    for i, number in enumerate(number_at(x)):
        if number:
            looks[i, 1] = rival
            looks[i, 1, number - 1] = likeness
    return x, looks


@settings(max_examples=25, deadline=None)
@given(first=st.integers(2, 14), lines=st.integers(7, 9), off=st.integers(-3, 3), rival=st.floats(0.4, 0.66))
def test_four_numbers_and_more_tell_their_place_from_any_start(first: int, lines: int, off: int, rival: float) -> None:
    x, looks = seen(5.0 * first, 5.0 * (first + lines), 0.74, rival)
    assert best_shift(x - 5.0 * off, looks) == 5.0 * off


def test_one_number_alone_two_alike_or_none_tell_nothing() -> None:
    assert best_shift(*seen(25.0, 35.0, 0.8, 0.4)) is None  # 20: it might be the one at the other end
    assert best_shift(*seen(20.0, 60.0, 0.7, 0.7)) is None
    assert best_shift(*seen(0.0, 15.0, 0.7, 0.4)) is None
    assert best_shift(np.zeros(0), np.zeros((0, 3, 5))) is None


@settings(max_examples=25, deadline=None)
@given(first=st.integers(0, 8), lines=st.integers(7, 12), rival=st.floats(0.4, 0.66))
def test_on_a_field_of_80_yards_every_number_is_right_or_none_is_told(first: int, lines: int, rival: float) -> None:
    """Youth fields have 10 to 40 and back (common practice, no source): a place read is right for all numbers that show."""
    x = 5.0 * np.arange(first, first + lines + 1)  # from the end line on; the goals at 10 and 90
    looks = np.full((len(x), 3, 5), 0.2)
    numbers = np.array([round(min(yd - 10, 90 - yd) / 10) if yd % 10 == 0 and 20 <= yd <= 80 else 0 for yd in x])
    for i, number in enumerate(numbers):
        if number:
            looks[i, 1] = rival
            looks[i, 1, number - 1] = 0.74
    shift = best_shift(x, looks)
    if shift is not None:
        there = number_at(x + shift)
        assert (there == numbers)[numbers > 0].all()


def paint_numbers(picture: np.ndarray, shot: Shot, row: int) -> np.ndarray:
    """Digits of a plotter's type on the turf of one picture, 4 ft by 6 ft, bottoms to the nearer sideline."""
    for x in range(20, 101, 10):
        for far in (False, True):
            for digit, left in ((str(min(x - 10, 110 - x) // 10), -1.7), ("0", 0.35)):
                sheet = np.zeros((90, 60), np.uint8)
                cv2.putText(sheet, digit, (2, 86), cv2.FONT_HERSHEY_SIMPLEX, 3.9, 255, 12)
                corners = np.array([[left, 1.0], [left + 1.33, 1.0], [left + 1.33, -1.0], [left, -1.0]]) * (-1 if far else 1)
                px = shot.project(row, corners + np.array([x, WIDTH - 8.0 if far else 8.0]))
                if not (np.isfinite(px).all() and (np.abs(px) < 4000).all()):
                    continue
                sheet_corners = np.array([[0, 0], [60, 0], [60, 90], [0, 90]], np.float32)
                warp = cv2.getPerspectiveTransform(sheet_corners, px.astype(np.float32))
                share = cv2.warpPerspective(sheet, warp, picture.shape[1::-1], flags=cv2.INTER_AREA)[..., None] / 255.0
                picture = (picture * (1 - share) + 225.0 * share).astype(np.uint8)
    return picture


@pytest.mark.parametrize("numbers", [pytest.param(True, marks=pytest.mark.slow), False])
def test_a_filmed_field_is_counted_from_its_end_line_or_not_at_all(numbers: bool) -> None:
    shot, observer = sideline_shot(5, 12), Observer()
    evidence = []
    for i, (picture, boxes) in enumerate(film(shot, Paint(level="college", numbers=False), 5)):
        evidence.append(observer.observe(i, i / 4.0, paint_numbers(picture, shot, i) if numbers else picture, boxes))
    view = read_yard_lines(solve_clip(evidence), observer.stills)
    assert view.solved_share == 1.0
    assert view.yard_line_known == numbers
    if numbers:
        spots = np.array([[50.0, 10.0], [60.0, 20.0], [65.0, 30.0]])
        assert np.abs(to_field(view, 6, shot.project(6, spots)) - spots).max() < 0.3
