"""Tracks as lists of boxes, and what a piece of one tells at its ends: where it leads, where it comes from, how it looks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.kalman import Belief, Sightings, filter_backward, filter_forward
from vision.observations import Observations
from vision.tracking_settings import TrackingSettings
from vision.types import FloatArray, IntArray

Track = IntArray
"""Rows of a track's boxes in the observations, in order of time, at most one a frame."""

PERSISTENT_LOOKS_SIGMA = 1.0
"""How far the mean of a man's looks wanders over a rep (light, pose), in units of the spread of single boxes."""

MIN_CLARITY = 0.1
"""Even a piece of doubtful boxes shows this much of one clear box."""


def sightings(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> Sightings:
    """Positions of N tracks over the clip's K frames."""
    n, k = len(tracks), len(obs.time_s)
    position, covariance = np.full((n, k, 2), np.nan), np.tile(np.eye(2), (n, k, 1, 1))
    speed = np.zeros((n, k))
    for row, boxes in enumerate(tracks):
        position[row, obs.frame[boxes]] = obs.position[boxes]
        covariance[row, obs.frame[boxes]] = obs.covariance[boxes]
        speed[row] = _speed(obs.time_s, obs.time_s[obs.frame[boxes]], obs.position[boxes], settings.speed_window_s)
    return Sightings(obs.time_s, position, covariance, settings.density(speed))


def _speed(time_s: FloatArray, seen_s: FloatArray, position: FloatArray, window_s: float) -> FloatArray:
    """(K,) yd/s of one track at all times: displacement over a window, the mean of its halves against noise."""
    # Areas under the path give means over a window without a loop.
    area = np.zeros((len(seen_s), 2))
    area[1:] = np.cumsum((position[1:] + position[:-1]) / 2 * np.diff(seen_s)[:, None], axis=0)

    def mean_over(low: FloatArray, high: FloatArray) -> FloatArray:
        low, high = np.clip(low, seen_s[0], seen_s[-1]), np.clip(high, seen_s[0], seen_s[-1])
        span = high - low
        summed = _along(high, seen_s, area) - _along(low, seen_s, area)
        end = _along(high, seen_s, position)
        return np.where(span[:, None] > 1e-6, summed / np.maximum(span, 1e-6)[:, None], end)

    moved = mean_over(time_s, time_s + window_s) - mean_over(time_s - window_s, time_s)
    speed: FloatArray = np.linalg.norm(moved, axis=1) / window_s
    return speed


def _along(at_s: FloatArray, seen_s: FloatArray, path: FloatArray) -> FloatArray:
    """(K, 2) points of a path (M, 2) at other times."""
    return np.stack([np.interp(at_s, seen_s, path[:, axis]) for axis in (0, 1)], axis=1)


@dataclass(frozen=True)
class Pieces:
    """N pieces of tracks seen from their ends. `past` (N, 4) where all boxes lead at the `last` (N,) frame, `future` (N, 4) where
    they come from at the `first` (N,); `looks` (N, A) mean appearance, worth `clarity` (N,) clear boxes; `start_density`,
    `end_density` (N,) of the acceleration there."""

    past: Belief
    future: Belief
    first: IntArray
    last: IntArray
    looks: FloatArray
    clarity: FloatArray
    start_density: FloatArray
    end_density: FloatArray


def summarise(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> Pieces:
    """Everything that joins ask for, in one pass forward and one backward."""
    seen = sightings(obs, tracks, settings)
    forward, backward = filter_forward(seen, settings.motion), filter_backward(seen, settings.motion)
    first = np.array([obs.frame[boxes[0]] for boxes in tracks], dtype=np.int64)
    last = np.array([obs.frame[boxes[-1]] for boxes in tracks], dtype=np.int64)
    everyone = np.arange(len(tracks))
    clarity = obs.clarity
    return Pieces(
        past=Belief(forward.mean[everyone, last], forward.covariance[everyone, last]),
        future=Belief(backward.mean[everyone, first], backward.covariance[everyone, first]),
        first=first, last=last, looks=mean_looks(obs, tracks),
        clarity=np.array([clarity[boxes].sum() for boxes in tracks]),
        start_density=seen.density[everyone, first], end_density=seen.density[everyone, last],
    )


def mean_looks(obs: Observations, tracks: Sequence[Track]) -> FloatArray:
    """(N, A) mean appearance, clear boxes counting most."""
    clarity = obs.clarity + 1e-3
    return np.array([np.average(obs.appearance[boxes], axis=0, weights=clarity[boxes]) for boxes in tracks])


def looks_cost(pieces: Pieces, head: IntArray, tail: IntArray, settings: TrackingSettings) -> FloatArray:
    """(M,) nats against the pieces `head` and `tail` (M,) wearing the same."""
    return looks_apart(pieces.looks[head], pieces.looks[tail], pieces.clarity[head], pieces.clarity[tail], settings)


def looks_apart(one: FloatArray, other: FloatArray, clarity: FloatArray, other_clarity: FloatArray,
                settings: TrackingSettings) -> FloatArray:
    """(M,) nats against two mean looks (M, A), each worth so many clear boxes (M,), being one man's.

    The tails are Student's, not Gauss's: a man who turns round, stoops or runs out of the shade looks like another one, so even
    the clearest difference is worth a few nats only, and where he was and went outweighs it.
    """
    variance = PERSISTENT_LOOKS_SIGMA**2 + 1 / np.maximum(clarity, MIN_CLARITY) + 1 / np.maximum(other_clarity, MIN_CLARITY)
    squared = ((one - other) ** 2).sum(axis=-1) / variance
    cost: FloatArray = settings.looks_nats * np.log1p(squared / settings.looks_scale)
    return cost
