"""The simulator's reps: bodies within human limits, eleven a side, coverages that count as the trade counts them."""

from __future__ import annotations

import json
from itertools import pairwise, product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_clips.coverages import BASE_SHELL
from demo_clips.motion import POSES, RepMotion
from demo_clips.play import make_rep
from homography.field import LENGTH_YD, LEVELS, WIDTH_YD
from tagger.football.vocabulary import (
    AREAS,
    ASSIGNMENTS,
    DEEP_ASSIGNMENTS,
    EVENT_KINDS,
    FAMILIES,
    MAN_FAMILIES,
    MOTION_ANSWERS,
    SHELLS,
    UNDER_ASSIGNMENTS,
)

# Deep men of each family, the runner of tampa-2 counted deep. Common practice, no source.
DEEP_MEN = {"cover-0": 0, "cover-1": 1, "cover-2": 2, "tampa-2": 3, "cover-2-man": 2, "cover-3": 3, "cover-4": 4, "cover-6": 3}
BUSTS = {"wrong-zone", "lost-man"}  # mistakes that change a man's word
FASTEST_YD_S = 10.5  # about 100 m in 10 s at full flight, no football player runs faster in pads
HARDEST_YD_S2 = 10.0


def rep(seed: int, index: int, **options: str) -> tuple[RepMotion, dict[str, Any]]:
    return make_rep(seed, index, options)


def first_words(truth: dict[str, Any]) -> list[str]:
    return [d["intervals"][0]["assignment"] for d in truth["defenders"]]


def erred(truth: dict[str, Any]) -> bool:
    return any(m["kind"] in BUSTS for d in truth["defenders"] for m in d["mistakes"])


def test_the_same_seed_gives_the_same_rep_and_another_one_does_not() -> None:
    (a, truth_a), (b, truth_b), (c, _) = rep(5, 3), rep(5, 3), rep(5, 4)
    assert np.array_equal(a.xy_yd, b.xy_yd)
    assert json.dumps(truth_a) == json.dumps(truth_b)
    assert a.xy_yd.shape != c.xy_yd.shape or not np.allclose(a.xy_yd, c.xy_yd)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10**6), index=st.integers(0, 500))
def test_any_rep_is_physical_whole_and_truthful(seed: int, index: int) -> None:
    motion, truth = rep(seed, index)
    step_s = np.diff(motion.time_s)
    assert np.allclose(step_s, 1.0 / 30.0)
    assert 5.0 < motion.time_s[-1] < 13.0
    players = [k for k, a in enumerate(motion.actors) if a.side != "other"]
    velocity = np.diff(motion.xy_yd[players], axis=1) * 30.0
    assert np.hypot(velocity[..., 0], velocity[..., 1]).max() <= FASTEST_YD_S
    acceleration = np.diff(velocity, axis=1) * 30.0
    assert np.hypot(acceleration[..., 0], acceleration[..., 1]).max() <= HARDEST_YD_S2
    count = 7 if truth["period"] == "seven-on-seven" else 11
    for side in ("offense", "defense"):
        assert sum(a.side == side for a in motion.actors) == count
    assert len({a.player_id for a in motion.actors}) == len(motion.actors)
    assert motion.pose.max() < len(POSES)
    _check_truth(motion, truth)


