"""The same men in another view of a rep: each view numbers its people itself, but both see one field."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product

import numpy as np
from scipy.optimize import linear_sum_assignment

from homography.field import LENGTH_YD, WIDTH_YD
from homography.types import FieldTracks
from vision.types import FloatArray

OFFSETS_S = (-0.5, 0.0, 0.7, 1.4)
NEAR_S = 0.15
SAME_MAN_YD = 4.0
SHIFTS_YD = tuple(5.0 * k for k in range(-20, 21))
"""A view whose yard line is not known is right only up to whole multiples of 5 yd."""


def same_tracks(
    main: FieldTracks, main_ids: Iterable[int], main_snap_s: float, other: FieldTracks, other_snap_s: float, shifted: bool
) -> dict[int, int]:
    """Track of the other view -> track of the main view who is the same man, by where both stood about the snap.

    Each view counts the field from its own camera, so the other's may lie half-turned; `shifted`: one of the views does not
    know its yard line.
    """
    ours, our_spots = _spots(main, main_ids, main_snap_s)
    theirs, their_spots = _spots(other, np.unique(other.track_id).tolist(), other_snap_s)
    if not ours or not theirs:
        return {}
    best: tuple[float, dict[int, int]] = (0.0, {})
    turned = np.array([LENGTH_YD, WIDTH_YD]) - their_spots
    for spots, shift_yd in product((their_spots, turned), SHIFTS_YD if shifted else (0.0,)):
        apart = np.linalg.norm(our_spots[:, None] - (spots + np.array([shift_yd, 0.0]))[None], axis=-1)
        known = np.isfinite(apart)
        mean = np.where(known, apart, 0.0).sum(axis=2) / np.maximum(known.sum(axis=2), 1)
        closeness = np.where(known.any(axis=2), np.clip(SAME_MAN_YD - mean, 0.0, None), 0.0)
        rows, columns = linear_sum_assignment(-closeness)
        fitting = [(r, c) for r, c in zip(rows, columns, strict=True) if closeness[r, c] > 0]
        total = float(sum(closeness[r, c] for r, c in fitting))
        if total > best[0]:
            best = total, {theirs[c]: ours[r] for r, c in fitting}
    return best[1]


def _spots(tracks: FieldTracks, ids: Iterable[int], snap_s: float) -> tuple[list[int], FloatArray]:
    """Track ids and (N, K, 2) their spots at OFFSETS_S about the snap, NaN where not seen."""
    names = sorted(set(ids))
    spots = np.full((len(names), len(OFFSETS_S), 2), np.nan)
    for i, track in enumerate(names):
        mine = tracks.track_id == track
        times, where = tracks.time_s[mine], tracks.xy_yd[mine]
        for k, offset in enumerate(OFFSETS_S):
            gap = np.abs(times - (snap_s + offset)) if len(times) else np.array([np.inf])
            if gap.min() <= NEAR_S:
                spots[i, k] = where[gap.argmin()]
    return names, spots
