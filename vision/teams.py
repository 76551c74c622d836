"""Two teams in a crowd of colours: a mixture of two alike clouds and a broad one for everybody else, fitted by expectation
maximisation (Dempster, Laird, Rubin 1977) from many starts.

Shade, dirt, numbers and neighbours spread one team's colours as far as two other teams lie apart, so no fixed distance tells
teams; that nearly everybody on a practice field wears one of two shirts does.
"""

from __future__ import annotations

import numpy as np

from vision.types import FloatArray, IntArray

NOBODY = 2
"""The third component: officials, coaches, one man in red."""

STARTS = 40
ROUNDS = 25
BROAD_SD = 4.0
"""Standard deviation of everybody else's colours, in units of a team's usual spread."""
FARTHEST_SD = 5.0
"""One odd part (a visor, another man's leg) counts at most this much."""
USUAL_MEN = np.array([8.0, 8.0, 3.0])
SMALLEST_TEAM = 0.2
"""A team is at least this share of all."""
SMALL_TEAM_COST = 50.0
PRIOR_MEN = 8.0
SPREAD_RANGE = (0.25, 4.0)


def two_teams(points: FloatArray) -> tuple[IntArray, FloatArray]:
    """Team 0 or 1, or NOBODY, of (N, D) colours in units of a team's usual spread, and (N, 3) the probabilities."""
    starts = _starts(points)
    best, likeliest = np.full((len(points), 3), 1.0 / 3.0), -np.inf
    for first, second in starts:
        value, shares = _fit(points, points[[first, second]].astype(np.float64))
        if value > likeliest:
            best, likeliest = shares, value
    return best.argmax(axis=1), best


def _starts(points: FloatArray) -> list[tuple[int, int]]:
    """Pairs of men in unlike colours, drawn with a fixed seed from the unlike half of all pairs."""
    row, column = np.triu_indices(len(points), 1)
    apart = ((points[row] - points[column]) ** 2).sum(axis=1)
    unlike = np.argsort(-apart, kind="stable")[: max(1, len(row) // 2)] if len(row) else np.zeros(0, dtype=np.int64)
    drawn = np.random.default_rng(0).permutation(unlike)[:STARTS]
    return [(int(row[i]), int(column[i])) for i in drawn]


def _fit(points: FloatArray, means: FloatArray) -> tuple[float, FloatArray]:
    """Log likelihood and (N, 3) shares after ROUNDS from these two middles."""
    n, dimensions = points.shape
    spread, prior = np.ones(dimensions), USUAL_MEN / USUAL_MEN.sum()
    broad = -dimensions * np.log(BROAD_SD)
    shares, total = np.zeros((n, 3)), -np.inf
    for _ in range(ROUNDS):
        squared = (points[:, None] - means) ** 2
        near = -0.5 * np.minimum(squared / spread, FARTHEST_SD**2).sum(axis=2) - 0.5 * np.log(spread).sum()
        log = np.concatenate([near, np.full((n, 1), broad)], axis=1) + np.log(prior)
        peak = log.max(axis=1, keepdims=True)
        each = peak[:, 0] + np.log(np.exp(log - peak).sum(axis=1))
        shares, total = np.exp(log - each[:, None]), float(each.sum())
        team = shares[:, :2]
        means = (team.T @ points + 1e-3 * means) / (team.sum(axis=0)[:, None] + 1e-3)
        within = (team[:, :, None] * (points[:, None] - means) ** 2).sum(axis=(0, 1))
        spread = np.clip((within + PRIOR_MEN) / (team.sum() + PRIOR_MEN), *SPREAD_RANGE)
        prior = (shares.sum(axis=0) + USUAL_MEN) / (n + USUAL_MEN.sum())
    small = shares[:, :2].sum(axis=0).min() < SMALLEST_TEAM * n
    return total - (SMALL_TEAM_COST if small else 0.0), shares
