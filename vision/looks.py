"""Appearance in the directions that tell people apart: what differs between people, over what differs between moments of one.

Nothing is known yet of who is who, so people are chains of boxes that overlap from frame to frame with nobody near. Fisher's
discriminant on those chains (Fisher 1936) keeps a few directions in which shirts differ and drops noise, pose and light.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.linalg import eigh

from vision.boxes import covered_share, iou
from vision.sights import Sight
from vision.types import Detections, FloatArray, IntArray

DIRECTIONS = 6
CHAIN_IOU = 0.5
MAX_COVERED = 0.1
MIN_CHAIN = 6
COLOURS = slice(0, 12)
"""Columns of `appearance` that hold the measured colours."""
LEAST_ROLE = 0.01
"""Probability below which roles differ no more."""
SHRINKAGE = 0.1
"""Share of its diagonal that is mixed into the within-person covariance, as few chains make a poor one."""


def appearance(colours: FloatArray, sight: Sight) -> FloatArray:
    """All that boxes (N) wear, (N, 24): their measured `colours` (N, 12) as `vision.kits.describe` gives them, and the cloth and
    role that a look at each man told."""
    return np.hstack([colours, sight.cloth, np.log(sight.role + LEAST_ROLE)])


def discriminate(detections: Sequence[Detections], appearance: Sequence[FloatArray]) -> FloatArray:
    """Looks (D, at most 6) of all boxes in turn, in units of one person's own spread; `appearance` (N, A) for each frame.

    Raises ValueError where `appearance` does not match the detections.
    """
    if [len(a) for a in appearance] != [len(d) for d in detections]:
        raise ValueError("appearance: wanted one row for every detection of every frame")
    raw = np.concatenate(appearance).astype(np.float64)
    if not len(raw) or not raw.shape[1]:
        return np.zeros((len(raw), 0))
    chain = _chains(detections)
    found, sizes = np.unique(chain[chain >= 0], return_counts=True)
    people = found[sizes >= MIN_CHAIN]
    if len(people) < 2:
        return np.zeros((len(raw), 0))
    rows = [np.flatnonzero(chain == person) for person in people]
    means = np.array([raw[row].mean(axis=0) for row in rows])
    within = np.cov(np.concatenate([raw[row] - mean for row, mean in zip(rows, means, strict=True)]), rowvar=False)
    within = np.atleast_2d(within)
    within += SHRINKAGE * np.diag(np.diag(within)) + 1e-6 * np.eye(len(within)) * max(float(np.trace(within)), 1e-6)
    _, directions = eigh(np.atleast_2d(np.cov(means, rowvar=False)), within)
    kept: FloatArray = (raw - means.mean(axis=0)) @ directions[:, ::-1][:, :DIRECTIONS]
    return kept


def _chains(detections: Sequence[Detections]) -> IntArray:
    """(D,) number of the chain of each box, -1 where somebody covers it."""
    chains: list[IntArray] = []
    count = 0
    for d in detections:
        boxes = d.xyxy.astype(np.float64)
        here = np.arange(count, count + len(d))
        count += len(d)
        here[covered_share(boxes) > MAX_COVERED] = -1
        if chains:
            _carry_on(detections[len(chains) - 1].xyxy.astype(np.float64), boxes, chains[-1], here)
        chains.append(here)
    return np.concatenate(chains) if chains else np.zeros(0, dtype=np.int64)


def _carry_on(before: FloatArray, after: FloatArray, chain_before: IntArray, chain_after: IntArray) -> None:
    """Give boxes the chain of the box that overlaps them best, where both choose each other."""
    if not len(before) or not len(after):
        return
    overlap = iou(before, after)
    best = overlap.argmax(axis=0)
    mutual = (overlap.argmax(axis=1)[best] == np.arange(len(after))) & (overlap[best, np.arange(len(after))] > CHAIN_IOU)
    mutual &= (chain_before[best] >= 0) & (chain_after >= 0)
    chain_after[mutual] = chain_before[best[mutual]]
