"""Average precision of boxes at an overlap of one half.

101 recall points and crowd-like ignoring as COCO's detection evaluation does it (Lin et al. 2014, cocoeval); written
anew, one class, one threshold.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from vision.types import BoolArray, FloatArray

OVERLAP = 0.5

Picture = tuple[FloatArray, BoolArray, FloatArray]
"""Truth boxes (N, 4), which of them count (N,), and boxes with confidence (M, 5)."""


def overlap(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N, M) intersection over union of (N, 4) and (M, 4) boxes."""
    low = np.maximum(a[:, None, :2], b[None, :, :2])
    high = np.minimum(a[:, None, 2:], b[None, :, 2:])
    shared = np.clip(high - low, 0, None).prod(axis=2)
    area_a, area_b = (a[:, 2:] - a[:, :2]).prod(axis=1), (b[:, 2:] - b[:, :2]).prod(axis=1)
    out: FloatArray = shared / np.maximum(area_a[:, None] + area_b[None, :] - shared, 1e-9)
    return out


def average_precision(pictures: Iterable[Picture], at: float = OVERLAP) -> float | None:
    """AP over all pictures; None if no person counts."""
    confidence, right, wanted = [], [], 0
    for truth, counted, found in pictures:
        order = np.argsort(-found[:, 4], kind="stable")
        hit, held_against = _judge(truth, counted, found[order, :4], at)
        confidence.append(found[order, 4][held_against])
        right.append(hit[held_against])
        wanted += int(counted.sum())
    if not wanted:
        return None
    order = np.argsort(-np.concatenate(confidence), kind="stable")
    hits = np.concatenate(right)[order]
    true_positives = np.cumsum(hits)
    recall = true_positives / wanted
    precision = true_positives / np.arange(1, len(hits) + 1)
    best_from_here = np.maximum.accumulate(precision[::-1])[::-1]
    at_recall = np.searchsorted(recall, np.linspace(0, 1, 101) - 1e-12, side="left")
    return float(np.where(at_recall < len(hits), np.append(best_from_here, 0.0)[np.minimum(at_recall, len(hits))], 0.0).mean())


def _judge(truth: FloatArray, counted: BoolArray, found: FloatArray, at: float) -> tuple[BoolArray, BoolArray]:
    """(hit, held against the detector) of each box, in order of confidence; each counted person is hit once."""
    hit, held = np.zeros(len(found), bool), np.ones(len(found), bool)
    if not len(truth):
        return hit, held
    overlaps, free = overlap(found, truth), counted.copy()
    for i in range(len(found)):
        candidates = np.where(free, overlaps[i], -1.0)
        best = int(candidates.argmax())
        if candidates[best] >= at:
            hit[i], free[best] = True, False
        elif (overlaps[i][~counted] >= at).any():
            held[i] = False
    return hit, held
