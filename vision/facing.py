"""Which way everybody's torso faces, from many unsure looks: a hidden Markov model over a circle of directions for each track.

Every look gives a histogram (`vision.sights`), often with two peaks, front or back. Men turn only so fast, so the looks before
and after decide between them (Rabiner 1989, forward and backward). Which way he runs is left out: defenders backpedal, and it
was found to tell nothing that the looks do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from vision.boxes import covered_share, iou
from vision.sights import FACING_BINS, Sight
from vision.types import Detections, FloatArray, IntArray, Tracks

BINS = 72
"""Directions that are told apart: every 5 degrees."""
SAME_BOX_IOU = 0.3
"""A smoothed box and the detection it came from overlap at least this much."""
SHARPNESS = 0.7
"""Looks of the same man err alike, so each counts less than if it stood alone."""
ODD_SHARE, COVERED_ODD_SHARE = 0.04, 0.9
"""Chance that a look tells nothing; grows to the sum where others cover the man."""
TURN_RAD_S, SPIN_RAD_S, SPIN_SHARE, LEAST_TURN_RAD = 2.5, 7.0, 0.2, 0.03
"""How fast men turn, mostly and at times."""
SMALLEST_PX = 20.0
"""Nobody's facing is told from boxes smaller than this."""
WIDEST_RAD = 0.6
"""Circular standard deviation above which it stays open."""
AGREEING_RAD, AGREEING_SHARE, LEAST_AGREEMENT = 1.0, 0.4, 0.7
"""A look agrees with what the track says if this share of it lies this near. Where fewer of a moment's looks do, it stays open:
the track has somebody else's boxes there."""
REACH_S = 0.35
"""A look tells of the moments this near."""


@dataclass(frozen=True)
class Glances:
    """G looks at tracked people, in any order: when, at whom, `log_facing` (G, 36) relative to the viewing ray, whose direction
    in the plane is `ray_rad`; `tall_px` the box's height, `covered` the share of it that others hide."""

    time_s: FloatArray
    track_id: IntArray
    log_facing: FloatArray
    ray_rad: FloatArray
    tall_px: FloatArray
    covered: FloatArray

    def __len__(self) -> int:
        return len(self.time_s)

    def moved(self, later_s: float, turn_rad: float) -> Glances:
        """The same on another clock and a plane turned against this one."""
        return replace(self, time_s=self.time_s + later_s, ray_rad=self.ray_rad + turn_rad)


@dataclass(frozen=True)
class Looked:
    """Which detection is whose: rows (L,) of entry `entry` of the detections, box `box` in it, track `track_id`."""

    entry: IntArray
    box: IntArray
    track_id: IntArray


def whose(tracks: Tracks, detections: Sequence[Detections]) -> Looked:
    """The boxes that the observed rows of tracks came from."""
    found: list[tuple[int, int, int]] = []
    order = np.argsort(tracks.frame_index, kind="stable")
    frames = tracks.frame_index[order]
    for entry, boxes in enumerate(detections):
        low, high = np.searchsorted(frames, [boxes.frame_index, boxes.frame_index + 1])
        here = order[low:high][tracks.observed[order[low:high]]]
        if len(here) and len(boxes):
            overlap = iou(tracks.xyxy[here].astype(np.float64), boxes.xyxy.astype(np.float64))
            best = overlap.argmax(axis=1)
            for row in np.flatnonzero(overlap[np.arange(len(here)), best] >= SAME_BOX_IOU):
                found.append((entry, int(best[row]), int(tracks.track_id[here[row]])))
    columns = np.array(found, dtype=np.int64).reshape(-1, 3).T
    return Looked(*columns)


def glances(looked: Looked, detections: Sequence[Detections], sights: Sequence[Sight | None], ray_rad: Sequence[FloatArray]
            ) -> Glances:
    """The looks at tracked people. `sights` and `ray_rad` (N,) run beside `detections`; None or NaN where nobody looked or the
    plane is not known."""
    rows: list[Glances] = []
    for entry in np.unique(looked.entry):
        sight, boxes = sights[entry], detections[entry].xyxy.astype(np.float64)
        if sight is None or not len(sight):
            continue
        mine = looked.entry == entry
        box = looked.box[mine]
        known = np.isfinite(ray_rad[entry][box])
        box, ids = box[known], looked.track_id[mine][known]
        rows.append(Glances(np.full(len(box), detections[entry].time_s), ids, sight.facing[box].astype(np.float64),
                            ray_rad[entry][box], boxes[box, 3] - boxes[box, 1], covered_share(boxes)[box]))
    return gather(rows)


def gather(parts: Sequence[Glances]) -> Glances:
    """The looks of several frames or cameras in one."""
    if not parts:
        none = np.zeros(0)
        return Glances(none, np.zeros(0, np.int64), np.zeros((0, FACING_BINS)), none, none, none)
    return Glances(*(np.concatenate([getattr(part, item.name) for part in parts]) for item in fields(Glances)))


