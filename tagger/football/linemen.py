"""Who on the offense is what at one moment: the five linemen, the passer, the others, from where they stand alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.types import FloatArray, IntArray

WIDEST_GAP_YD = 3.2
LINE_WIDTH_YD = 8.8
"""Five linemen with the widest usual splits."""
PLAIN_FRONT_YD = 3.0
"""A front that fits worse than this is no offensive line (seven-on-seven, drill)."""
PARTIAL_MISFIT_YD = 2.9
DEEPEST_LINEMAN_YD = 2.6
PASSER_SPLIT_YD = 2.2
PASSER_DEEPEST_YD = 9.0


@dataclass(frozen=True)
class Front:
    """Row indices (into the offense's positions) of the linemen from left to right (five, four or three where the others
    are hidden, in seven-on-seven the snapper alone, or none), and of the passer; None where there
    is none. `misfit_yd` says how badly the men fit together: below about 1 is a plain offensive line."""

    linemen: tuple[int, ...]
    passer: int | None
    misfit_yd: float


def find_front(positions: FloatArray) -> Front:
    """The five linemen and the passer among (N, 2) offense positions (downfield, across), NaN where unseen.

    The five stand side by side on the line with even gaps, the centre (who has the ball) a little ahead and the passer
    behind him: that tells them from an attached tight end or a wing. Fewer than eight men: no linemen are looked for.
    """
    seen = np.flatnonzero(np.isfinite(positions[:, 0]))
    empty = _snapper_and_passer(positions, seen)
    if len(seen) < 8:
        return empty
    line_yd = np.sort(positions[seen, 0])[::-1][:7].mean()
    near = seen[positions[seen, 0] > min(line_yd, positions[seen, 0].max() - 0.3) - DEEPEST_LINEMAN_YD]
    near = near[np.argsort(positions[near, 1])]
    best = empty
    for five in _fives(positions, near):
        fit = _fit(positions, five, seen)
        if fit.misfit_yd < best.misfit_yd:
            best = fit
    if best.misfit_yd >= PLAIN_FRONT_YD:
        return _partial(positions, near, seen) or best
    return best


def _partial(positions: FloatArray, near: IntArray, seen: IntArray) -> Front | None:
    """Four or three men of a line of whom the others are hidden or lost (film along the line of scrimmage): the closest such
    group with a passer behind it."""
    for count in (4, 3):
        groups = [near[i : i + count] for i in range(len(near) - count + 1)]
        groups.sort(key=lambda group: float(np.ptp(positions[group, 1])))
        for group in groups:
            across, depth = positions[group, 1], positions[group, 0]
            if np.ptp(across) > LINE_WIDTH_YD or np.diff(across).max() > WIDEST_GAP_YD + 1.6 or np.ptp(depth) > DEEPEST_LINEMAN_YD:
                continue
            behind = depth.max() - positions[seen, 0]
            split = np.abs(positions[seen, 1] - np.clip(positions[seen, 1], across[0], across[-1]))
            backs = seen[(behind > 0.3) & (behind < PASSER_DEEPEST_YD) & (split < 1.0) & ~np.isin(seen, group)]
            if len(backs):
                middle = float(across.mean())
                passer = min(backs, key=lambda i: abs(positions[i, 1] - middle) + 0.15 * (depth.max() - positions[i, 0]))
                return Front(tuple(int(i) for i in group), int(passer), PARTIAL_MISFIT_YD)
    return None


def _fives(positions: FloatArray, near: IntArray) -> list[IntArray]:
    """Five neighbours across. A sixth man among them may be a passer under the centre or a wing off the line: anyone who
    stands behind his neighbour is left out in turn."""
    fives = [near[i : i + 5] for i in range(len(near) - 4)]
    for i in range(len(near) - 5):
        six = near[i : i + 6]
        for drop in range(6):
            beside = [k for k in (drop - 1, drop + 1) if 0 <= k < 6]
            if any(positions[six[drop], 0] < positions[six[k], 0] - 0.15 for k in beside):
                fives.append(np.delete(six, drop))
    return fives


def _fit(positions: FloatArray, five: IntArray, seen: IntArray) -> Front:
    depth, across = positions[five, 0], positions[five, 1]
    gaps = np.diff(across)
    if gaps.max() > WIDEST_GAP_YD:
        return Front((), None, np.inf)
    bow = depth - np.array([0.0, 0.35, 0.8, 0.35, 0.0])
    misfit = gaps.std() + 0.6 * max(0.0, gaps.max() - 2.2) + 2.0 * max(0.0, 0.9 - gaps.min()) + bow.std() * 1.2
    passer = find_passer(positions, seen, five)
    off = PASSER_SPLIT_YD if passer is None else abs(positions[passer, 1] - across[2])
    return Front(tuple(int(i) for i in five), passer, float(misfit + 1.3 * off))


def find_passer(positions: FloatArray, seen: IntArray, five: IntArray) -> int | None:
    """The man behind the centre: nearest to the centre's own line across, then nearest to the ball."""
    centre = positions[five[2]]
    best, least = None, np.inf
    for i in seen:
        if i in five:
            continue
        behind = centre[0] - positions[i, 0]
        split = abs(positions[i, 1] - centre[1])
        if 0.3 < behind < PASSER_DEEPEST_YD and split < PASSER_SPLIT_YD:
            cost = split + 0.15 * behind
            if cost < least:
                best, least = int(i), cost
    return best


def _snapper_and_passer(positions: FloatArray, seen: IntArray) -> Front:
    """Without five linemen: a passer straight behind a man on the line with nobody close beside him; else a passer alone, a
    man well behind the foremost and near the middle of the others."""
    if len(seen) < 3:
        return Front((), None, np.inf)
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
        return Front((best[1],), best[2], np.inf)
    middle = float(np.median(positions[seen, 1]))
    behind_all = [i for i in seen if 1.5 < front - positions[i, 0] < PASSER_DEEPEST_YD]
    alone = min(behind_all, key=lambda i: abs(positions[i, 1] - middle) - 0.4 * (front - positions[i, 0])) if behind_all else None
    return Front((), None if alone is None else int(alone), np.inf)
