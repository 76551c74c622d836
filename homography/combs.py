"""Which stripes of a picture are yard lines, and which ones: stripes labelled in units of five yards.

A level camera (no roll) whose yard lines meet in a known point has one free parameter left, the focal length, before the
spacing of the lines fixes its height and x. Sideline views: every pair of stripes and every small label gap gives such a
camera. End-zone views, whose yard lines hardly converge: three stripes and their label gaps give the horizon (the reciprocal
distance below the horizon grows evenly). Every other stripe then votes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from homography.field import YARD_LINE_SPACING_YD
from homography.stripes import Stripes

Array = npt.NDArray[np.float64]
FOCAL_GRID = np.geomspace(0.55, 6.5, 11)
LABEL_GAPS = (1, 2, 3, 4)
HEIGHT_YD = (2.0, 45.0)
PAIR_STRIPES = 14
COMB_TOLERANCE = 0.07
WIDEST_TOLERANCE = 0.16
KEPT_COMBS = 6
GAPS_COST = 1.0
"""Of a comb's score, by the share of lines missing between first and last: one of half the spacing finds strays to count."""
MOST_POINTS = 60


@dataclass(frozen=True)
class Comb:
    """Stripes taken as yard lines: `which` (n,) of the `stripes`, with `label` (n,) in units of 5 yd; the horizon's row at the
    picture's middle column for an end-zone view."""

    view: str
    stripes: Stripes
    which: npt.NDArray[np.int64]
    label: npt.NDArray[np.int64]
    horizon_px: float
    score: float


def sideline_combs(stripes: Stripes, size: tuple[int, int]) -> list[Comb]:
    """Pairs of stripes as yard lines, scored by all the others."""
    middle = np.array(size) / 2.0
    order = np.argsort(-stripes.points)[:PAIR_STRIPES]
    pairs = np.array(list(combinations(order, 2)), dtype=int).reshape(-1, 2)
    if not len(pairs):
        return []
    line = centred_lines(stripes.line, middle)
    ends = stripes.ends_px - middle
    meet = np.cross(line[pairs[:, 0]], line[pairs[:, 1]])
    focal = (FOCAL_GRID * size[0])[None, :, None]
    forward = np.stack([meet[:, None, 0] / focal[..., 0], meet[:, None, 1] / focal[..., 0],
                        np.broadcast_to(meet[:, None, 2], (len(pairs), focal.shape[1]))], axis=2)
    forward *= np.sign(forward[..., 2:]) + (forward[..., 2:] == 0)
    forward /= np.linalg.norm(forward, axis=2, keepdims=True)
    up = np.stack([np.zeros_like(forward[..., 0]), -forward[..., 2], forward[..., 1]], axis=2)
    up /= np.maximum(np.linalg.norm(up, axis=2, keepdims=True), 1e-9)
    right = np.cross(forward, up)
    turn = np.stack([right, forward, up], axis=3)
    rays = np.concatenate([ends[None, None] / focal[..., None, None], np.ones((1, focal.shape[1], *ends.shape[:2], 1))], axis=-1)
    spread = np.einsum("pfij,pfsei->pfsej", turn, np.broadcast_to(rays, (len(pairs), *rays.shape[1:])))
    drop = -spread[..., 2]
    below = (drop > 1e-3).all(axis=3)
    spot = spread[..., :2] / np.maximum(drop, 1e-3)[..., None]
    index = np.arange(len(pairs))
    first = spot[index, :, pairs[:, 0], :, 0].mean(axis=2)
    second = spot[index, :, pairs[:, 1], :, 0].mean(axis=2)
    possible = (forward[..., 1] < 0.05) & below[index, :, pairs[:, 0]] & below[index, :, pairs[:, 1]] & (forward[..., 2] > 0.25)
    combs = []
    for gap in LABEL_GAPS:
        height = gap * YARD_LINE_SPACING_YD / np.maximum(np.abs(second - first), 1e-9)
        fits = possible & (height > HEIGHT_YD[0]) & (height < HEIGHT_YD[1])
        label = (spot[..., 0] - first[..., None, None]) * height[..., None, None] / YARD_LINE_SPACING_YD
        combs.append(vote(label, below & fits[..., None], stripes.points))
    found = []
    for score, label in combs:
        best = score.argmax(axis=1)
        for p in np.argsort(-score[index, best])[: 2 * KEPT_COMBS]:
            if score[p, best[p]] > 0:
                which, labels = label(p, best[p])
                found.append(Comb("sideline", stripes, which, labels, np.nan, float(score[p, best[p]])))
    return distinct(found)


