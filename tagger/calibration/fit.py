"""Fits the shift of each thing told, and keeps it only if reps that it has not seen are told better with it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from tagger.calibration.cases import MIN_REPS, Case, Cases
from tagger.football.shift import AS_IT_IS, LEAST, WRONG, OwnShifts, Shift
from vision.types import FloatArray, IntArray

FOLDS = 5
POWER_SD = 0.5
"""Of the logarithm of the power, before any rep is seen."""
BIAS_SD = 1.0
SLIP = 0.01
"""Share of truths that are a slip of the coach's hand: one of them must not outweigh a hundred others."""


@dataclass(frozen=True)
class Outcome:
    """One thing told, over `reps` finished reps: the mean log loss (nats) on held-out reps before and after, the standard error
    of the gain, and the shift that all reps together taught if it was `kept`."""

    what: str
    reps: int
    before: float
    after: float
    gain_error: float
    kept: bool
    shift: Shift


def calibrate(cases: Cases) -> tuple[OwnShifts, tuple[Outcome, ...]]:
    """The shifts that hold out of sample, and what became of each."""
    outcomes = tuple(_outcome(what, some) for what, some in cases.items() if some)
    return OwnShifts(**{one.what: one.shift for one in outcomes if one.kept}), outcomes


def fold_of(rep: str) -> int:
    """The rep's part of the cross-validation, always the same."""
    return int.from_bytes(hashlib.blake2b(rep.encode(), digest_size=4).digest()) % FOLDS


def _outcome(what: str, cases: Sequence[Case]) -> Outcome:
    """Every rep is judged by a shift that was learned without it. Better by chance is not better: the mean gain per rep must
    exceed its standard error."""
    fold = np.array([fold_of(case.rep) for case in cases])
    weight = np.array([case.weight for case in cases])
    before, after = losses(cases, AS_IT_IS), np.zeros(len(cases))
    for k in range(FOLDS):
        held_out = fold == k
        if held_out.any():
            learned = fit([case for case, out in zip(cases, held_out, strict=True) if not out])
            after[held_out] = losses([case for case, out in zip(cases, held_out, strict=True) if out], learned)
    gain, error, reps = _gain(cases, weight, before - after)
    kept = reps >= MIN_REPS and gain > error
    return Outcome(what, reps, float(np.average(before, weights=weight)), float(np.average(after, weights=weight)), error, kept,
                   fit(cases) if kept else AS_IT_IS)


def _gain(cases: Sequence[Case], weight: FloatArray, gains: FloatArray) -> tuple[float, float, int]:
    """(mean gain, its standard error, reps): the cases of one rep are not independent, its mean counts once."""
    names, rep = np.unique([case.rep for case in cases], return_inverse=True)
    share = np.bincount(rep, weights=weight)
    means = np.bincount(rep, weights=weight * gains) / share
    share = share / share.sum()
    mean = float(share @ means)
    return mean, float(np.sqrt((share**2 * (means - mean) ** 2).sum())), len(names)


def fit(cases: Sequence[Case]) -> Shift:
    """The likeliest shift (penalised: power near 1, biases near 0). Raises nothing: of no cases it is none."""
    if not cases:
        return AS_IT_IS
    words = sorted({word for case in cases for word in case.chances} - {WRONG})
    logs, truth = _table(cases)
    weight = np.array([case.weight for case in cases])
    columns = {word: k for k, word in enumerate(_words(cases))}
    spots = [columns[word] for word in words]

    def cost(parameters: FloatArray) -> float:
        bias = np.zeros(logs.shape[1])
        bias[spots] = parameters[1:]
        penalty = (parameters[0] / POWER_SD) ** 2 + ((parameters[1:] / BIAS_SD) ** 2).sum()
        return float(weight @ _losses(np.exp(parameters[0]) * logs + bias, truth) + penalty / 2.0)

    best = minimize(cost, np.zeros(1 + len(words)), method="L-BFGS-B").x
    return Shift(round(float(np.exp(best[0])), 4), {word: round(float(b), 4) for word, b in zip(words, best[1:], strict=True)})


def losses(cases: Sequence[Case], shift: Shift) -> FloatArray:
    """(N,) log loss of the coach's word under the shifted chances."""
    logs, truth = _table(cases)
    bias = np.array([shift.log_bias.get(word, 0.0) for word in _words(cases)])
    return _losses(shift.power * logs + bias, truth)


def _words(cases: Sequence[Case]) -> list[str]:
    return sorted({word for case in cases for word in (*case.chances, case.truth)})


def _table(cases: Sequence[Case]) -> tuple[FloatArray, IntArray]:
    """(N, W) log chances, -inf for what was not possible, and (N,) columns of the truth."""
    words = _words(cases)
    chances = np.array([[case.chances.get(word, 0.0) for word in words] for case in cases])
    with np.errstate(divide="ignore"):
        logs = np.log(np.where(chances > 0.0, np.maximum(chances, LEAST), 0.0))
    return logs, np.array([words.index(case.truth) for case in cases])


def _losses(logs: FloatArray, truth: IntArray) -> FloatArray:
    top = logs.max(axis=1, keepdims=True)
    chance = np.exp(logs - top)
    right = chance[np.arange(len(truth)), truth] / chance.sum(axis=1)
    out: FloatArray = -np.log((1.0 - SLIP) * right + SLIP / logs.shape[1])
    return out