def facings(looks: Glances, time_s: FloatArray, track_id: IntArray) -> tuple[FloatArray, FloatArray]:
    """Direction (M,) in rad, in the plane of the rays, and its circular standard deviation (M,) for rows of tracks at `time_s`
    (M,); NaN where it stays open."""
    facing, sigma = np.full(len(time_s), np.nan), np.full(len(time_s), np.nan)
    for man in np.unique(looks.track_id):
        rows = np.flatnonzero(track_id == man)
        rows = rows[np.argsort(time_s[rows], kind="stable")]
        mine = np.flatnonzero(looks.track_id == man)
        mine = mine[np.argsort(looks.time_s[mine], kind="stable")]
        if not len(rows):
            continue
        at = looks.time_s[mine]
        seen = _evidence(looks, mine)
        vector = _smooth(seen, np.diff(at)) @ np.exp(1j * directions())
        tall = np.interp(time_s[rows], at, looks.tall_px[mine])
        there = np.interp(time_s[rows], at, vector.real) + 1j * np.interp(time_s[rows], at, vector.imag)
        spread = np.sqrt(-2 * np.log(np.clip(np.abs(there), 1e-9, 1.0)))
        nearest = np.abs(time_s[rows][:, None] - at[None]).min(axis=1)
        agree = np.interp(time_s[rows], at, _agreement(seen, np.angle(vector), at))
        told = (tall >= SMALLEST_PX) & (spread <= WIDEST_RAD) & (nearest <= REACH_S) & (agree >= LEAST_AGREEMENT)
        facing[rows[told]], sigma[rows[told]] = np.angle(there[told]), spread[told]
    return facing, sigma


def directions() -> FloatArray:
    """(72,) rad: the middle of every direction that is told apart."""
    angles: FloatArray = -np.pi + (np.arange(BINS) + 0.5) * 2 * np.pi / BINS
    return angles


def _evidence(looks: Glances, mine: IntArray) -> FloatArray:
    """(K, 72) log likelihood of every direction in the plane by each look."""
    away = (directions()[None] - looks.ray_rad[mine, None] + np.pi) % (2 * np.pi) * FACING_BINS / (2 * np.pi) - 0.5
    low = np.floor(away).astype(np.int64)
    share = away - low
    log = looks.log_facing[mine]
    row = np.arange(len(mine))[:, None]
    turned = SHARPNESS * ((1 - share) * log[row, low % FACING_BINS] + share * log[row, (low + 1) % FACING_BINS])
    p = np.exp(turned - turned.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    odd = np.minimum(ODD_SHARE + COVERED_ODD_SHARE * looks.covered[mine, None] ** 2, 0.9)
    told: FloatArray = np.log((1 - odd) * p + odd / BINS)
    return told


def _agreement(log: FloatArray, facing: FloatArray, at: FloatArray) -> FloatArray:
    """(K,) share of the looks within REACH_S of each that agree with `facing` (K,)."""
    off = np.abs((directions()[None] - facing[:, None] + np.pi) % (2 * np.pi) - np.pi)
    agrees = (np.exp(log) * (off <= AGREEING_RAD)).sum(axis=1) >= AGREEING_SHARE
    near = np.abs(at[:, None] - at[None]) <= REACH_S
    mean: FloatArray = (near @ agrees.astype(np.float64)) / near.sum(axis=1)
    return mean


def _smooth(log: FloatArray, gap_s: FloatArray) -> FloatArray:
    """(K, 72) probabilities of every direction at each look, by all of them; `gap_s` (K-1,) between them."""
    seen = np.exp(log - log.max(axis=1, keepdims=True))
    before, after = np.empty_like(seen), np.ones_like(seen)
    before[0] = seen[0] / seen[0].sum()
    for k in range(1, len(seen)):
        here = (_turning(float(gap_s[k - 1])) @ before[k - 1]) * seen[k]
        before[k] = here / here.sum()
    for k in range(len(seen) - 2, -1, -1):
        here = _turning(float(gap_s[k])) @ (after[k + 1] * seen[k + 1])
        after[k] = here / here.sum()
    both: npt.NDArray[np.float64] = before * after
    told: FloatArray = both / both.sum(axis=1, keepdims=True)
    return told


def _turning(gap_s: float) -> FloatArray:
    return _kernel(round(max(gap_s, 0.0), 3))


@lru_cache(maxsize=64)
def _kernel(gap_s: float) -> FloatArray:
    """(72, 72) chance of every direction after `gap_s`, from every one before."""
    off = np.abs(directions()[:, None] - directions()[None])
    off = np.minimum(off, 2 * np.pi - off)
    slow, fast = LEAST_TURN_RAD + TURN_RAD_S * gap_s, LEAST_TURN_RAD + SPIN_RAD_S * gap_s
    chances = [np.exp(-0.5 * (off / max(width, 0.04)) ** 2) for width in (slow, fast)]
    mixed: FloatArray = sum(
        share * one / one.sum(axis=0) for share, one in zip((1 - SPIN_SHARE, SPIN_SHARE), chances, strict=True))
    return mixed
