"""The sides of a man's box about the ground under him: his stance, which changes slowly, and what strides and arms add to it.

Both are smoothed over all boxes he has, but on their own: his middle moves like a body with mass, his limbs do not, so one filter
for all would either blur the box or shake the man.
"""

from __future__ import annotations

import numpy as np

from vision import kalman
from vision.tracking_settings import TrackingSettings
from vision.types import FloatArray

LEFT_RIGHT, TOP_LOWER = [0, 2], [1, 3]


def smooth_sides(time_s: FloatArray, sides_yd: FloatArray, sigma_yd: FloatArray, settings: TrackingSettings) -> FloatArray:
    """Left, top, right and lower side (N, F, 4) of N boxes at F times, from measured ones, NaN where unseen, with their standard
    deviations (N, F, 4); NaN before a man's first box, and his stance alone far from any."""
    seen = np.isfinite(sides_yd[..., 0])
    stance = np.full(sides_yd.shape, np.nan)
    for pair in (LEFT_RIGHT, TOP_LOWER):
        variance = np.where(seen[..., None], sigma_yd[..., pair] ** 2 + settings.limbs_sigma_yd**2, 1.0)
        covariance = np.eye(2) * variance[..., None, :]
        density = np.full(seen.shape, settings.stance_density)
        stance[..., pair] = kalman.smooth(kalman.Sightings(time_s, sides_yd[..., pair], covariance, density),
                                          kalman.MotionModel(1.0, settings.outlier)).position
    rest = np.where(seen[..., None], sides_yd - stance, 0.0)
    return stance + _swing(time_s, rest, np.where(seen[..., None], sigma_yd**2, np.inf), settings)


def _swing(time_s: FloatArray, rest: FloatArray, variance: FloatArray, settings: TrackingSettings) -> FloatArray:
    """What returns to zero within `limbs_s`, smoothed: an Ornstein-Uhlenbeck process for each of (N, F, 4) series, measured with
    `variance`, infinite where they are not (Rauch, Tung, Striebel 1965)."""
    power = settings.limbs_sigma_yd**2
    keep = np.exp(-np.diff(time_s, prepend=time_s[:1]) / settings.limbs_s)
    mean, spread = np.zeros_like(rest), np.full(rest.shape, power)
    for k in range(len(time_s)):
        if k:
            mean[:, k] = keep[k] * mean[:, k - 1]
            spread[:, k] = keep[k] ** 2 * spread[:, k - 1] + (1 - keep[k] ** 2) * power
        gain = spread[:, k] / (spread[:, k] + variance[:, k])
        mean[:, k] += gain * (rest[:, k] - mean[:, k])
        spread[:, k] *= 1 - gain
    for k in range(len(time_s) - 2, -1, -1):
        ahead = keep[k + 1] ** 2 * spread[:, k] + (1 - keep[k + 1] ** 2) * power
        gain = keep[k + 1] * spread[:, k] / ahead
        mean[:, k] += gain * (mean[:, k + 1] - keep[k + 1] * mean[:, k])
    return mean
