"""Ridges, stripes and motion on pictures whose answer is known by construction."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from homography.lines import find_ridges, outside_boxes
from homography.motion import BackgroundMotion
from homography.stripes import find_stripes, fit_line
from homography.turf import below_edge, far_edge

NO_BOXES = np.zeros((0, 4), dtype=np.float32)


def striped(angle_rad: float, offset_px: float, width_px: float = 4.0, seed: int = 0) -> np.ndarray:
    """A grey picture with one bright stripe: normal at `angle_rad`, `offset_px` from the corner; area-sampled edges."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:360, 0:640] + 0.5
    away = np.abs(x * np.cos(angle_rad) + y * np.sin(angle_rad) - offset_px)
    share = np.clip(width_px / 2 + 0.5 - away, 0.0, 1.0)
    return np.clip(90 + 110 * share + rng.normal(0, 3, share.shape), 0, 255).astype(np.uint8)


@given(st.floats(-1.45, 1.45), st.floats(-60, 60))
@settings(max_examples=25, deadline=None)
def test_a_stripe_is_found_to_a_tenth_of_a_pixel(angle: float, shift: float) -> None:
    middle = 320 * np.cos(angle) + 180 * np.sin(angle) + shift
    grey = striped(angle, middle)
    half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    ridges = find_ridges(grey, half, NO_BOXES)
    stripes = find_stripes(ridges.xy_px, ridges.normal_rad)
    assert len(stripes) >= 1
    line = stripes.line[0] * np.sign(stripes.line[0, :2] @ [np.cos(angle), np.sin(angle)])
    at_middle = -(line[2] + line[:2] @ [320.0, 180.0])
    expected = middle - (320 * np.cos(angle) + 180 * np.sin(angle))
    assert at_middle == pytest.approx(expected, abs=0.15)


def test_a_line_on_the_edge_of_a_mown_band_is_not_drawn_to_the_brighter_side() -> None:
    rng = np.random.default_rng(3)
    y = np.arange(720)[:, None] + 0.5
    middle = 400.3
    line = np.clip(1.0 - np.abs(y - middle), 0.0, 1.0)
    sharp = np.where(y < middle, 95.0, 130.0) * (1.0 - line) + 255.0 * line
    grey = np.clip(cv2.GaussianBlur(np.repeat(sharp, 1280, axis=1), (0, 0), 1.3) + rng.normal(0, 2, (720, 1280)), 0, 255)
    picture = grey.astype(np.uint8)
    half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    found = find_ridges(picture, half, NO_BOXES).xy_px[:, 1]
    found = found[np.abs(found - middle) < 4.0]
    assert len(found) > 150
    # The middle of what stands above half its height is 0.6 px off.
    assert np.median(found) == pytest.approx(middle, abs=0.3)


@pytest.mark.parametrize("width_px", [30.0, 52.0])
def test_a_broad_border_is_one_wide_stripe(width_px: float) -> None:
    rng = np.random.default_rng(4)
    y, x = np.mgrid[0:720, 0:1280] + 0.5
    angle, middle = 1.5, 540.0
    away = x * np.cos(angle) + y * np.sin(angle) - middle
    painted = np.abs(away) < width_px / 2
    grey = np.clip(70 + painted * (80 + rng.normal(0, 12, painted.shape)) + rng.normal(0, 4, painted.shape), 0, 255)
    picture = cv2.GaussianBlur(grey, (0, 0), 1.0).astype(np.uint8)
    half = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    ridges = find_ridges(picture, half, NO_BOXES)
    off = ridges.wide[:, 0] * np.cos(angle) + ridges.wide[:, 1] * np.sin(angle) - middle
    assert (np.abs(off) < 3.0).sum() > 40
    assert np.median(off) == pytest.approx(0.0, abs=1.0)
    assert np.median(ridges.wide[:, 3]) == pytest.approx(width_px, abs=0.1 * width_px)
    inside = np.abs(ridges.xy_px @ [np.cos(angle), np.sin(angle)] - middle) < width_px / 2 - 3.0
    along = np.abs(np.cos(ridges.normal_rad - angle)) > 0.985
    assert (inside & along).sum() < 20, "the grain of the stripe is no line"


def test_people_hide_paint() -> None:
    grey = striped(0.0, 300.0)
    half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    box = np.array([[280, 0, 320, 200]], dtype=np.float32)
    ridges = find_ridges(grey, half, box)
    # Noise peaks elsewhere in the picture are no paint: what counts is the stripe, and that it goes on below the box.
    stripe = ridges.xy_px[np.abs(ridges.xy_px[:, 0] - 300) < 20]
    assert len(stripe) > 40
    assert stripe[:, 1].min() > 200


def test_dashes_of_a_hash_row() -> None:
    grey = np.full((360, 640), 90, np.uint8)
    for x in range(100, 500, 40):
        grey[200:207, x:x + 3] = 210
    half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    found = find_ridges(grey, half, NO_BOXES)
    middles = sorted({(round(float(x), 1), round(float(y), 1)) for x, y in found.dash_xy_px})
    assert middles == [(x + 1.5, 203.5) for x in range(100, 500, 40)]


def test_a_picture_without_contrast_holds_nothing() -> None:
    grey = np.full((360, 640), 90, np.uint8)
    found = find_ridges(grey, grey[::2, ::2].copy(), NO_BOXES)
    assert len(found.xy_px) == 0
    assert len(found.dash_xy_px) == 0


def test_line_through_points_by_hand() -> None:
    line = fit_line(np.array([[0.0, 1.0], [2.0, 3.0], [4.0, 5.0]]))
    assert np.abs(line * np.sqrt(2)) == pytest.approx([1.0, 1.0, 1.0])


def test_boxes() -> None:
    inside = outside_boxes(np.array([[5.0, 5.0], [50.0, 5.0]]), np.array([[0.0, 0.0, 10.0, 10.0]]))
    assert inside.tolist() == [False, True]


def test_the_turf_ends_where_the_stand_begins() -> None:
    picture = np.zeros((360, 640, 3), np.uint8)
    picture[:100] = (150, 60, 120)
    picture[100:] = (50, 120, 60)
    edge = far_edge(picture, NO_BOXES)
    assert edge is not None
    assert np.median(edge) * 360 == pytest.approx(100, abs=8)
    assert below_edge(np.array([[300.0, 60.0], [300.0, 200.0]]), edge, (640, 360)).tolist() == [False, True]


def test_the_background_moves_and_a_person_does_not_count() -> None:
    rng = np.random.default_rng(3)
    world = cv2.GaussianBlur(rng.integers(0, 255, (500, 800)).astype(np.uint8), (0, 0), 2.0)
    person = cv2.GaussianBlur(rng.integers(0, 255, (120, 60)).astype(np.uint8), (0, 0), 2.0)
    motion = BackgroundMotion()
    for step in range(3):
        half = world[50 + 2 * step:410 + 2 * step, 40 + 5 * step:680 + 5 * step].copy()
        half[100:220, 300:360] = person
        before, after = motion.step(half, np.array([[600.0, 200.0, 720.0, 440.0]]))
    assert len(before) >= 20
    assert np.median(after - before, axis=0) == pytest.approx([-10.0, -4.0], abs=0.1)


def test_a_cut_gives_no_motion() -> None:
    rng = np.random.default_rng(4)
    motion = BackgroundMotion()
    for _ in range(2):
        half = cv2.GaussianBlur(rng.integers(0, 255, (360, 640)).astype(np.uint8), (0, 0), 2.0)
        before, _ = motion.step(half, NO_BOXES)
    assert len(before) == 0
