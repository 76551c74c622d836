"""A club's own shift of the chances: nothing by itself, and what follows from a family moves with it."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tagger.football.reading import read_play
from tagger.football.shift import AS_IT_IS, OwnShifts, Shift
from tests.football.plays import cover_0, cover_3

CHANCES = st.dictionaries(st.sampled_from("abcdef"), st.floats(0.001, 1.0), min_size=1)


@given(CHANCES)
def test_as_it_is_changes_nothing(chances: dict[str, float]) -> None:
    assert AS_IT_IS.of(chances) == chances
    assert Shift(1.0, {"z": 3.0}).of(chances) == pytest.approx(chances)


@given(CHANCES, st.floats(0.2, 3.0), st.dictionaries(st.sampled_from("abcdef"), st.floats(-2, 2)))
def test_the_sum_stays_and_equal_biases_keep_the_order(chances: dict[str, float], power: float, bias: dict[str, float]) -> None:
    assert sum(Shift(power, bias).of(chances).values()) == pytest.approx(sum(chances.values()))
    plain = Shift(power).of(chances)
    raised = [plain[word] for word in sorted(chances, key=lambda word: chances[word])]
    assert all(one <= other or one == pytest.approx(other, rel=1e-12) for one, other in itertools.pairwise(raised))


@given(st.floats(0.51, 0.99))
def test_a_power_below_one_makes_less_sure(chance: float) -> None:
    assert 0.5 < Shift(0.5).of_one(chance) < chance < Shift(2.0).of_one(chance)
    assert Shift(0.5).of_one(1.0) < 1.0 == AS_IT_IS.of_one(1.0)


def test_no_shift_no_change() -> None:
    assert read_play(cover_3(), own=OwnShifts()) == read_play(cover_3())


def test_the_men_move_with_the_family() -> None:
    blind = read_play(cover_3())
    moved = read_play(cover_3(), own=OwnShifts(family=Shift(1.0, {"cover-4": 8.0, "cover-3": -8.0})))
    assert blind.family["cover-3"] > 0.9
    assert moved.family["cover-4"] > 0.9

    def share(reading, word: str) -> float:
        return sum(p for d in reading.defenders for role, p in d.marginals.items() if role.startswith(word))

    assert share(moved, "deep-quarter") > 3.0 > 0.5 > share(blind, "deep-quarter")
    assert all(sum(d.marginals.values()) == pytest.approx(1.0, abs=0.05) for d in moved.defenders)
    assert moved.family_over_time[-1].family["cover-4"] == pytest.approx(moved.family["cover-4"], abs=0.05)


def test_told_chances_are_shifted_and_nothing_else() -> None:
    blind = read_play(cover_0())
    shy = read_play(cover_0(), own=OwnShifts(assignment=Shift(0.3), event=Shift(0.3), shell=Shift(0.3)))
    assert shy.family == blind.family
    men = zip(blind.defenders, shy.defenders, strict=True)
    pairs = [(a, b) for d, e in men for a, b in zip(d.intervals, e.intervals, strict=True)]
    assert any(b.confidence < a.confidence for a, b in pairs)
    assert all((b.confidence <= a.confidence) == (a.confidence >= 0.5) or a.confidence == b.confidence for a, b in pairs)
    assert [i.assignment for i, _ in pairs] == [i.assignment for _, i in pairs]
