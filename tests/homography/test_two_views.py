"""Two views of invented people laid on each other: the numbers that were put in must come out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from homography.align_views import Alignment, align, on_grid
from homography.complete import complete
from homography.field import LENGTH_YD, WIDTH_YD
from homography.types import FieldTracks

RATE = 30.0


def walkers(seed: int, count: int = 20, seconds: float = 9.0) -> tuple[np.ndarray, np.ndarray]:
    """Times (T,) and paths (N, T, 2) of people who stand, then run each his own way from the third second on."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, seconds, 1.0 / RATE)
    start = np.stack([rng.uniform(40, 65, count), rng.uniform(5, 48, count)], axis=1)
    way = rng.normal(0.0, 3.0, (count, 2))
    late = np.maximum(0.0, time_s - 3.0 - rng.uniform(0.0, 0.4, (count, 1)))
    return time_s, start[:, None] + way[:, None] * late[:, :, None] * np.cos(late[:, :, None] / 3.0)


def seen(time_s: np.ndarray, paths: np.ndarray, noise_yd: float = 0.15, seed: int = 0) -> FieldTracks:
    """The paths as one view's tracks."""
    n, t = paths.shape[:2]
    xy = paths + np.random.default_rng(seed).normal(0.0, noise_yd, paths.shape)
    when, who = np.meshgrid(np.arange(t), np.arange(n), indexing="ij")
    when, who = when.ravel(), who.ravel()
    return FieldTracks(when, time_s[when], who + 1, np.zeros(n * t, dtype=np.int64), np.ones(n * t, dtype=np.bool_),
                       xy[who, when], np.full(n * t, 0.2), np.full(n * t, np.nan))


@settings(max_examples=12, deadline=None)
@given(steps=st.integers(-8, 8), half_turn=st.booleans(), delay_s=st.floats(-2.0, 2.0), seed=st.integers(0, 50))
def test_clock_yard_lines_and_half_turn_come_out(steps: int, half_turn: bool, delay_s: float, seed: int) -> None:
    time_s, paths = walkers(seed)
    moved = paths + np.array([5.0 * steps, 0.0])
    second = np.array([LENGTH_YD, WIDTH_YD]) - moved if half_turn else moved
    how = align(on_grid(seen(time_s, paths)), on_grid(seen(time_s - delay_s, second, seed=1)), yard_lines_known=False)
    assert how is not None
    assert how.half_turn == half_turn
    assert how.offset_s == pytest.approx(delay_s, abs=2.0 / RATE)
    back = how.field(second)
    assert np.abs(np.median(back - paths, axis=(0, 1))).max() < 0.15


def test_strangers_are_not_laid_on_each_other() -> None:
    time_s, paths = walkers(1)
    _, others = walkers(2)
    assert align(on_grid(seen(time_s, paths)), on_grid(seen(time_s, others)), yard_lines_known=False) is None


def test_known_yard_lines_are_not_moved() -> None:
    time_s, paths = walkers(3)
    moved = seen(time_s, paths + np.array([15.0, 0.0]))
    assert align(on_grid(seen(time_s, paths)), on_grid(moved), yard_lines_known=True) is None


def test_matrix_and_inverse_agree_with_a_rotation_by_half() -> None:
    """scipy's rotation by pi about the upright axis is the half-turn (SciPy reference, spatial.transform.Rotation)."""
    how = Alignment(0.5, True, np.array([10.0, -0.2]), 1.0)
    points = np.random.default_rng(0).uniform(0, 50, (7, 2))
    turned = (Rotation.from_euler("z", np.pi).apply(np.column_stack([points, np.zeros(7)]))[:, :2]
              + [LENGTH_YD, WIDTH_YD] + how.shift_yd)
    assert np.allclose(how.field(points), turned)
    homogeneous = np.column_stack([points, np.ones(7)]) @ how.matrix().T
    assert np.allclose(homogeneous[:, :2], turned)
    assert np.allclose(how.inverse().field(how.field(points)), points)
    assert how.inverse().offset_s == -0.5


def test_who_left_this_picture_is_taken_from_the_other() -> None:
    time_s, paths = walkers(4, count=6)
    own, other = seen(time_s, paths, 0.0), seen(time_s - 1.0, paths + np.array([5.0, 0.0]), 0.0)
    gone = (own.track_id == 2) & (own.time_s > 4.0)
    own = FieldTracks(*(getattr(own, name)[~gone] for name in FieldTracks.__dataclass_fields__))
    whole = complete(own, other, Alignment(1.0, False, np.array([-5.0, 0.0]), 1.0))
    mine = whole.track_id == 2
    # The other's clock ends a second earlier, so its last second is nobody's.
    assert whole.time_s[mine].max() == pytest.approx(time_s[-1], abs=1.0 / RATE)
    filled = mine & (whole.time_s > 4.0)
    assert not whole.observed[filled].any()
    rows = np.searchsorted(time_s, whole.time_s[filled] - 1e-9)
    assert np.abs(whole.xy_yd[filled] - paths[1, rows]).max() < 0.05
    assert len(np.unique(np.stack([whole.frame_index, whole.track_id], axis=1), axis=0)) == len(whole)
