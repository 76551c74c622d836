"""A man on the ground as a Kalman filter: position and velocity in two dimensions, accelerations as white noise.

Many tracks at once, with a covariance for every measurement and any time steps. States are (x, vx, y, vy). The model is
filterpy's (alone imported here); the recursions run on whole batches because one track at a time is too slow for a clip.
Source: Bar-Shalom, Li, Kirubarajan, Estimation with Applications to Tracking and Navigation, chapters 6.2 and 8.6.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from filterpy.common import Q_continuous_white_noise

from vision.types import BoolArray, FloatArray

POSITION = (0, 2)
VELOCITY = (1, 3)
TURN_BACK = np.array([1.0, -1.0, 1.0, -1.0])
"""Time reversed: velocities change their sign."""


@dataclass(frozen=True)
class Belief:
    """Gaussians over states: `mean` (..., 4), `covariance` (..., 4, 4)."""

    mean: FloatArray
    covariance: FloatArray

    @property
    def position(self) -> FloatArray:
        """(..., 2)"""
        return self.mean[..., 0::2]

    @property
    def velocity(self) -> FloatArray:
        """(..., 2)"""
        return self.mean[..., 1::2]

    @property
    def position_covariance(self) -> FloatArray:
        """(..., 2, 2)"""
        return self.covariance[..., 0::2, 0::2]

    def reversed(self) -> Belief:
        """The same seen with time running backward."""
        return Belief(self.mean * TURN_BACK, self.covariance * np.outer(TURN_BACK, TURN_BACK))


@dataclass(frozen=True)
class Sightings:
    """What was measured of N tracks: `time_s` (T,), `position` (N, T, 2) NaN where unseen, `covariance` (N, T, 2, 2);
    `density` (N, T), the power density of the acceleration in yd2/s3 around each moment."""

    time_s: FloatArray
    position: FloatArray
    covariance: FloatArray
    density: FloatArray

    def reversed(self) -> Sightings:
        """The same seen with time running backward."""
        return Sightings(-self.time_s[::-1], self.position[:, ::-1], self.covariance[:, ::-1], self.density[:, ::-1])


@lru_cache(maxsize=4096)
def step_model(dt_s: float, density: float) -> tuple[FloatArray, FloatArray]:
    """Transition (4, 4) and process noise (4, 4) over `dt_s` for a power density of the acceleration in yd2/s3."""
    one = np.array([[1.0, dt_s], [0.0, 1.0]])
    noise = Q_continuous_white_noise(dim=2, dt=dt_s, spectral_density=density, block_size=2, order_by_dim=True)
    return np.kron(np.eye(2), one), np.asarray(noise, dtype=np.float64)


def start(position: FloatArray, covariance: FloatArray, speed_sigma: float) -> Belief:
    """First sight of a man: measured `position` (..., 2) with `covariance` (..., 2, 2), standing give or take `speed_sigma`."""
    mean = np.zeros((*position.shape[:-1], 4))
    mean[..., 0::2] = position
    spread = np.zeros((*position.shape[:-1], 4, 4))
    spread[..., 0::2, 0::2] = covariance
    spread[..., VELOCITY, VELOCITY] = speed_sigma**2
    return Belief(mean, spread)


def predict(belief: Belief, dt_s: float, density: float | FloatArray) -> Belief:
    """Where the men will be `dt_s` later; `density` for all, or one each (...,)."""
    move, unit = step_model(round(dt_s, 6), 1.0)
    noise = unit * np.asarray(density, dtype=np.float64)[..., None, None]
    return Belief(belief.mean @ move.T, move @ belief.covariance @ move.T + noise)


def update(belief: Belief, position: FloatArray, covariance: FloatArray) -> Belief:
    """The belief after measuring `position` (..., 2) with `covariance` (..., 2, 2)."""
    innovation = position - belief.position
    gain = np.swapaxes(np.linalg.solve(belief.position_covariance + covariance, belief.covariance[..., 0::2, :]), -1, -2)
    mean = belief.mean + (gain @ innovation[..., None])[..., 0]
    # Joseph's form stays symmetric and positive whatever the rounding.
    keep = np.broadcast_to(np.eye(4), belief.covariance.shape).copy()
    keep[..., :, 0::2] -= gain
    spread = keep @ belief.covariance @ np.swapaxes(keep, -1, -2) + gain @ covariance @ np.swapaxes(gain, -1, -2)
    return Belief(mean, spread)


@dataclass(frozen=True)
class MotionModel:
    """`speed_sigma` (yd/s) of a man first seen. A measurement whose squared Mahalanobis distance is beyond `outlier` counts for
    less in proportion (a merged or cut box), as a heavy-tailed one would."""

    speed_sigma: float
    outlier: float = np.inf


def filter_forward(sightings: Sightings, model: MotionModel) -> Belief:
    """Filtered beliefs (N, T, 4) of N tracks; before a track's first measurement its rows are NaN."""
    time_s, position, covariance = sightings.time_s, sightings.position, sightings.covariance
    n, t = position.shape[:2]
    seen: BoolArray = np.asarray(np.isfinite(position).all(axis=2))
    begun = np.zeros(n, dtype=np.bool_)
    mean, spread = np.full((n, t, 4), np.nan), np.full((n, t, 4, 4), np.nan)
    for k in range(t):
        if k and begun.any():
            ahead = predict(Belief(mean[begun, k - 1], spread[begun, k - 1]), time_s[k] - time_s[k - 1],
                            _between(sightings, begun, k))
            mean[begun, k], spread[begun, k] = ahead.mean, ahead.covariance
        _take(mean, spread, k, begun & seen[:, k], sightings, model.outlier)
        new = seen[:, k] & ~begun
        if new.any():
            first = start(position[new, k], covariance[new, k], model.speed_sigma)
            mean[new, k], spread[new, k] = first.mean, first.covariance
            begun |= new
    return Belief(mean, spread)


