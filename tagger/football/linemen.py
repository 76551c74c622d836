"""Who on the offense is what: the linemen, the passer, the others, from where they stand and how they set off.

Every likely line of five (four, three: film along the line hides some) is tried with every man who may be its passer; learned
weights on plain measures of stance and first steps choose. A passer under the centre or a back beside him in the shotgun
cannot be told by the stance alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tagger.football.playbook import Linear, shipped_playbook
from vision.types import FloatArray, IntArray

FEWEST_TO_LOOK = 8
"""Fewer men: no linemen are looked for."""
WIDEST_GAP_YD = 3.6
LINE_WIDTH_YD = 9.5
"""Five linemen with the widest usual splits."""
DEEPEST_LINEMAN_YD = 2.6
PASSER_SPLIT_YD = 3.0
PASSER_DEEPEST_YD = 9.0
LEAST_BEHIND_YD = 0.3
BALL_AHEAD_YD = 0.4
"""The centre's body stands this far behind the ball's nose."""
BOW_YD = np.array([0.0, 0.35, 0.8, 0.35, 0.0])
"""How far the others of a line of five stand behind its centre's depth."""
PLAIN_LOGIT = -25.0
STEPS_S = 1.0
"""The first steps are looked at until this long after the snap."""
MEASURES = ("four", "three", "uneven_gaps", "wide_gap", "tight_gap", "ragged", "split", "behind", "odd_depth", "others_between",
            "drops", "drops_unknown", "below_line", "line_apart", "unbalanced", "width", "back_of_line")


@dataclass(frozen=True)
class Front:
    """Row indices (into the offense's positions) of the linemen from left to right (five, four or three where the others
    are hidden, in seven-on-seven the snapper alone, or none), and of the passer; None where there is none. `logit` says how
    much they look like it; below PLAIN_LOGIT they hardly are a line (seven-on-seven, a drill)."""

    linemen: tuple[int, ...]
    passer: int | None
    logit: float = -np.inf

    @property
    def plain(self) -> bool:
        """True for what is an offensive line beyond doubt."""
        return self.logit > PLAIN_LOGIT


def find_front(stance: FloatArray, later: FloatArray | None = None, weights: Linear | None = None) -> Front:
    """The linemen and the passer among (N, 2) offense positions (downfield, across), NaN where unseen; `later` (N, 2) is where
    they are STEPS_S after the snap. Fewer than FEWEST_TO_LOOK men: no linemen are looked for."""
    seen = np.flatnonzero(np.isfinite(stance[:, 0]))
    if len(seen) >= FEWEST_TO_LOOK:
        fronts = list(possible_fronts(stance, seen))
        if fronts:
            weights = weights or shipped_playbook().front
            later = np.full_like(stance, np.nan) if later is None else later
            rows = np.stack([measure_front(front, stance, later, seen) for front in fronts])
            logits = np.nan_to_num((rows - weights.mean) / weights.sd) @ weights.weight[0] + weights.bias[0]
            best = int(np.argmax(logits))
            return Front(fronts[best].linemen, fronts[best].passer, float(logits[best]))
    return _snapper_and_passer(stance, seen)


def line_of(linemen: FloatArray) -> float:
    """The line of scrimmage in front of linemen (K, 2), yards downfield in their own frame: all of them tell, not the centre
    alone."""
    bow = BOW_YD if len(linemen) == len(BOW_YD) else np.full(len(linemen), BOW_YD.mean())
    return float((linemen[:, 0] + bow).mean() + BALL_AHEAD_YD) if len(linemen) > 1 else float(linemen[0, 0] + BALL_AHEAD_YD)


def possible_fronts(stance: FloatArray, seen: IntArray) -> Iterator[Front]:
    """Every line with every passer behind it."""
    line_yd = np.sort(stance[seen, 0])[::-1][:7].mean()
    near = seen[stance[seen, 0] > min(line_yd, stance[seen, 0].max() - 0.3) - DEEPEST_LINEMAN_YD]
    near = near[np.argsort(stance[near, 1], kind="stable")]
    tried = set[tuple[int, ...]]()
    for count in (5, 4, 3):
        for line in _lines(stance, near, count):
            if tuple(line) in tried:
                continue
            tried.add(tuple(line))
            across, depth = stance[line, 1], stance[line, 0]
            if np.ptp(across) > LINE_WIDTH_YD or np.diff(across).max() > WIDEST_GAP_YD + (0.0 if count == 5 else 1.2):
                continue
            behind = depth.max() - stance[seen, 0]
            split = np.abs(stance[seen, 1] - _centre_across(across))
            may = (behind > LEAST_BEHIND_YD) & (behind < PASSER_DEEPEST_YD) & (split < PASSER_SPLIT_YD + (5 - count))
            for passer in seen[may & ~np.isin(seen, line)]:
                yield Front(tuple(map(int, line)), int(passer))


