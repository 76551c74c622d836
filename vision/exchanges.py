"""Who went where after two men met: exchange the futures of two tracks wherever motion and looks fit better that way.

The tracker's worst error is a switch of identity. Every moment at which two tracks come near each other is judged anew with
all that was seen before and all that was seen after it, over cuts of every frame and over cuts that leave out the meeting
itself, where boxes are merged and lie.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.histories import Histories, Track, histories, looks_cost
from vision.kalman import Belief, join_cost
from vision.observations import Observations
from vision.tracking_settings import TrackingSettings
from vision.types import BoolArray, FloatArray, IntArray

MAX_CUTS = 12
"""Cuts tried within one meeting; men who stand beside each other for seconds need no more."""


@dataclass(frozen=True)
class Cuts:
    """M possible exchanges between tracks `a` and `b` (M,): the past up to frame `before`, the future from `after` on."""

    a: IntArray
    b: IntArray
    before: IntArray
    after: IntArray


def exchange(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> list[Track]:
    """Exchange futures until nothing gains any more (or `swap_rounds` are over)."""
    current = [np.asarray(track) for track in tracks]
    for _ in range(settings.swap_rounds):
        h = histories(obs, current, settings)
        cuts = meetings(obs, h, settings)
        gain = gains(obs, h, cuts, settings)
        chosen = _best_apart(cuts, gain, settings.swap_margin_nats)
        if not chosen:
            break
        for m in chosen:
            a, b = int(cuts.a[m]), int(cuts.b[m])
            current[a], current[b] = _exchanged(obs, current[a], current[b], int(cuts.before[m]))
        current = [track for track in current if len(track)]
    return current


def meetings(obs: Observations, h: Histories, settings: TrackingSettings) -> Cuts:
    """Every frame at which two tracks are near each other, and every whole meeting."""
    n, frames = h.past.mean.shape[:2]
    coast = settings.coast_s * 2
    until = np.searchsorted(obs.time_s, obs.time_s[h.last] + coast)
    since = np.searchsorted(obs.time_s, obs.time_s[h.first] - coast)
    found: list[tuple[int, int, int, int]] = []
    steps = np.arange(frames)
    where = np.where(steps[None, :, None] < h.first[:, None, None], h.future.position, h.past.position)
    near_enough = settings.swap_distance_yd**2
    for a in range(n):
        for b in range(a + 1, n):
            low, high = max(since[a], since[b], 0), min(until[a], until[b], frames)
            if high - low < 2:
                continue
            near = ((where[a, low:high] - where[b, low:high]) ** 2).sum(axis=1) < near_enough
            found += [(a, b, low + first + d, low + last + e) for first, last, d, e in _runs(near)
                      if low + first + d >= 0 and low + last + e < frames]
    table = np.array(found, dtype=np.int64).reshape(-1, 4)
    return Cuts(*table.T)


def _runs(near: BoolArray) -> list[tuple[int, int, int, int]]:
    """Cuts of every run of True: each frame, the whole run, and the run with a margin."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(np.int8)))
    cuts = []
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        cuts += [(k, k, 0, 1) for k in range(first, end, 1 + (end - first) // MAX_CUTS)]
        cuts += [(first, end - 1, -margin, margin) for margin in (0, 2, 5)]
        if end - first > 6:
            cuts += [(k, k, -3, 3) for k in range(first + 3, end - 3, 2 + (end - first) // MAX_CUTS)]
    return cuts


def gains(obs: Observations, h: Histories, cuts: Cuts, settings: TrackingSettings) -> FloatArray:
    """(M,) nats that each exchange wins, -inf where it makes no sense."""
    heads = {"a": cuts.before >= h.first[cuts.a], "b": cuts.before >= h.first[cuts.b]}
    tails = {"a": cuts.after <= h.last[cuts.a], "b": cuts.after <= h.last[cuts.b]}
    total = np.zeros(len(cuts.a))
    for head, tail, sign in (("a", "a", 1), ("b", "b", 1), ("a", "b", -1), ("b", "a", -1)):
        rows = np.flatnonzero(heads[head] & tails[tail])
        past, future = (getattr(cuts, head)[rows], cuts.before[rows]), (getattr(cuts, tail)[rows], cuts.after[rows])
        gap_s = obs.time_s[future[1]] - obs.time_s[past[1]]
        moved = join_cost(Belief(h.past.mean[past], h.past.covariance[past]),
                          Belief(h.future.mean[future], h.future.covariance[future]), gap_s,
                          (h.density[past] + h.density[future]) / 2)
        total[rows] += sign * (moved + looks_cost(h, past, future, settings))
    # One head or one tail may be missing: then a future is handed over. Less is no exchange.
    enough = sum(part.astype(int) for part in (*heads.values(), *tails.values())) >= 3
    out: FloatArray = np.where(enough, total, -np.inf)
    return out


def _best_apart(cuts: Cuts, gain: FloatArray, margin: float) -> list[int]:
    """The best exchanges of which no two touch the same track."""
    chosen: list[int] = []
    touched: set[int] = set()
    for m in np.argsort(-gain):
        if gain[m] <= margin:
            break
        pair = {int(cuts.a[m]), int(cuts.b[m])}
        if not pair & touched:
            touched |= pair
            chosen.append(int(m))
    return chosen


def _exchanged(obs: Observations, a: Track, b: Track, before: int) -> tuple[Track, Track]:
    cut_a, cut_b = np.searchsorted(obs.frame[a], before + 1), np.searchsorted(obs.frame[b], before + 1)
    return np.concatenate([a[:cut_a], b[cut_b:]]), np.concatenate([b[:cut_b], a[cut_a:]])
