"""Two men who met and left as each other: tracks exchange their futures where that explains all boxes better.

Joins look at one end and one beginning at a time. Here both men of a meeting are judged together, with all that is seen of them
before and after. The past of every track leads to its last box before a moment and its future comes from the first box after it,
so what an exchange is worth follows from the two passes of the filter, without following anybody anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.kalman import Belief, filter_backward, filter_forward, join_cost
from vision.observations import Observations
from vision.pieces import Track, looks_apart, sightings
from vision.tracking_settings import TrackingSettings
from vision.types import FloatArray, IntArray

MEETING_YD = 2.5
"""Men who were never this near cannot have been taken for each other."""
ROUNDS = 10


def exchange(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> list[Track]:
    """`tracks` with futures exchanged, the best exchanges first, until none is worth `exchange_nats`."""
    out = list(tracks)
    for _ in range(ROUNDS):
        if len(out) < 2:
            break
        sides = _look_both_ways(obs, out, settings)
        moment, one, other = sides.meetings()
        gain = (sides.cost(moment, one, one, settings) + sides.cost(moment, other, other, settings)
                - sides.cost(moment, one, other, settings) - sides.cost(moment, other, one, settings))
        moved: set[int] = set()
        for best in np.argsort(-gain):
            a, b = int(one[best]), int(other[best])
            if gain[best] < settings.exchange_nats:
                break
            if not moved & {a, b}:
                moved |= {a, b}
                out[a], out[b] = _crossed(obs, out[a], out[b], int(moment[best]))
        if not moved:
            break
    return out


def _crossed(obs: Observations, a: Track, b: Track, moment: int) -> tuple[Track, Track]:
    """Both tracks with the boxes from frame `moment` on exchanged."""
    cut_a, cut_b = (int(np.searchsorted(obs.frame[boxes], moment)) for boxes in (a, b))
    return np.concatenate([a[:cut_a], b[cut_b:]]), np.concatenate([b[:cut_b], a[cut_a:]])


@dataclass(frozen=True)
class _BothWays:
    """N tracks over K frames: `past`, `future` beliefs (N, K, 4) and `density` (N, K); `last`, `next` (N, K) the frame of the
    last box up to each frame and of the first from it on, -1 and K where there is none; `looks` (N, K + 1, A) and `clarity`
    (N, K + 1) summed over the boxes before each frame."""

    time_s: FloatArray
    past: Belief
    future: Belief
    density: FloatArray
    last: IntArray
    next: IntArray
    looks: FloatArray
    clarity: FloatArray

    def meetings(self) -> tuple[IntArray, IntArray, IntArray]:
        """Frame and two tracks, (M,) each: both have boxes before and from that frame on, and are near each other then."""
        frames = self.last.shape[1]
        found = []
        for moment in range(1, frames):
            before, after = self.last[:, moment - 1], self.next[:, moment]
            there = np.flatnonzero((before >= 0) & (after < frames))
            place = (self.past.position[there, before[there]] + self.future.position[there, after[there]]) / 2
            apart = np.linalg.norm(place[:, None] - place[None], axis=2)
            one, other = np.nonzero(np.triu(apart < MEETING_YD, 1))
            found.append(np.stack([np.full(len(one), moment), there[one], there[other]]))
        met = np.concatenate(found, axis=1) if found else np.zeros((3, 0), dtype=np.int64)
        return met[0], met[1], met[2]

    def cost(self, moment: IntArray, before: IntArray, after: IntArray, settings: TrackingSettings) -> FloatArray:
        """(M,) nats of track `before`'s past and track `after`'s future being one man's, cut at `moment`."""
        last, following = self.last[before, moment - 1], self.next[after, moment]
        past = Belief(self.past.mean[before, last], self.past.covariance[before, last])
        future = Belief(self.future.mean[after, following], self.future.covariance[after, following])
        density = (self.density[before, last] + self.density[after, following]) / 2
        motion = join_cost(past, future, self.time_s[following] - self.time_s[last], density)
        clear = self.clarity[before, moment], self.clarity[after, -1] - self.clarity[after, moment]
        looks = self.looks[before, moment], self.looks[after, -1] - self.looks[after, moment]
        head, tail = (total / np.maximum(weight, 1e-3)[:, None] for total, weight in zip(looks, clear, strict=True))
        return motion + looks_apart(head, tail, *clear, settings)


def _look_both_ways(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> _BothWays:
    n, k = len(tracks), len(obs.time_s)
    seen = sightings(obs, tracks, settings)
    frames = np.broadcast_to(np.arange(k), (n, k))
    has = np.isfinite(seen.position[..., 0])
    looks, clarity = np.zeros((n, k + 1, obs.appearance.shape[1])), np.zeros((n, k + 1))
    weight = obs.clarity
    for row, boxes in enumerate(tracks):
        looks[row, obs.frame[boxes] + 1] = obs.appearance[boxes] * weight[boxes, None]
        clarity[row, obs.frame[boxes] + 1] = weight[boxes]
    return _BothWays(
        time_s=obs.time_s, past=filter_forward(seen, settings.motion), future=filter_backward(seen, settings.motion),
        density=seen.density, last=np.maximum.accumulate(np.where(has, frames, -1), axis=1),
        next=np.minimum.accumulate(np.where(has, frames, k)[:, ::-1], axis=1)[:, ::-1],
        looks=looks.cumsum(axis=1), clarity=clarity.cumsum(axis=1))