def end_zone_combs(stripes: Stripes, size: tuple[int, int]) -> list[Comb]:
    """Triples of flat stripes as yard lines, scored by all the others."""
    middle = np.array(size) / 2.0
    line = centred_lines(stripes.line, middle)
    flat = np.abs(line[:, 1]) > np.cos(np.radians(25.0))
    order = np.array([s for s in np.argsort(-stripes.points) if flat[s]][:PAIR_STRIPES], dtype=int)
    if len(order) < 3:
        return []
    height = -line[:, 2] / np.where(np.abs(line[:, 1]) > 1e-6, line[:, 1], 1e-6)
    order = order[np.argsort(height[order])]
    triples = np.array(list(combinations(order, 3)), dtype=int)
    top, mid, low = height[triples].T
    found = []
    for g1 in LABEL_GAPS[:3]:
        for g2 in LABEL_GAPS[:3]:
            a, b = (mid - top) * g2, (low - mid) * g1
            horizon = (a * low - b * top) / np.where(np.abs(a - b) > 1e-9, a - b, 1e-9)
            reciprocal = 1.0 / np.maximum(height[None] - horizon[:, None], 1e-6)
            index = np.arange(len(triples))
            r_top, r_low = reciprocal[index, triples[:, 0]], reciprocal[index, triples[:, 2]]
            step = (r_top - r_low) / (g1 + g2)
            label = (reciprocal - r_low[:, None]) / np.maximum(step[:, None], 1e-12)
            good = ((horizon < top - 0.004 * size[1]) & (step > 0))[:, None] & (height[None] > horizon[:, None]) & flat[None]
            # Farther stripes are so close together that their labels say little; the vote's tolerance is in px there.
            pixels = step[:, None] / reciprocal**2
            tolerance = np.maximum(COMB_TOLERANCE, 1.5 / np.maximum(pixels, 1e-3))[:, None]
            score, chosen = vote(label[:, None, :, None], good[:, None], stripes.points, tolerance)
            for t in np.argsort(-score[:, 0])[:KEPT_COMBS]:
                if score[t, 0] > 0:
                    which, labels = chosen(t, 0)
                    found.append(Comb("end-zone", stripes, which, labels, float(horizon[t]), float(score[t, 0])))
    return distinct(found)


def centred_lines(line: Array, middle: Array) -> Array:
    """Lines (S, 3) about the picture's middle."""
    return np.column_stack([line[:, :2], line[:, 2] + line[:, :2] @ middle])


Chosen = Callable[[int, int], tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]]


def vote(label: Array, usable: npt.NDArray[np.bool_], points: npt.NDArray[np.int64],
         tolerance: float | Array = COMB_TOLERANCE) -> tuple[Array, Chosen]:
    """Scores (A, B) of combs from the labels (A, B, S, E) of the stripes' ends, and a function giving a comb's stripes."""
    whole = np.round(label.mean(axis=3))
    off = np.abs(label - whole[..., None]).max(axis=3)
    span = np.abs(label.max(axis=3) - label.min(axis=3))
    fine = np.asarray(tolerance) < WIDEST_TOLERANCE
    hit = usable & (off < 2.0 * tolerance) & fine
    weight = np.where(hit, np.exp(-((off / tolerance) ** 2)), 0.0) * np.minimum(points, MOST_POINTS)
    # Two stripes cannot be the same yard line: the better supported one is.
    order = np.argsort(-points, kind="stable")
    whole_sorted = np.where(hit, whole, np.nan)[..., order]
    repeated = np.stack([(whole_sorted[..., :s] == whole_sorted[..., s:s + 1]).any(axis=-1) for s in range(len(order))], axis=-1)
    weight[..., order] = np.where(repeated, 0.0, weight[..., order])
    # A stripe that runs like a yard line, between two of them, speaks against the comb.
    between = usable & ~hit & fine & (span < 0.1) & (off < 0.5)
    stray = np.where(between, np.minimum(points, MOST_POINTS) * np.clip((off - 2 * tolerance) * 5.0, 0, 1), 0.0)
    lowest = np.where(hit, whole, np.inf).min(axis=2)
    highest = np.where(hit, whole, -np.inf).max(axis=2)
    order = np.sort(np.where(hit, whole, np.inf), axis=2)
    with np.errstate(invalid="ignore"):
        distinct_labels = 1 + ((np.diff(order, axis=2) > 0.5) & np.isfinite(order[..., 1:])).sum(axis=2)
    filled = distinct_labels / np.maximum(highest - lowest + 1, 1.0)
    good = (distinct_labels >= 2) & np.isfinite(lowest) & (highest - lowest < 25)
    score = np.where(good, (weight.sum(axis=2) - stray.sum(axis=2)) * (1.0 - GAPS_COST * (1.0 - np.where(good, filled, 0))), 0.0)

    def chosen(a: int, b: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        which = np.nonzero(hit[a, b])[0]
        return which, whole[a, b, which].astype(int)

    return score, chosen


def distinct(combs: list[Comb]) -> list[Comb]:
    """Combs best first, without those that label the same stripes alike."""
    kept: list[Comb] = []
    seen = set()
    for comb in sorted(combs, key=lambda c: -c.score):
        labels = comb.label - comb.label.min()
        rising = comb.label[0] <= comb.label[-1]
        key = (tuple(comb.which), tuple(labels if rising else labels.max() - labels))
        if key not in seen:
            seen.add(key)
            kept.append(comb)
    return kept
