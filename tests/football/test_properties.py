"""What must not change a reading: mirroring the field, renumbering the men, shifting the clock."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from homography.field import WIDTH_YD
from tagger.football.permanents import share_out
from tagger.football.reading import read_play
from tagger.football.types import PlayTracks, Reading
from tests.football.plays import cover_0, cover_3


def mirrored(word: str | None) -> str | None:
    if word is None:
        return None
    return word.replace("left", "?").replace("right", "left").replace("?", "right")


def noisy(seed: int, man: bool) -> PlayTracks:
    play = cover_0() if man else cover_3()
    return replace(play, xy_yd=play.xy_yd + np.random.default_rng(seed).normal(0, 0.05, play.xy_yd.shape))


def roles(reading: Reading) -> dict[str, tuple[str, str | None, str | None]]:
    return {d.player_id: (d.intervals[0].assignment, d.intervals[0].area, d.intervals[0].receiver)
            for d in reading.defenders if d.intervals}


def close(a: dict, b: dict, tolerance: float = 1e-3) -> bool:
    return a.keys() == b.keys() and all(abs(a[k] - b[k]) < tolerance for k in a)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 1000), man=st.booleans())
def test_a_mirrored_play_has_the_mirrored_tags(seed: int, man: bool) -> None:
    play = noisy(seed, man)
    flipped = replace(play, xy_yd=play.xy_yd * [1.0, -1.0] + [0.0, WIDTH_YD])
    one, other = read_play(play), read_play(flipped)
    assert close(dict(one.family), dict(other.family), 1e-2)
    assert {name: (word, mirrored(area), man_) for name, (word, area, man_) in roles(one).items()} == roles(other)
    assert one.formation is not None
    assert other.formation is not None
    assert one.formation.set_name == other.formation.set_name
    assert {k: mirrored(v) for k, v in one.formation.receivers.items()} == dict(other.formation.receivers)


@settings(max_examples=5, deadline=None)
@given(seed=st.integers(0, 1000), man=st.booleans())
def test_the_order_of_the_men_does_not_matter(seed: int, man: bool) -> None:
    play = noisy(seed, man)
    order = np.random.default_rng(seed).permutation(len(play.player_id))
    shuffled = replace(play, player_id=tuple(play.player_id[i] for i in order), side=play.side[order], xy_yd=play.xy_yd[order],
                       sigma_yd=play.sigma_yd[order], facing_rad=play.facing_rad[order],
                       position=tuple(play.position[i] for i in order))
    one, other = read_play(play), read_play(shuffled)
    assert close(dict(one.family), dict(other.family))
    assert roles(one) == roles(other)
    assert {(e.kind, e.player_id, e.against) for e in one.events} == {(e.kind, e.player_id, e.against) for e in other.events}


@settings(max_examples=5, deadline=None)
@given(shift_s=st.floats(-1000, 1000), man=st.booleans())
def test_another_clock_gives_the_same_tags_at_its_own_times(shift_s: float, man: bool) -> None:
    play = noisy(1, man)
    assert play.snap_s is not None
    one, other = read_play(play), read_play(replace(play, time_s=play.time_s + shift_s, snap_s=play.snap_s + shift_s))
    assert close(dict(one.family), dict(other.family), 1e-2)
    assert roles(one) == roles(other)
    assert one.snap_s is not None
    assert other.snap_s == pytest.approx(one.snap_s + shift_s, abs=2e-3)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), men=st.integers(1, 5))
def test_sharing_out_equals_the_sum_over_all_permutations(seed: int, men: int) -> None:
    from itertools import permutations

    score = np.random.default_rng(seed).normal(0, 2, (1, men, men))
    total, chance = share_out(score)
    sums = [np.exp(sum(score[0, d, j] for d, j in enumerate(order))) for order in permutations(range(men))]
    assert total[0] == pytest.approx(np.log(sum(sums)))
    assert np.allclose(chance[0].sum(axis=0), 1.0)
    assert np.allclose(chance[0].sum(axis=1), 1.0)
