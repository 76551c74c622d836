"""The looks of several views made comparable: cameras on two sides of the field show the same men in other light, front and
back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.observations import Observations
from vision.types import FloatArray, IntArray

SAME_MOMENT_S = 0.04
NEAR_YD = 1.0
ALONE = 2.0
"""Nobody else stands within so many times the distance."""
LEAST_PAIRS = 60
RIDGE = 10.0


def in_one_light(views: Sequence[Observations]) -> list[Observations]:
    """The views with the looks of all but the first brought to the first's, by a linear map that is fitted on boxes of one moment
    which stand on each other with nobody else near; without enough of those, a view's looks say nothing (zero everywhere)."""
    out = [views[0]]
    for view in views[1:]:
        one, two = _pairs(views[0], view)
        width = views[0].appearance.shape[1]
        if len(one) < LEAST_PAIRS or not width or not view.appearance.shape[1]:
            mapped: FloatArray = np.zeros((len(view), width))
        else:
            mapped = _fitted(view.appearance[two], views[0].appearance[one], view.clarity[two] * views[0].clarity[one],
                             view.appearance)
        out.append(replace(view, appearance=mapped))
    return out


def _pairs(first: Observations, second: Observations) -> tuple[IntArray, IntArray]:
    """Rows of both that are the same man at the same moment."""
    one: list[int] = []
    two: list[int] = []
    for k, time_s in enumerate(second.time_s):
        other = int(np.argmin(np.abs(first.time_s - time_s)))
        a, b = first.of_frame(other), second.of_frame(k)
        if abs(first.time_s[other] - time_s) > SAME_MOMENT_S or a.start == a.stop or b.start == b.stop:
            continue
        apart = np.linalg.norm(first.position[a][:, None] - second.position[b][None], axis=2)
        i, j = np.nonzero((apart < NEAR_YD) & (apart == apart.min(axis=0)) & (apart == apart.min(axis=1, keepdims=True)))
        blocked = apart.copy()
        blocked[i, j] = np.inf
        alone = (np.minimum(blocked[i].min(axis=1, initial=np.inf), blocked[:, j].min(axis=0, initial=np.inf))
                 > ALONE * np.maximum(apart[i, j], 0.3))
        one += (a.start + i[alone]).tolist()
        two += (b.start + j[alone]).tolist()
    return np.array(one, dtype=np.int64), np.array(two, dtype=np.int64)


def _fitted(from_looks: FloatArray, to_looks: FloatArray, weight: FloatArray, every: FloatArray) -> FloatArray:
    """`every` (D, A) by the weighted ridge regression of `to_looks` (P, B) on `from_looks` (P, A)."""
    weight = (weight + 1e-3)[:, None]
    middle, target = (weight * from_looks).sum(axis=0) / weight.sum(), (weight * to_looks).sum(axis=0) / weight.sum()
    x, y = from_looks - middle, to_looks - target
    slope = np.linalg.solve(x.T @ (weight * x) + RIDGE * np.eye(x.shape[1]), x.T @ (weight * y))
    out: FloatArray = (every - middle) @ slope + target
    return out
