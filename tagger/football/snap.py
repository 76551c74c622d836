"""The snap: when men who stood still start to move together and do not stop again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tagger.football.linemen import STEPS_S, Front, find_front
from tagger.football.sampling import Sampled
from vision.types import BoolArray, FloatArray, IntArray

LOOK_BACK_S = 0.8
LOOK_AHEAD_S = 0.7
STILL_YD = 0.35
MOVED_YD = 0.7
MOST_PACE_YD_S = 2.0
"""A man already in motion must not count for more than one who starts."""
GROUP_ONSET = {
    "receivers": (1.0, 0.325, 1.0), "everybody": (1.0, 0.35, 1.0), "offense": (1.0, 0.335, 1.0), "rushers": (1.0, 0.26, 0.4)}
"""Each group's threshold of pace (yd/s), its lag behind the snap there (s), its weight. Measured on real tracks, on simulated
ones and on such as film gives."""
CLEAN_ONSET = {"everybody": (0.7, 0.258, 1.0), "offense": (0.7, 0.262, 1.0), "rushers": (0.7, 0.21, 0.5)}
"""The same where the tracks are so clean (noise at most MOST_CLEAN_YD) that the first steps show."""
MOST_CLEAN_YD = 0.06
LAG_PER_NOISE_S_YD, CLEAN_YD = 0.1, 0.05
"""Noisier tracks are smoothed more and pass the threshold later, by so much a yard of noise beyond the cleanest."""
TRIMMED = 0.1
"""The quickest share of a group is left out: a man in motion, a track that jumps."""


@dataclass(frozen=True)
class Snap:
    """`time_s` of the snap, the offense's `front` just before it, and `confidence` (0..1, the share of the men in the
    picture who stood still and then moved)."""

    time_s: float
    front: Front
    confidence: float


def find_snap(sampled: Sampled, offense: BoolArray, near_s: float | None = None) -> Snap | None:
    """Find the snap on tracks sampled at 0.05 s. `offense` (N,) mask; `near_s` narrows the search to half a second about it.

    None where nobody ever starts from a stand (a clip that begins after the snap)."""
    score = onset_score(sampled, offense)
    if near_s is not None:
        score = np.where(np.abs(sampled.time_s - near_s) <= 0.5, score, -1.0)
    best: tuple[float, int, Front] | None = None
    for i in _peaks(score):
        front = front_at(sampled, offense, i)
        value = float(score[i]) + (0.12 if front.plain else 0.0)
        if best is None or value > best[0]:
            best = (value, i, front)
    if best is None or score[best[1]] < 0.2:
        return None
    _, coarse, front = best
    first = _joint_onset(sampled, offense, front, coarse)
    # The rough moment may lie late in the start; about the first estimate, what they were like at rest is seen whole.
    onset = _joint_onset(sampled, offense, front, sampled.index(first))
    return Snap(onset, front, float(np.clip(score[coarse], 0.0, 1.0)))


def front_at(sampled: Sampled, offense: BoolArray, tick: int) -> Front:
    """The offense's front just before a snap at a grid index."""
    later = sampled.xy_yd[offense, sampled.index(float(sampled.time_s[tick]) + STEPS_S)]
    return find_front(sampled.stance(max(0, tick - 2))[offense], later)


