"""The fit of the shifts: it finds what was done to the chances, and keeps nothing that does not hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tagger.calibration.cases import MIN_REPS, Case, stratum_weights
from tagger.calibration.fit import calibrate, fit, losses
from tagger.football.shift import AS_IT_IS, Shift, right_or_wrong

WORDS = ("cover-1", "cover-2", "cover-3", "cover-4")


def honest(count: int, seed: int, told: Shift = AS_IT_IS) -> list[Case]:
    """Cases whose truth is drawn from their chances, then told with the chances shifted."""
    rng, cases = np.random.default_rng(seed), []
    for k in range(count):
        chances = dict(zip(WORDS, map(float, rng.dirichlet(np.full(4, 0.6))), strict=True))
        truth = str(rng.choice(WORDS, p=np.array(list(chances.values())) / sum(chances.values())))
        cases.append(Case(f"rep-{k:04d}", told.of(chances), truth))
    return cases


def test_what_is_calibrated_is_left_alone() -> None:
    kept = [calibrate({"family": honest(200, seed)})[1][0].kept for seed in range(12)]
    assert sum(kept) <= 2, "a gain of one standard error comes by chance about one time in six"


def test_too_sure_chances_are_made_less_sure() -> None:
    own, (outcome,) = calibrate({"family": honest(300, 1, Shift(3.0))})
    assert outcome.kept
    assert outcome.after < outcome.before - 0.2
    assert own.family.power == pytest.approx(1 / 3, rel=0.25)
    unseen = honest(300, 2, Shift(3.0))
    assert losses(unseen, own.family).mean() < losses(unseen, AS_IT_IS).mean() - 0.2


def test_what_the_club_plays_more_often_is_learned() -> None:
    own, _ = calibrate({"family": honest(300, 3, Shift(1.0, {"cover-3": -1.5}))})
    lean = own.family.log_bias
    assert lean["cover-3"] - np.mean([lean[word] for word in WORDS if word != "cover-3"]) == pytest.approx(1.5, abs=0.5)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 1000), st.floats(0.4, 2.5))
def test_a_fit_is_never_worse_on_what_it_saw(seed: int, power: float) -> None:
    cases = honest(60, seed, Shift(power))
    assert losses(cases, fit(cases)).mean() <= losses(cases, AS_IT_IS).mean() + 1e-3


def test_the_log_loss_is_the_textbooks() -> None:
    # -ln p of the truth (Good, J. Royal Statistical Society B 14, 1952), but for the slip of one hand in a hundred.
    loss = losses([Case("a", {"x": 0.25, "y": 0.75}, "x")], AS_IT_IS)[0]
    assert loss == pytest.approx(-math.log(0.25), abs=0.02)


def test_few_reps_keep_nothing() -> None:
    own, (outcome,) = calibrate({"family": honest(MIN_REPS - 1, 1, Shift(4.0))})
    assert own.family == AS_IT_IS
    assert not outcome.kept


def test_many_cases_of_one_rep_count_as_one() -> None:
    rng = np.random.default_rng(5)
    cases = [Case(f"rep-{k // 100}", right_or_wrong(0.9), "right" if rng.random() < 0.6 else "wrong") for k in range(1000)]
    assert not calibrate({"assignment": cases})[1][0].kept, "ten reps are too few, however many men they have"


def test_reps_that_coaches_leave_out_are_stood_for() -> None:
    weights = stratum_weights([0.4, 0.4, 0.4, 0.99], [0.99] * 3)
    assert weights[3] == pytest.approx(4 * weights[0])
    assert np.mean(weights) == pytest.approx(1.0)
    assert stratum_weights([0.2, 0.9], []) == [1.0, 1.0]
