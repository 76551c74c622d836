"""Facing over a track, from looks made by hand: front and back told apart, turns followed, unsure tracks left open."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.facing import REACH_S, SMALLEST_PX, Glances, facings, gather, glances, whose
from vision.sights import FACING_BINS, Sight, bin_angles
from vision.types import Detections, Tracks

STEP_S = 2 / 15


def histogram(facing_rad: np.ndarray, ray_rad: np.ndarray, sd_rad: float, flip: float | np.ndarray = 0.0) -> np.ndarray:
    """(K, 36) log probabilities of looks that see `facing_rad`, with a share `flip` of them on the opposite side."""
    def peak(at: np.ndarray) -> np.ndarray:
        off = (bin_angles()[None] - at[:, None] + np.pi) % (2 * np.pi) - np.pi
        p = np.exp(-0.5 * (off / sd_rad) ** 2) + 1e-4
        return p / p.sum(axis=1, keepdims=True)

    away, flip = facing_rad - ray_rad, np.broadcast_to(flip, facing_rad.shape)[:, None]
    return np.log((1 - flip) * peak(away) + flip * peak(away + np.pi))


def looks(facing_rad: np.ndarray, ray_rad: float = 1.5, sd_rad: float = 0.3, flip: float | np.ndarray = 0.0,
          tall_px: float = 50.0, man: int = 4, covered: float = 0.0) -> Glances:
    k = len(facing_rad)
    ray = np.full(k, ray_rad)
    return Glances(STEP_S * np.arange(k), np.full(k, man), histogram(facing_rad, ray, sd_rad, flip), ray, np.full(k, tall_px),
                   np.full(k, covered))


def told(seen: Glances) -> tuple[np.ndarray, np.ndarray]:
    """Facing and sigma at the times of the looks."""
    time_s = np.unique(seen.time_s)
    return facings(seen, time_s, np.full(len(time_s), 4))


def off(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.abs((a - b + np.pi) % (2 * np.pi) - np.pi)


@settings(max_examples=25, deadline=None)
@given(st.floats(-3.1, 3.1), st.floats(-3.1, 3.1))
def test_who_stands_still_is_told_in_the_plane_wherever_the_camera_is(facing: float, ray: float) -> None:
    truth = np.full(12, facing)
    found, sigma = told(looks(truth, ray))
    assert off(found, truth).max() < np.radians(6)
    assert sigma.max() < 0.3


def test_a_turn_is_followed() -> None:
    truth = np.interp(np.arange(30), [0, 10, 20, 30], [0.0, 0.0, np.pi, np.pi])
    found, _ = told(looks(truth))
    assert np.median(off(found, truth)) < np.radians(10)
    assert off(found, truth).max() < np.radians(30)


def test_looks_that_take_front_for_back_are_outvoted() -> None:
    rng = np.random.default_rng(0)
    truth = np.full(40, 2.0)
    wrong = rng.random(40) < 0.25
    found, _ = told(looks(truth, flip=np.where(wrong, 0.85, 0.1)))
    assert np.isfinite(found).mean() > 0.5
    assert np.nanmax(off(found, truth)) < np.radians(12)


def test_front_or_back_stays_open_where_nothing_decides() -> None:
    found, sigma = told(looks(np.full(20, 0.7), flip=0.5))
    assert np.isnan(found).all()
    assert np.isnan(sigma).all()


def test_a_track_that_took_somebody_elses_boxes_is_left_open_there() -> None:
    truth = np.where(np.arange(40) % 2, 0.0, np.pi)
    found, _ = told(looks(truth))
    assert np.isnan(found).all()


def test_small_and_unsure_men_are_left_open_and_sigma_grows_with_doubt() -> None:
    truth = np.full(12, 1.0)
    assert np.isnan(told(looks(truth, tall_px=SMALLEST_PX - 1))[0]).all()
    assert np.isnan(told(looks(truth, sd_rad=40.0))[0]).all()
    sharp, wide = (told(looks(truth, sd_rad=sd))[1] for sd in (0.2, 0.9))
    assert np.nanmean(wide) > 1.5 * np.nanmean(sharp)


def test_two_cameras_decide_together() -> None:
    """One sees the line of his shoulders, but not front from back; the other only roughly which way he faces."""
    truth = np.full(20, 0.8)
    shoulders, roughly = looks(truth, 0.0, flip=0.5), looks(truth, np.pi / 2, sd_rad=1.2)
    assert np.isnan(told(shoulders)[0]).all()
    found, sigma = told(gather([shoulders, roughly.moved(0.05, 0.0)]))
    assert off(found, np.full(40, 0.8)).max() < np.radians(10)
    assert np.nanmean(sigma) < 0.8 * np.nanmean(told(roughly)[1])


def test_no_answer_far_from_any_look() -> None:
    seen = looks(np.full(10, 1.0))
    late = seen.time_s[-1] + np.array([0.1, REACH_S + 0.1])
    found, _ = facings(seen, late, np.array([4, 4]))
    assert np.isfinite(found).tolist() == [True, False]


def test_looks_are_given_to_the_tracks_that_their_boxes_made() -> None:
    boxes = np.array([[10, 10, 30, 60], [100, 10, 120, 60]], np.float32)
    found = Detections(6, 0.2, boxes, np.ones(2, np.float32), np.zeros(2, np.int64))
    tracks = Tracks(np.array([6, 6]), np.array([0.2, 0.2]), np.array([3, 8]), boxes[::-1] + 1.0, np.array([True, True]),
                    np.zeros(2, np.int64), np.ones(2), np.ones(2))
    owners = whose(tracks, [found])
    assert sorted(zip(owners.box.tolist(), owners.track_id.tolist(), strict=True)) == [(0, 8), (1, 3)]
    log = histogram(np.array([0.5, 2.0]), np.zeros(2), 0.3).astype(np.float32)
    blank = np.zeros((2, 3), np.float32)
    sight = Sight(log, blank, np.zeros((2, 9), np.float32), np.zeros((2, 11), np.float32), np.zeros((2, 10), np.float32),
                  np.zeros(2, np.float32), np.zeros((2, 12), np.float32))
    seen = glances(owners, [found], [sight], [np.array([0.1, np.nan])])
    assert seen.track_id.tolist() == [8], "who does not stand on the ground has no viewing ray"
    assert seen.tall_px.tolist() == [50.0]
    assert np.argmax(seen.log_facing[0]) == int((0.5 + np.pi) / (2 * np.pi) * FACING_BINS)
    assert len(glances(owners, [found], [None], [np.zeros(2)])) == 0


def test_nobody_looked() -> None:
    facing, sigma = facings(gather([]), np.zeros(2), np.arange(2))
    assert np.isnan(facing).all()
    assert np.isnan(sigma).all()
