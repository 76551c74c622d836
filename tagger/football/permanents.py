"""Exact sums over all ways to share n roles among n men: the permanent of a matrix and its marginals.

Dynamic programme over subsets of men (the Ryser-free form of R. Bellman, "Dynamic programming treatment of the travelling
salesman problem", J. ACM 1962, applied to assignment): n * 2^n steps, batched over structures.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from vision.types import FloatArray, IntArray


@lru_cache(maxsize=32)
def _subsets(n: int) -> tuple[tuple[IntArray, ...], ...]:
    """For each number of men j and man d: the subsets of j men without d, as bit masks."""
    masks = np.arange(1 << n)
    size = np.array([bin(m).count("1") for m in masks])
    return tuple(tuple(masks[(size == j) & ((masks >> d) & 1 == 0)] for d in range(n)) for j in range(n))


def share_out(log_score: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(S, n, n) log scores of man d in role j for S structures -> log of the sum over all assignments (S,), and the
    probability (S, n, n) that man d has role j within each structure. A score of -inf forbids a role; a structure that cannot
    be shared out then has -inf and no chances."""
    structures, n, _ = log_score.shape
    top = log_score.max(axis=2)
    weight = np.exp(np.maximum(log_score - np.where(np.isfinite(top), top, 0.0)[:, :, None], -60.0))
    weight[np.isneginf(log_score)] = 0.0
    subsets = _subsets(n)
    forward = np.zeros((structures, 1 << n))
    forward[:, 0] = 1.0
    for j in range(n):
        for d in range(n):
            source = subsets[j][d]
            forward[:, source | (1 << d)] += forward[:, source] * weight[:, d, j, None]
    backward = np.zeros((structures, 1 << n))
    backward[:, -1] = 1.0
    chance = np.empty((structures, n, n))
    for j in range(n - 1, -1, -1):
        for d in range(n):
            source = subsets[j][d]
            step = weight[:, d, j, None] * backward[:, source | (1 << d)]
            backward[:, source] += step
            chance[:, d, j] = (forward[:, source] * step).sum(axis=1)
    total = np.maximum(forward[:, -1], 1e-300)
    return np.where(forward[:, -1] > 0.0, np.log(total) + top.sum(axis=1), -np.inf), chance / total[:, None, None]
