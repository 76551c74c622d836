"""What a coach has fixed conditions the rest: certain itself, and the structures and the other men follow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tagger.football.facts import LEAST_SHARE
from tagger.football.permanents import share_out
from tagger.football.reading import read_play
from tagger.football.types import CoachFacts, Interval, PlayTracks, Reading
from tagger.football.vocabulary import FAMILIES
from tests.football.plays import END_S, SNAP_S, cover_0, cover_3

THREE_DEEP = ("cover-3",)


def told(assignment: str, area: str | None = None, receiver: str | None = None, end_s: float = END_S) -> tuple[Interval]:
    return (Interval(assignment, area, SNAP_S, end_s, 1.0, "the coach says so", receiver),)


def murky(seed: int, noise_yd: float = 1.2) -> PlayTracks:
    """A play between cover-3 and cover-0's men: the deep men of the one, drawn toward the receivers, badly seen."""
    play = cover_3()
    drift = np.random.default_rng(seed).normal(0, noise_yd, (len(play.player_id), 1, 2))
    return replace(play, xy_yd=play.xy_yd + drift * (play.side == "defense")[:, None, None])


def marginal(reading: Reading, player: str, role: str) -> float:
    return next(d for d in reading.defenders if d.player_id == player).marginals.get(role, 0.0)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 1000), man=st.booleans())
def test_fixing_what_was_already_believed_leaves_the_reading(seed: int, man: bool) -> None:
    play = cover_0() if man else cover_3()
    play = replace(play, xy_yd=play.xy_yd + np.random.default_rng(seed).normal(0, 0.05, play.xy_yd.shape))
    blind = read_play(play)
    sure = {d.player_id: (replace(d.intervals[0], confidence=1.0),) for d in blind.defenders if max(d.marginals.values()) > 0.999}
    assert len(sure) >= 4
    again = read_play(play, facts=CoachFacts(assignments=sure))
    assert all(abs(again.family[f] - p) < 0.02 for f, p in blind.family.items() if f in again.family)
    assert [d.intervals[0].assignment for d in again.defenders] == [d.intervals[0].assignment for d in blind.defenders]
    assert again.rush_count == blind.rush_count


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 1000), area=st.sampled_from(("left", "right")), player=st.sampled_from(("D5", "D6", "D8", "D11")))
def test_a_fixed_deep_third_raises_the_three_deep_families(seed: int, area: str, player: str) -> None:
    play = murky(seed)
    fixed = CoachFacts(play_kind="pass", assignments={player: told("deep-third", area)})
    blind, helped = read_play(play), read_play(play, facts=fixed)
    three = [sum(reading.family.get(f, 0.0) for f in THREE_DEEP) for reading in (blind, helped)]
    assert three[1] >= three[0] - 1e-9
    assert helped.family.get("cover-2", 0.0) == helped.family.get("cover-0", 0.0) == 0.0, "nobody has an outside third there"
    assert marginal(helped, player, f"deep-third:{area}") == pytest.approx(1.0)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 1000))
def test_two_men_cannot_have_what_one_was_given(seed: int) -> None:
    helped = read_play(murky(seed), facts=CoachFacts("cover-3", "pass", {"D8": told("deep-third", "left")}))
    assert all(marginal(helped, d.player_id, "deep-third:left") == 0.0 for d in helped.defenders if d.player_id != "D8")


@pytest.mark.parametrize("family", FAMILIES)
def test_a_fixed_family_restricts_the_structures(family: str) -> None:
    reading = read_play(cover_3(), facts=CoachFacts(family=family))
    assert dict(reading.family) == pytest.approx({family: 1.0})
    words = {role.partition(":")[0] for d in reading.defenders for role in d.marginals}
    assert ("deep-half" in words) == (family in ("cover-2", "cover-2-man", "tampa-2", "cover-6"))
    assert any(at.family.get("cover-3", 0.0) > 0.3 for at in reading.family_over_time), "the curve is what the paths told"


def test_a_fixed_family_says_that_there_was_a_coverage_to_grade() -> None:
    run = read_play(cover_3(), facts=CoachFacts(play_kind="run"))
    assert {i.assignment for d in run.defenders for i in d.intervals} == {"run-fit"}
    graded = read_play(cover_3(), facts=CoachFacts(family="cover-3"))
    assert graded.play_kind["pass"] == 1.0
    assert all(d.intervals for d in graded.defenders)


def test_a_fixed_rusher_rushes_a_fixed_spy_is_no_rusher_and_a_fixed_zone_man_is_in_coverage() -> None:
    blind = read_play(cover_3())
    assert blind.rush_count == 4
    five = read_play(cover_3(), facts=CoachFacts(assignments={"D10": told("rush")}))
    spied = read_play(cover_3(), facts=CoachFacts(assignments={"D2": told("spy")}))
    dropped = read_play(cover_3(), facts=CoachFacts(assignments={"D1": told("flat", "left")}))
    assert (five.rush_count, spied.rush_count, dropped.rush_count) == (5, 3, 3)
    assert marginal(five, "D10", "rush") == marginal(spied, "D2", "spy") == 1.0
    assert marginal(dropped, "D1", "rush") == 0.0


def test_a_fixed_man_is_certain_of_his_receiver() -> None:
    reading = read_play(cover_0(), facts=CoachFacts(assignments={"D9": told("man", receiver="O9")}))
    assert marginal(reading, "D9", "man:O9") == pytest.approx(1.0)
    any_man = read_play(cover_0(), facts=CoachFacts(assignments={"D9": told("man")}))
    his = next(d for d in any_man.defenders if d.player_id == "D9").marginals
    assert sum(p for role, p in his.items() if role.startswith("man:")) > 0.99


def test_a_short_stretch_says_nothing_of_the_structure() -> None:
    blind = read_play(cover_3())
    short = read_play(cover_3(), facts=CoachFacts(assignments={"D6": told("deep-half", "left", end_s=SNAP_S + LEAST_SHARE)}))
    assert dict(short.family) == dict(blind.family)


def test_what_no_structure_has_together_is_said_and_the_others_are_still_read() -> None:
    odd = {"D5": told("deep-third", "left"), "D7": told("deep-half", "right")}
    reading = read_play(cover_3(), facts=CoachFacts(assignments=odd))
    assert ("coverage", True) in {(a.what, "fixed" in a.why) for a in reading.abstained}
    assert all(d.intervals for d in reading.defenders)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), men=st.integers(2, 5))
def test_a_forbidden_role_has_no_share(seed: int, men: int) -> None:
    rng = np.random.default_rng(seed)
    score = rng.normal(0, 2, (1, men, men))
    score[0, 0, 1:] = -np.inf
    _, chance = share_out(score)
    assert chance[0, 0, 0] == pytest.approx(1.0)
    rest, rest_chance = share_out(score[:, 1:, 1:])
    assert np.allclose(chance[0, 1:, 1:], rest_chance[0])
    assert share_out(score)[0][0] == pytest.approx(rest[0] + score[0, 0, 0])
    score[0, 1] = score[0, 0]
    total, none = share_out(score)
    assert total[0] == -np.inf
    assert none.sum() == 0.0