def onset_score(sampled: Sampled, offense: BoolArray) -> FloatArray:
    """(T,) share of men (the offense counts double) who stand still before and move after, less those who stop again."""
    step = sampled.time_s[1] - sampled.time_s[0]
    back, ahead = round(LOOK_BACK_S / step), round(LOOK_AHEAD_S / step)
    xy, frames = sampled.xy_yd, len(sampled.time_s)
    score = np.full(frames, -1.0)
    slack = 1.2 * sampled.noise_yd * 0.5
    speed = sampled.speed_yd_s()
    weight = np.where(offense, 2.0, 1.0)
    for i in range(back // 2, frames - ahead):
        before = np.linalg.norm(xy[:, i] - xy[:, max(0, i - back)], axis=1)
        after = np.linalg.norm(xy[:, i + ahead] - xy[:, i], axis=1)
        known = np.isfinite(before) & np.isfinite(after)
        if known.sum() < 4:
            continue
        starts = (before < STILL_YD + slack) & (after > MOVED_YD + slack)
        later = speed[:, i + ahead : i + ahead + round(1.0 / step)]
        stops = np.nanmean(later < 0.5 + slack, axis=1) if later.shape[1] else np.zeros(len(xy))
        gain = np.where(starts, 1.0, 0.0) - 0.6 * np.nan_to_num(stops)
        score[i] = (gain * weight)[known].sum() / weight[known].sum()
    return score


def _peaks(score: FloatArray) -> list[int]:
    """The highest moments, at least half a second apart, best first; only those near the best matter."""
    order = np.argsort(score)[::-1]
    top = score[order[0]]
    kept: list[int] = []
    for i in order:
        if score[i] < max(0.1, top - 0.35) or len(kept) == 6:
            break
        if all(abs(int(i) - k) > 10 for k in kept):
            kept.append(int(i))
    return kept


def _joint_onset(sampled: Sampled, offense: BoolArray, front: Front, coarse: int) -> float:
    """The weighted median of each group's own estimate: when its pace passes a threshold, less the lag that it has there.

    Seconds."""
    step = sampled.time_s[1] - sampled.time_s[0]
    low, high = max(0, coarse - round(0.7 / step)), min(len(sampled.time_s), coarse + round(1.0 / step))
    pace = np.minimum(sampled.speed_yd_s()[:, low:high], MOST_PACE_YD_S)
    estimates, weights = [], []
    groups = _groups(sampled, offense, front, coarse)
    onset = CLEAN_ONSET if sampled.noise_yd <= MOST_CLEAN_YD else GROUP_ONSET
    for name, (threshold, lag, weight) in onset.items():
        rows = groups.get(name, np.empty(0, dtype=int))
        known = pace[rows][np.isfinite(pace[rows]).all(axis=1)]
        if len(known) < 2:
            continue
        together = np.sort(known, axis=0)[: int(np.ceil(len(known) * (1.0 - TRIMMED)))].mean(axis=0)
        # Noise alone gives a pace, which adds in squares: take it from what the group shows before it moves.
        rest = float(np.min(together[: round(0.6 / step)]))
        crossing = _crossing(sampled.time_s[low:high], together, float(np.hypot(threshold, rest)))
        if crossing is not None:
            estimates.append(crossing - lag - LAG_PER_NOISE_S_YD * max(0.0, sampled.noise_yd - CLEAN_YD))
            weights.append(weight)
    if not estimates:
        return float(sampled.time_s[coarse])
    order = np.argsort(estimates)
    passed = np.cumsum(np.array(weights)[order])
    return float(estimates[order[int(np.searchsorted(passed, passed[-1] / 2.0))]])


def _groups(sampled: Sampled, offense: BoolArray, front: Front, coarse: int) -> Mapping[str, IntArray]:
    """Receivers watch the ball, so their start is the steadiest; linemen know the count and may go with the ball or after it,
    so they count only among the others."""
    ids = np.flatnonzero(offense)
    inside = {*front.linemen, front.passer}
    groups = {"receivers": ids[[i not in inside for i in range(len(ids))]], "everybody": np.arange(len(offense)), "offense": ids}
    if len(front.linemen) == 5:
        at = sampled.xy_yd[:, max(0, coarse - 2)]
        linemen = ids[list(front.linemen)]
        close = ~offense & (at[:, 0] < at[linemen, 0].mean() + 3.0) & (np.abs(at[:, 1] - at[linemen[2], 1]) < 6.0)
        groups["rushers"] = np.flatnonzero(close)
    return groups


def _crossing(time_s: FloatArray, pace: FloatArray, threshold: float) -> float | None:
    up = np.flatnonzero((pace[1:] >= threshold) & (pace[:-1] < threshold))
    if not len(up):
        return None
    i = int(up[0])
    return float(time_s[i] + (threshold - pace[i]) / (pace[i + 1] - pace[i]) * (time_s[i + 1] - time_s[i]))
