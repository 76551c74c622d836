"""Which player of the reading is which real one: by where they were on the field."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linear_sum_assignment

from tagger.scoring.predicted import Said
from tagger.scoring.registration import Gauge
from tagger.scoring.truth import Truth
from vision.types import FloatArray

GATE_YD = 3.0
"""Two that are farther apart than this on average are two people."""
MIN_SHARED_S = 0.5
STEP_S = 0.1
LONGEST_GAP_S = 0.3
"""Between two rows of a track that are farther apart in time than this, he was not seen."""
BEFORE_SNAP_S = 1.0


def match_players(truth: Truth, said: Said, gauge: Gauge) -> dict[str, str]:
    """Map the reading's players to real ones, one to one, from just before the snap to the end; strangers have no entry."""
    times = np.arange(max(truth.time_s[0], truth.snap_s - BEFORE_SNAP_S), min(truth.time_s[-1], truth.end_s) + 1e-9, STEP_S)
    names = list(said.players)
    if not names or not truth.player_id:
        return {}
    real = np.stack([at_times(truth.time_s, xy, times) for xy in truth.xy_yd])
    cost = np.full((len(names), len(real)), 1e6)
    for i, name in enumerate(names):
        player = said.players[name]
        apart = np.linalg.norm(at_times(player.time_s, gauge.true_from_said(player.xy_yd), times)[None] - real, axis=2)
        shared = np.isfinite(apart).sum(axis=1)
        mean = np.where(np.isfinite(apart), apart, 0.0).sum(axis=1) / np.maximum(shared, 1)
        cost[i] = np.where((shared * STEP_S >= MIN_SHARED_S) & (mean <= GATE_YD), mean, 1e6)
    rows, columns = linear_sum_assignment(cost)
    return {names[i]: truth.player_id[j] for i, j in zip(rows, columns, strict=True) if cost[i, j] < 1e6}


def at_times(time_s: FloatArray, xy_yd: FloatArray, wanted_s: FloatArray) -> FloatArray:
    """(W, 2) where he was at the wanted times; NaN outside of his track and in its gaps."""
    out = np.full((len(wanted_s), 2), np.nan)
    seen = np.isfinite(xy_yd).all(axis=1)
    time_s, xy_yd = time_s[seen], xy_yd[seen]
    if len(time_s) < 2:
        return out
    after = np.clip(np.searchsorted(time_s, wanted_s), 1, len(time_s) - 1)
    near = (time_s[after] - time_s[after - 1] <= LONGEST_GAP_S) & (wanted_s >= time_s[0] - 0.05) & (wanted_s <= time_s[-1] + 0.05)
    for axis in (0, 1):
        out[:, axis] = np.where(near, np.interp(wanted_s, time_s, xy_yd[:, axis]), np.nan)
    return out
