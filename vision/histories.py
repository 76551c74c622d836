"""Tracks as lists of boxes, and what each cut through a track knows: motion and looks before and after it."""

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

Moment = tuple[IntArray, IntArray]
"""M tracks and a frame of each."""

PERSISTENT_LOOKS_SIGMA = 0.5
"""How far the mean of a man's looks wanders over a rep (light, pose), in units of the spread of single boxes."""


def sightings(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> Sightings:
    """Positions of N tracks over the clip's K frames."""
    n, k = len(tracks), len(obs.time_s)
    position, covariance = np.full((n, k, 2), np.nan), np.tile(np.eye(2), (n, k, 1, 1))
    speed = np.zeros((n, k))
    for row, boxes in enumerate(tracks):
        position[row, obs.frame[boxes]] = obs.position[boxes]
        covariance[row, obs.frame[boxes]] = obs.covariance[boxes] * settings.repeated_error
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
class Histories:
    """N tracks over K frames. `past` (N, K, 4) what the boxes up to and with frame k tell, `future` those from k on;
    `past_looks`, `future_looks` (N, K, A) mean appearance with its weight in boxes (N, K); `first`, `last` (N,) frames;
    `density` (N, K) of the acceleration."""

    past: Belief
    future: Belief
    past_looks: FloatArray
    future_looks: FloatArray
    past_weight: FloatArray
    future_weight: FloatArray
    first: IntArray
    last: IntArray
    density: FloatArray


def histories(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> Histories:
    """Everything that joins and exchanges ask for, in one pass forward and one backward."""
    seen = sightings(obs, tracks, settings)
    n, k = seen.position.shape[:2]
    clarity = obs.clarity
    looks, weight = np.zeros((n, k, obs.appearance.shape[1])), np.zeros((n, k))
    for row, boxes in enumerate(tracks):
        weight[row, obs.frame[boxes]] = np.maximum(clarity[boxes], 0.01)
        looks[row, obs.frame[boxes]] = obs.appearance[boxes]
    summed, counted = np.cumsum(looks * weight[..., None], axis=1), np.cumsum(weight, axis=1)
    later, left = summed[:, -1:] - summed + looks * weight[..., None], counted[:, -1:] - counted + weight
    return Histories(
        past=filter_forward(seen, settings.motion),
        future=filter_backward(seen, settings.motion),
        past_looks=summed / np.maximum(counted, 1e-6)[..., None], future_looks=later / np.maximum(left, 1e-6)[..., None],
        past_weight=counted, future_weight=left,
        first=np.array([obs.frame[boxes[0]] for boxes in tracks], dtype=np.int64),
        last=np.array([obs.frame[boxes[-1]] for boxes in tracks], dtype=np.int64),
        density=seen.density,
    )


def looks_cost(h: Histories, head: Moment, tail: Moment, settings: TrackingSettings) -> FloatArray:
    """(M,) nats against the heads (track, frame) and the tails (track, frame) wearing the same."""
    if not h.past_looks.shape[2]:
        return np.zeros(len(head[0]))
    variance = PERSISTENT_LOOKS_SIGMA**2 + 1 / np.maximum(h.past_weight[head], 0.1) + 1 / np.maximum(h.future_weight[tail], 0.1)
    squared = ((h.past_looks[head] - h.future_looks[tail]) ** 2).sum(axis=-1) / variance
    surprise = np.maximum(squared - h.past_looks.shape[2], 0) / 2
    cost: FloatArray = np.minimum(settings.join_appearance_weight * surprise, settings.join_appearance_cap_nats)
    return cost
