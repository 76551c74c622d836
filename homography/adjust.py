"""Least squares over all frames at once: one camera centre and distortion, a pose per frame (a bundle adjustment).

Measurements are picture points that lie on known field lines, and background points seen in two frames. Outliers are
weighed down by the Geman-McClure kernel. The normal matrix is sparse (a band of poses with a border of shared parameters).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse.linalg import splu

from homography.crown import CROWN_RANGE_YD
from homography.residuals import linearise
from homography.solution import TOP, Measurements, Prior, Solution, moved, possible

Array = npt.NDArray[np.float64]
KERNEL = 3.0
DAMPING = 1e-6
PIN = 1e6
MOST_DAMPING = 1e3


def adjust(start: Solution, seen: Measurements, prior: Prior, rounds: int = 8, tolerance: float = 1e-4) -> Solution:
    """Improve a solution by damped, iteratively reweighted Gauss-Newton steps."""
    now, damping = start, DAMPING
    residual, jacobian = linearise(now, seen, prior)
    cost = robust_cost(residual, seen)
    for _ in range(rounds):
        weight = robust_weight(residual, seen)
        normal, weighted = information(jacobian, weight)
        gradient = weighted.T @ residual
        step = damped_step(normal, gradient, damping)
        top_yd = float(np.clip(now.crown.top_yd - step[TOP], *CROWN_RANGE_YD))
        if top_yd != now.crown.top_yd - step[TOP]:
            # The best step with the crown at its bound; the step without the bound, cut off there, might lead nowhere.
            step = damped_step(normal, gradient, damping, now.crown.top_yd - top_yd)
        trial = moved(now, -step)
        trial_cost = np.inf
        if possible(trial):
            trial_residual, trial_jacobian = linearise(trial, seen, prior)
            trial_cost = robust_cost(trial_residual, seen)
        if not np.isfinite(trial_cost) or trial_cost > cost * (1 + 1e-9):
            damping = max(damping, 1e-6) * 30.0
            if damping > MOST_DAMPING:
                break
            continue
        gain = cost - trial_cost
        now, residual, jacobian, cost, damping = trial, trial_residual, trial_jacobian, trial_cost, max(damping / 10.0, DAMPING)
        if gain < tolerance * cost:
            break
    return replace(now, cost=cost, normal=information(jacobian, robust_weight(residual, seen))[0])


def robust_weight(residual: Array, seen: Measurements) -> Array:
    """(R,) weights; the rows at the end, of the priors and of what is known, keep weight 1."""
    squared = (residual / KERNEL) ** 2
    weight = 1.0 / (1.0 + squared) ** 2
    weight[len(seen.row) + 2 * len(seen.from_row):] = 1.0
    return np.asarray(weight)


def robust_cost(residual: Array, seen: Measurements) -> float:
    """Half the robust sum of squares."""
    hard = len(seen.row) + 2 * len(seen.from_row)
    squared = residual[:hard] ** 2
    return float(0.5 * (squared / (1.0 + squared / KERNEL**2)).sum() + 0.5 * (residual[hard:] ** 2).sum())


def information(jacobian: Any, weight: Array) -> tuple[Any, Any]:
    """Normal matrix J^T W J and the weighted Jacobian."""
    if isinstance(jacobian, np.ndarray):
        weighted = jacobian * weight[:, None]
        return weighted.T @ jacobian, weighted
    weighted = jacobian.multiply(weight[:, None]).tocsr()
    return (weighted.T @ jacobian).tocsc(), weighted


def damped_step(normal: Any, gradient: Array, damping: float, top_yd: float | None = None) -> Array:
    """Solve the damped normal equations; with `top_yd`, for a step that takes the crown's top by that."""
    load = damping * normal.diagonal() + 1e-9
    if top_yd is not None:
        pin = PIN * normal.diagonal()[TOP]
        load[TOP] += pin
        gradient = gradient.copy()
        gradient[TOP] += pin * top_yd
    if isinstance(normal, np.ndarray):
        return np.linalg.solve(normal + np.diag(load), gradient)
    return np.asarray(splu(normal + sparse.diags(load)).solve(gradient))
