"""Sides of boxes about men: strides stay, noise goes, and who is not seen stands as he usually does."""

from __future__ import annotations

import numpy as np

from vision.silhouettes import smooth_sides
from vision.tracking_settings import TrackingSettings

SETTINGS = TrackingSettings()
TIME_S = np.arange(90) / 30.0
REST = np.array([-0.4, -1.8, 0.4, 0.1])


def strides(rng: np.random.Generator, swing_yd: float, noise_yd: float) -> tuple[np.ndarray, np.ndarray]:
    """Sides (20, 90, 4) of runners whose limbs swing three times in two seconds, true and as measured at every second frame."""
    phase = rng.uniform(0, 2 * np.pi, (20, 1, 4))
    true = REST + swing_yd * np.sin(2 * np.pi * 1.5 * TIME_S[None, :, None] + phase)
    measured = true + rng.normal(0, noise_yd, true.shape)
    measured[:, 1::2] = np.nan
    return true, measured


def test_strides_are_kept_and_noise_is_less() -> None:
    rng = np.random.default_rng(0)
    true, measured = strides(rng, 0.1, 0.05)
    off = smooth_sides(TIME_S, measured, np.full(measured.shape, 0.05), SETTINGS) - true
    seen = np.isfinite(measured)
    assert off[seen].std() < 0.9 * (measured - true)[seen].std()
    assert off[seen].std() < 0.7 * (REST - true)[seen].std()


def test_doubtful_boxes_move_little_and_a_gap_shows_his_usual_stance() -> None:
    _, measured = strides(np.random.default_rng(1), 0.0, 0.02)
    sigma = np.full(measured.shape, 0.02)
    measured[:, 30], sigma[:, 30] = REST + 0.6, 0.5
    measured[:, 50:80] = np.nan
    smooth = smooth_sides(TIME_S, measured, sigma, SETTINGS)
    assert np.abs(smooth[:, 30] - REST).max() < 0.12
    assert np.abs(smooth[:, 55:78] - REST).max() < 0.2
    assert np.isnan(smooth_sides(TIME_S, np.where(TIME_S[:, None] < 1.0, np.nan, measured), sigma, SETTINGS)[:, :30]).all()