def _check_truth(motion: RepMotion, truth: dict[str, Any]) -> None:
    json.dumps(truth, allow_nan=False)
    assert truth["family"] in FAMILIES
    assert truth["shell"] in SHELLS
    assert truth["shell_shown"] in SHELLS
    assert truth["gradable"] == (truth["play_kind"] == "pass")
    for d in truth["defenders"]:
        spans = [(i["start_s"], i["end_s"]) for i in d["intervals"]]
        assert spans[0][0] == pytest.approx(truth["snap_s"], abs=1e-3)
        assert spans[-1][1] == pytest.approx(truth["end_s"], abs=1e-3)
        assert all(a[1] == b[0] for a, b in pairwise(spans))
        for i in d["intervals"]:
            assert i["assignment"] in ASSIGNMENTS
            assert i["area"] is None or i["area"] in AREAS
            assert (i["receiver"] is not None) == (i["assignment"] == "man")
    for event in truth["events"]:
        assert event["kind"] in EVENT_KINDS
        assert 0.0 <= event["start_s"] <= event["end_s"] <= motion.time_s[-1] + 1.0
    for move in truth["motions"]:
        assert move["answer"] in MOTION_ANSWERS
        assert move["start_s"] < move["end_s"] <= truth["snap_s"] + 1e-6


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_has_its_deep_under_and_rush(family: str) -> None:
    seen = 0
    for index in range(5):
        _, truth = rep(77, index, family=family, play_kind="pass", period="team")
        if erred(truth):
            continue
        seen += 1
        words = first_words(truth)
        deep = sum(w in DEEP_ASSIGNMENTS for w in words)
        rush, men = words.count("rush"), words.count("man")
        under = sum(w in (*UNDER_ASSIGNMENTS, "spy") for w in words)
        assert truth["family"] == family
        assert deep == DEEP_MEN[family]
        assert deep + rush + men + under == 11
        assert (men >= 5) == (family in MAN_FAMILIES)
        assert 3 <= rush <= 6
    assert seen >= 3


def test_cover_three_counts_four_under_with_four_rushers_and_three_with_five() -> None:
    counts = set()
    for index in range(16):
        _, truth = rep(31, index, family="cover-3", play_kind="pass", period="team")
        if not erred(truth):
            words = first_words(truth)
            counts.add((words.count("rush"), sum(w in UNDER_ASSIGNMENTS for w in words)))
    assert {(4, 4), (5, 3)} <= counts <= {(4, 4), (5, 3), (3, 5)}


def test_a_third_is_held_by_one_man_each() -> None:
    for index in range(10):
        _, truth = rep(32, index, family="cover-3", play_kind="pass")
        areas = sorted(i["area"] for d in truth["defenders"] for i in d["intervals"] if i["assignment"] == "deep-third")
        assert areas == ["left", "middle", "right"]


def test_deep_men_are_deep_when_the_ball_is_long_held() -> None:
    """The deepest third is past 12 yd by 2.5 s (the landmark of the trade), most of the time."""
    depths = []
    for index in range(8):
        motion, truth = rep(33, index, family="cover-3", play_kind="pass", period="team", level="college")
        k = int(np.searchsorted(motion.time_s, truth["snap_s"] + 2.5))
        ids = {d["player_id"] for d in truth["defenders"] if d["intervals"][0]["area"] == "middle" and not d["mistakes"]}
        for row, actor in enumerate(motion.actors):
            if actor.player_id in ids and truth["situation"]["yards_to_goal"] > 25:
                depths.append(
                    (motion.xy_yd[row, min(k, len(motion.time_s) - 1), 0] - truth["ball_xy_yd"][0]) * truth["direction"])
    assert np.median(depths) > 12.0


def test_shell_is_a_fact_of_positions() -> None:
    """Safeties at least 8 yd deep and inside the numbers, counted again from the written tracks."""
    agree = []
    for index in range(10):
        motion, truth = rep(34, index, play_kind="pass")
        k = int(np.argmin(np.abs(motion.time_s - truth["snap_s"])))
        number_yd = LEVELS[truth["level"]].number_centre_yd or 8.0
        high = 0
        for row, actor in enumerate(motion.actors):
            if actor.side == "defense" and actor.role != "corner":
                x, y = motion.xy_yd[row, k]
                high += (x - truth["ball_xy_yd"][0]) * truth["direction"] >= 8.0 and number_yd <= y <= WIDTH_YD - number_yd
        agree.append(SHELLS[min(high, 2)] == truth["shell"])
    assert all(agree)


def test_disguises_are_shown_and_left() -> None:
    """Some reps show another shell than the family's own, some do not."""
    shown = [(t["shell_shown"] == BASE_SHELL.get(t["family"], "two-high"), t["disguised"])
             for _, t in (rep(35, i) for i in range(20))]
    assert 0.05 < np.mean([d for _, d in shown]) < 0.6
    assert np.mean([same for same, d in shown if not d]) > 0.7


