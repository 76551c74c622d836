"""What a crowned field does to a view from behind the goal, and what the first guesses and the uncertainty make of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from homography.assign import YARD_LINE, Assigned
from homography.combs import Comb
from homography.contest import LEAST_SHARP, doubt
from homography.field import WIDTH_YD
from homography.grid import aim, run_together
from homography.hypotheses import Hypothesis
from homography.rows import Based, piles
from homography.solution import Solution
from homography.stripes import Stripes
from homography.uncertainty import filled, misfit_px
from tests.homography.drawn import Shot

SIZE = (1280, 720)
NO_STRIPES = Stripes(np.zeros((0, 3)), np.zeros((0, 2, 2)), np.zeros(0, dtype=np.int64))


def behind(heading: float, crown: float) -> Shot:
    """One frame from a tower, `heading` degrees to the left of straight along the field."""
    one = np.ones(1)
    return Shot((-20.0, 29.0, 11.0), heading * one, 10.0 * one, 1150.0 * one, 0.0 * one, k=0.0, crown=crown)


def horizon_px(shot: Shot) -> float:
    """The horizon's row below the picture's middle: textbook pinhole geometry."""
    return float(-shot.focal[0] * np.tan(np.radians(shot.depression[0])))


@pytest.mark.parametrize("heading", [-6.0, 0.0, 5.0])
@pytest.mark.parametrize("crown", [0.0, 0.44])
def test_the_rows_of_marks_tell_where_the_field_runs_to(heading: float, crown: float) -> None:
    shot = behind(heading, crown)
    marks = np.stack(np.meshgrid(np.arange(10.0, 70.0), [20.0, WIDTH_YD - 20.0]), axis=-1).reshape(-1, 2)
    px = shot.project(0, marks)
    strays = np.random.default_rng(5).uniform((0, 300), SIZE, (40, 2))
    px = np.concatenate([px[((px > 0) & (px < SIZE)).all(axis=1)], strays])
    far = shot.project(0, np.array([[1e7, 29.0, 0.0]]))[0] - np.array(SIZE) / 2
    comb = Comb("end-zone", NO_STRIPES, np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), horizon_px(shot) - 6.0, 1.0)
    found = aim(comb, px, SIZE)
    assert found is not None
    assert abs(found - far[0]) < 25.0
    assert aim(replace(comb, view="sideline"), px, SIZE) is None
    assert aim(comb, px[:3], SIZE) is None


@pytest.mark.parametrize("off_px", [-40.0, 0.0, 40.0])
def test_the_rows_of_marks_tell_the_horizon(off_px: float) -> None:
    shot = behind(3.0, 0.0)
    marks = np.stack(np.meshgrid(np.arange(5.0, 70.0), [20.0, WIDTH_YD - 20.0]), axis=-1).reshape(-1, 2)
    px = shot.project(0, marks)
    px = px[((px > 0) & (px < SIZE)).all(axis=1)]
    far = shot.project(0, np.array([[1e7, 29.0, 0.0]]))[0] - np.array(SIZE) / 2
    nobody = np.zeros(0, dtype=np.int64)
    comb, ahead = run_together(Comb("end-zone", NO_STRIPES, nobody, nobody, horizon_px(shot) + off_px, 1.0), px, NO_STRIPES, SIZE)
    assert abs(comb.horizon_px - horizon_px(shot)) < 12.0
    assert abs(ahead - far[0]) < 30.0


def test_a_goal_post_is_no_sideline() -> None:
    shot = behind(0.0, 0.0)
    based = Based("end-zone", np.array([0.0, np.radians(10.0), 0.0, np.log(1150.0)]), 11.0, -20.0, 1.0)
    post = shot.project(0, np.array([[0.0, 29.6, 3.0], [0.0, 29.6, 9.0]]))
    side = shot.project(0, np.array([[20.0, 0.0], [90.0, 0.0]]))
    for ends, is_row in ((post, False), (side, True)):
        stripes = Stripes(np.zeros((1, 3)), ends[None], np.array([60]))
        solid = piles(based, stripes, np.zeros((0, 2)), SIZE, 0.3)[1]
        assert bool(solid.max() > 0) == is_row


def lines(off_px: np.ndarray, y: np.ndarray, line: np.ndarray) -> Assigned:
    count = len(off_px)
    at = np.column_stack([np.ones(count), np.zeros(count), -line])
    return Assigned(np.zeros((count, 2)), at, np.zeros((count, 3)), np.full(count, YARD_LINE), np.column_stack([line, y]), off_px,
                    np.ones(count), np.ones(count), np.ones(count))


def test_lines_that_are_off_together_are_told_from_scatter() -> None:
    rng = np.random.default_rng(11)
    y, line = rng.uniform(0, WIDTH_YD, 900), 5.0 * rng.integers(0, 12, 900)
    scatter = rng.normal(0.0, 0.6, 900)
    assert misfit_px(lines(scatter, y, line)) < 0.12
    assert misfit_px(lines(scatter + np.where(line > 25.0, 0.8, -0.8), y, line)) == pytest.approx(0.8, abs=0.1)
    assert np.isnan(misfit_px(lines(scatter[:4], y[:4], line[:4])))


def test_frames_that_tell_nothing_take_after_their_neighbours() -> None:
    assert filled(np.array([np.nan, 1.0, np.nan, 3.0, np.nan])).tolist() == [1.0, 1.0, 2.0, 3.0, 3.0]
    assert filled(np.full(3, np.nan)).tolist() == [0.0, 0.0, 0.0]


def test_a_camera_whose_lines_lie_beside_the_paint_is_doubted() -> None:
    camera = Solution(np.zeros((1, 4)), np.zeros(3), 0.0, SIZE)
    good = Hypothesis("end-zone", "college", (0,), camera, 400.0, across=90.0, lines=8.0, covered=0.42, sharp=LEAST_SHARP + 0.4)
    assert doubt(good, []) == ""
    assert "bend" in doubt(replace(good, sharp=LEAST_SHARP - 0.4), [])
