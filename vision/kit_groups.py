"""Tracks sorted by what they wear: two teams, officials and others apart. No colour is given beforehand.

The teams are found on the middles of long tracks; then every box of a track votes, so that a man who lent some boxes to a
neighbour keeps his own shirt.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.cluster.hierarchy import fcluster, linkage

from vision.teams import NOBODY, two_teams
from vision.types import NO_KIT, BoolArray, FloatArray, IntArray

LOOKS_SPREAD = np.array([18.0, 9.0, 9.0, 12.0, 7.0, 7.0, 16.0, 9.0, 9.0])
"""How far one team's men differ in L, a, b of helmet, torso and legs as `kits.describe` measures them."""
CLOTH_SPREAD = np.array([7.0, 6.0, 6.0, 12.0, 7.0, 8.0, 12.0, 3.0, 3.0])
"""The same of shirt, trousers and helmet as the network for crops tells them."""
COLOURS = len(LOOKS_SPREAD)
BOTH = 1.3
"""Variance of two measures of the same man's colours against that of two independent ones."""
SHIRT = (3, 4, 5, COLOURS, COLOURS + 1, COLOURS + 2)
"""Columns that tell the shirt."""
FARTHEST = 4.0
"""Odd men make a small kit, and a short track joins one, within this distance in units of the spreads."""
ODD_SD = 5.0
"""A player whose shirt is farther than this from both teams' wears something of his own: a passer's red."""
CAP_SD, MOST_SAID = 4.0, 8.0
"""One odd colour of a box counts at most this much, and so does one box."""
LONG_SHARE = 0.3


def in_units(looks: FloatArray, cloth: FloatArray | None = None) -> FloatArray:
    """Colours (B, 9 or 18) of boxes in units of one team's spread, from `kits.describe` (B, 12) and the crops' cloth (B, 9)."""
    measured: FloatArray = looks[:, :COLOURS] / LOOKS_SPREAD
    if cloth is None:
        return measured
    both: FloatArray = np.concatenate([measured, cloth / CLOTH_SPREAD], axis=1) / np.sqrt(BOTH)
    return both


def middle(boxes: FloatArray, clear: FloatArray) -> FloatArray:
    """(A,) a track's colours from its boxes' (B, A), medians over those least covered; `clear` (B,) 0..1."""
    seen: FloatArray = np.median(boxes[clear >= np.quantile(clear, 0.5)], axis=0)
    return seen


def cluster(boxes: Sequence[FloatArray], clear: Sequence[FloatArray], player: BoolArray | None = None) -> IntArray:
    """`kit_id` (N,) of N tracks from the colours of their boxes (B, A each, see `in_units`) and how clear each box is (B,): 0 and
    1 the two teams, the larger first, 2 ... small kits of officials and others. A man alone in his colour gets NO_KIT.

    `player` (N,) says who plays, so that a dirty shirt is still a team's; left out, the colours alone must tell.
    """
    n = len(boxes)
    if n < 2:
        return np.full(n, NO_KIT, dtype=np.int64)
    points = np.stack([middle(one, how) for one, how in zip(boxes, clear, strict=True)])
    plays = np.ones(n, dtype=np.bool_) if player is None else player.copy()
    weight = np.array([len(one) for one in boxes])
    long = plays & (weight >= LONG_SHARE * np.quantile(weight, 0.8))
    if long.sum() < 2:
        return np.full(n, NO_KIT, dtype=np.int64)
    team, _ = two_teams(points[long])
    if player is None:
        plays[np.flatnonzero(long)[team == NOBODY]] = False
    labels = np.full(n, NO_KIT, dtype=np.int64)
    playing = np.flatnonzero(plays).tolist()
    labels[plays] = _teams([boxes[i] for i in playing], [clear[i] for i in playing], points[plays], points[long], team,
                           player is None)
    rest = np.flatnonzero(~plays)
    labels[rest] = _small_kits(points[rest])
    return _larger_first(labels)


def _teams(boxes: Sequence[FloatArray], clear: Sequence[FloatArray], points: FloatArray, long: FloatArray, team: IntArray,
           strict: bool) -> IntArray:
    """Team 0 or 1 of every player by vote of his boxes, NO_KIT in something of his own. `long` (L, A) are the tracks that the
    teams were found on, `team` (L,) theirs; `strict` keeps out whoever is not near one of them in all his colours."""
    known = [k for k in (0, 1) if (team == k).any()]
    if not known:
        return np.full(len(points), NO_KIT, dtype=np.int64)
    middles = np.stack([np.median(long[team == k], axis=0) for k in known])
    spread = _spread(np.concatenate([long[team == k] - at for k, at in zip(known, middles, strict=True)]))
    off = np.abs(points[:, None] - middles)
    shirt = [column for column in SHIRT if column < points.shape[1]]
    far = np.sqrt(((off / spread)[..., shirt] ** 2).mean(axis=2)).min(axis=1) > ODD_SD
    if strict:
        far |= np.linalg.norm(off, axis=2).min(axis=1) >= FARTHEST
    if len(known) == 1:
        return np.where(far, NO_KIT, 0)
    nearest = off.sum(axis=2).argmin(axis=1)
    own = _spread(np.concatenate([one - middles[k] for one, k in zip(boxes, nearest, strict=True)]))
    second = np.array([_leaning(one, how, middles, own) > 0 for one, how in zip(boxes, clear, strict=True)])
    return np.where(far, NO_KIT, second.astype(np.int64))


def _spread(off: FloatArray) -> FloatArray:
    """(A,) standard deviation of what is off the middles, held away from nothing."""
    spread: FloatArray = np.sqrt(0.8 * (np.clip(off, -6, 6) ** 2).mean(axis=0) + 0.05)
    return spread


def _leaning(boxes: FloatArray, clear: FloatArray, middles: FloatArray, spread: FloatArray) -> float:
    """How much a man's boxes lean to the second team."""
    apart = (np.minimum(np.abs(boxes[:, None] - middles) / spread, CAP_SD) ** 2).sum(axis=2)
    return float((np.clip(apart[:, 0] - apart[:, 1], -MOST_SAID, MOST_SAID) * clear.clip(0.1, 1.0)).sum())


def _small_kits(points: FloatArray) -> IntArray:
    """Kits 2, 3 ... of men alike who are in no team; NO_KIT for one alone."""
    if len(points) < 2:
        return np.full(len(points), NO_KIT, dtype=np.int64)
    small = fcluster(linkage(points, method="average"), FARTHEST, criterion="distance")
    sizes = np.bincount(small)
    kits: IntArray = np.where(sizes[small] > 1, small + 1, NO_KIT)
    return kits


def _larger_first(labels: IntArray) -> IntArray:
    """Teams and small kits renumbered by size from 0 and from 2 on; NO_KIT stays."""
    out = np.full_like(labels, NO_KIT)
    for first, group in ((0, labels[(labels >= 0) & (labels < 2)]), (2, labels[labels >= 2])):
        found, sizes = np.unique(group, return_counts=True)
        for rank, label in enumerate(found[np.argsort(-sizes, kind="stable")]):
            out[labels == label] = first + rank
    return out