def _between(sightings: Sightings, rows: BoolArray, k: int) -> FloatArray:
    """Density over the step into frame k: the same in both directions of time."""
    both: FloatArray = (sightings.density[rows, k - 1] + sightings.density[rows, k]) / 2
    return both


def _take(mean: FloatArray, spread: FloatArray, k: int, rows: BoolArray, sightings: Sightings, outlier: float) -> None:
    if not rows.any():
        return
    before = Belief(mean[rows, k], spread[rows, k])
    position, covariance = sightings.position[rows, k], sightings.covariance[rows, k]
    if np.isfinite(outlier):
        off = position - before.position
        squared = (off * np.linalg.solve(before.position_covariance + covariance, off[..., None])[..., 0]).sum(axis=-1)
        covariance = covariance * np.maximum(squared / outlier, 1.0)[:, None, None]
    after = update(before, position, covariance)
    mean[rows, k], spread[rows, k] = after.mean, after.covariance


def filter_backward(sightings: Sightings, model: MotionModel) -> Belief:
    """`filter_forward` with time running backward: what the future alone tells, velocities in forward time."""
    flipped = filter_forward(sightings.reversed(), model)
    return Belief(flipped.mean[:, ::-1], flipped.covariance[:, ::-1]).reversed()


def smooth(sightings: Sightings, model: MotionModel) -> Belief:
    """Beliefs (N, T, 4) given all measurements (Rauch, Tung, Striebel 1965); before a track's first one NaN."""
    filtered, time_s = filter_forward(sightings, model), sightings.time_s
    mean, spread = filtered.mean.copy(), filtered.covariance.copy()
    begun = np.isfinite(mean[..., 0])
    for k in range(len(time_s) - 2, -1, -1):
        rows = begun[:, k]
        if not rows.any():
            break
        dt_s = time_s[k + 1] - time_s[k]
        move, _ = step_model(round(dt_s, 6), 1.0)
        here = Belief(filtered.mean[rows, k], filtered.covariance[rows, k])
        ahead = predict(here, dt_s, _between(sightings, rows, k + 1))
        gain = np.swapaxes(np.linalg.solve(ahead.covariance, move @ here.covariance), -1, -2)
        mean[rows, k] += (gain @ (mean[rows, k + 1] - ahead.mean)[..., None])[..., 0]
        spread[rows, k] += gain @ (spread[rows, k + 1] - ahead.covariance) @ np.swapaxes(gain, -1, -2)
    return Belief(mean, spread)


def join_cost(past: Belief, future: Belief, dt_s: FloatArray, density: float | FloatArray) -> FloatArray:
    """(...,) -log density that a man with the belief `past` becomes, `dt_s` (...,) later, one with the belief `future`.

    `past` comes from `filter_forward`, `future` from `filter_backward`; this is the exact likelihood ratio of joining
    two pieces of a track against keeping them apart, but for the prior on the second piece's start.
    """
    gap = np.asarray(dt_s, dtype=np.float64)[..., None, None]
    one, zero = np.ones_like(gap), np.zeros_like(gap)
    move = np.kron(np.eye(2), [[1.0, 0.0], [0.0, 1.0]]) * one + np.kron(np.eye(2), [[0.0, 1.0], [0.0, 0.0]]) * gap
    # dt^3/3, dt^2/2, dt: the power of the gap scales each entry on its own.
    unit = step_model(1.0, 1.0)[1] * np.asarray(density, dtype=np.float64)[..., None, None]
    power = np.kron(np.ones((2, 2)), [[3.0, 2.0], [2.0, 1.0]])
    spread = move @ past.covariance @ np.swapaxes(move, -1, -2) + unit * gap**power + future.covariance + 1e-9 * np.eye(4) + zero
    off = future.mean - (move @ past.mean[..., None])[..., 0]
    squared = (off * np.linalg.solve(spread, off[..., None])[..., 0]).sum(axis=-1)
    cost: FloatArray = 0.5 * (squared + np.linalg.slogdet(2 * np.pi * spread)[1])
    return cost