def _lines(stance: FloatArray, near: IntArray, count: int) -> Iterator[IntArray]:
    """`count` neighbours across; of one more, anyone who stands behind a neighbour (a wing, a passer under the centre) left
    out."""
    for i in range(len(near) - count + 1):
        yield near[i : i + count]
    for i in range(len(near) - count):
        more = near[i : i + count + 1]
        for drop in range(count + 1):
            beside = [k for k in (drop - 1, drop + 1) if 0 <= k <= count]
            if any(stance[more[drop], 0] < stance[more[k], 0] - 0.15 for k in beside):
                yield np.delete(more, drop)


def _centre_across(across: FloatArray) -> float:
    return float(across[len(across) // 2]) if len(across) % 2 else float(across.mean())


def measure_front(front: Front, stance: FloatArray, later: FloatArray, seen: IntArray) -> FloatArray:
    """(len(MEASURES),) of a line and its passer, yards; NaN where the first steps were not seen."""
    line, passer = np.array(front.linemen), front.passer
    depth, across, gaps = stance[line, 0], stance[line, 1], np.diff(stance[line, 1])
    assert passer is not None
    middle, top = _centre_across(across), float(depth.max())
    behind, split = top - stance[seen, 0], stance[seen, 1] - middle
    at = int(np.flatnonzero(seen == passer)[0])
    others = ~np.isin(seen, line) & (seen != passer)
    between = others & (behind > LEAST_BEHIND_YD) & (behind < behind[at]) & (np.abs(split) < 0.9)
    steps = later[passer, 0] - stance[passer, 0]
    away = later[line, 0] - depth
    known = np.isfinite(away)
    shape = depth + BOW_YD - BOW_YD.mean() if len(line) == 5 else depth
    return np.array([
        len(line) == 4, len(line) == 3, gaps.std(), np.clip(gaps.max() - 2.2, 0.0, 2.0), np.clip(0.9 - gaps.min(), 0.0, 0.9),
        shape.std(), abs(split[at]), behind[at], min(abs(behind[at] - 1.2), abs(behind[at] - 4.7)), between.sum(),
        np.clip(-steps, -2.0, 3.0), not np.isfinite(steps),
        np.clip(np.nanmean(later[line, 0]) - later[passer, 0], -2.0, 6.0) if known.any() else np.nan,
        float(np.std(away[known])) if known.sum() > 1 else np.nan,
        abs(int((others & (split < across[0] - middle)).sum()) - int((others & (split > across[-1] - middle)).sum())),
        np.ptp(across) / (len(line) - 1), np.clip(stance[seen, 0].max() - top, 0.0, 2.0)], dtype=np.float64)


def _snapper_and_passer(positions: FloatArray, seen: IntArray) -> Front:
    """Without five linemen: a passer straight behind a man on the line with nobody close beside him; else a passer alone, a
    man well behind the foremost and near the middle of the others."""
    if len(seen) < 3:
        return Front((), None)
    front = np.sort(positions[seen, 0])[::-1][: max(2, len(seen) // 2)].mean()
    best: tuple[float, int, int] | None = None
    for snapper in seen[positions[seen, 0] > front - 1.5]:
        others = np.setdiff1d(seen, [snapper])
        for passer in others[(positions[snapper, 0] - positions[others, 0] > 0.4)]:
            behind, split = positions[snapper, 0] - positions[passer, 0], abs(positions[snapper, 1] - positions[passer, 1])
            balance = abs(positions[snapper, 1] - np.mean(positions[seen, 1]))
            if behind < PASSER_DEEPEST_YD and split < 1.2:
                cost = split + 0.1 * abs(behind - 4.5) + 0.08 * balance
                if best is None or cost < best[0]:
                    best = (cost, int(snapper), int(passer))
    if best is not None:
        return Front((best[1],), best[2])
    middle = float(np.median(positions[seen, 1]))
    behind_all = [i for i in seen if 1.5 < front - positions[i, 0] < PASSER_DEEPEST_YD]
    alone = min(behind_all, key=lambda i: abs(positions[i, 1] - middle) - 0.4 * (front - positions[i, 0])) if behind_all else None
    return Front((), None if alone is None else int(alone))