def test_the_offense_has_seven_on_the_line_and_stands_behind_it() -> None:
    """At the snap nobody of the offense is past the ball (NFHS, NCAA and NFL rules: encroachment)."""
    for index in range(10):
        motion, truth = rep(36, index, period="team")
        k = int(np.searchsorted(motion.time_s, truth["snap_s"]))
        for row, actor in enumerate(motion.actors):
            if actor.side == "offense":
                assert (motion.xy_yd[row, k, 0] - truth["ball_xy_yd"][0]) * truth["direction"] < 0.1


def test_everybody_moves_and_nobody_stands_in_another() -> None:
    for index in range(6):
        motion, truth = rep(37, index, play_kind="pass", period="team")
        k0, k1 = (int(np.searchsorted(motion.time_s, t)) for t in (truth["snap_s"], truth["end_s"]))
        rows = [k for k, a in enumerate(motion.actors) if a.side == "defense"]
        way = np.linalg.norm(np.diff(motion.xy_yd[rows, k0:k1], axis=1), axis=-1).sum(axis=1)
        assert way.min() > 1.0
        start = motion.xy_yd[[k for k, a in enumerate(motion.actors) if a.side != "other"], k0]
        gaps = np.linalg.norm(start[:, None] - start[None], axis=-1) + 9.0 * np.eye(len(start))
        assert gaps.min() > 0.5


def test_the_play_stays_on_the_field() -> None:
    for index in range(12):
        motion, truth = rep(38, index)
        rows = [k for k, a in enumerate(motion.actors) if a.side != "other"]
        k1 = int(np.searchsorted(motion.time_s, truth["end_s"]))
        x, y = motion.xy_yd[rows, :k1, 0], motion.xy_yd[rows, :k1, 1]
        assert -2.0 < x.min() < x.max() < LENGTH_YD + 2.0
        assert -2.5 < y.min() < y.max() < WIDTH_YD + 2.5


def test_mistakes_and_kinds_come_in_a_fair_mix() -> None:
    truths = [rep(39, i)[1] for i in range(40)]
    share = np.mean([any(d["mistakes"] for d in t["defenders"]) for t in truths])
    assert 0.1 < share < 0.45
    assert 0.6 < np.mean([t["play_kind"] == "pass" for t in truths]) < 0.9
    assert len({t["family"] for t in truths}) == len(FAMILIES)
    released = [t["release_s"] - t["snap_s"] for t in truths if t["play_kind"] == "pass" and t["release_s"] is not None]
    assert 2.0 < np.median(released) < 3.4
    quick = [t["release_s"] - t["snap_s"] for t in truths if t["play_kind"] == "quick" and t["release_s"] is not None]
    assert max(quick) <= 1.5


@pytest.mark.parametrize(
    "options", [{"family": "cover-9"}, {"level": "club"}, {"period": "scrimmage"}, {"play_kind": "punt"}, {"speed": "1"}])
def test_unknown_options_are_refused_with_a_line_that_says_which(options: dict[str, str]) -> None:
    with pytest.raises(ValueError, match=next(iter(options.values())) if "speed" not in options else "speed"):
        make_rep(1, 1, options)


@pytest.mark.slow
def test_the_answer_to_a_motion_is_what_the_defense_does() -> None:
    """Who bumps moves over a step at least; who stays keeps his place but for safeties who leave a disguise, and the man whose
    own mistake it is that he stays keeps his. Common practice, no source."""
    told = {"bumped": 0, "stayed": 0}
    for seed, index in product(range(40, 44), range(12)):
        motion, truth = rep(seed, index)
        forgot = any(m["kind"] == "missed-motion" for d in truth["defenders"] for m in d["mistakes"])
        for move in truth["motions"]:
            if move["answer"] not in told or forgot:
                continue
            told[move["answer"]] += 1
            during = (motion.time_s >= move["start_s"]) & (motion.time_s <= truth["snap_s"])
            under = [k for k, a in enumerate(motion.actors) if a.role in ("corner", "nickel", "linebacker")]
            others = [k for k, a in enumerate(motion.actors) if a.side == "defense" and k not in under]
            went = np.ptp(motion.xy_yd[under][:, during, 1], axis=1).max()
            if move["answer"] == "stayed":
                assert went < 1.2
            else:
                assert max(went, np.ptp(motion.xy_yd[others][:, during, 1], axis=1).max()) > 0.8
    assert min(told.values()) >= 3
