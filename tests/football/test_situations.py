"""Plays built by hand, named for their football situation: what a coach would say of them, common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tagger.football.reading import read_play
from tagger.football.types import Reading, Situation
from tests.football.plays import COVER_3, FOUR_VERTICALS, LINE, PASSER, RUSH, SNAP_S, Path, build, cover_0, cover_3


def assignments(reading: Reading) -> dict[str, tuple[str, str | None]]:
    return {d.player_id: (d.intervals[0].assignment, d.intervals[0].area) for d in reading.defenders if d.intervals}


def best(chances: Mapping[str, float]) -> str:
    return max(chances, key=lambda name: chances[name])


def test_spot_dropping_cover_3_is_three_deep_four_under_four_rushing() -> None:
    reading = read_play(cover_3())
    assert best(reading.family) == "cover-3"
    said = assignments(reading)
    assert {said[name] for name in ("D5", "D6", "D7")} == {
        ("deep-third", "left"), ("deep-third", "middle"), ("deep-third", "right")}
    assert said["D8"] == ("curl-flat", "left")
    assert said["D11"] == ("curl-flat", "right")
    assert said["D9"] == ("hook-curl", "left")
    assert said["D10"] == ("hook-curl", "right")
    assert reading.rush_count == 4


def test_press_man_with_nobody_deep_is_cover_0_and_every_man_has_the_receiver_he_stands_on() -> None:
    reading = read_play(cover_0())
    assert best(reading.family) == "cover-0"
    assert best(reading.shell) == "zero-high"
    receiver = {d.player_id: d.intervals[0].receiver for d in reading.defenders if d.intervals}
    assert [receiver[name] for name in ("D5", "D6", "D7", "D8")] == ["O7", "O8", "O9", "O10"]
    assert reading.rush_count == 6


def test_two_by_two_with_a_back_numbers_from_the_sideline_inward() -> None:
    formation = read_play(cover_3()).formation
    assert formation is not None
    assert formation.set_name == "2x2"
    assert formation.backs == 1
    assert formation.receivers["O7"] == "left-1"
    assert formation.receivers["O8"] == "left-2"
    assert formation.receivers["O10"] == "right-1"
    assert formation.receivers["O9"] == "right-2"


def test_trips_right_is_three_by_one_and_strong_right() -> None:
    trips: dict[str, Path] = FOUR_VERTICALS | {"O8": [(0, -1.2, 14), (0.1, -1.2, 14), (3.5, 20, 14)]}
    formation = read_play(build(LINE, PASSER, trips, RUSH, COVER_3)).formation
    assert formation is not None
    assert formation.set_name == "3x1"
    assert formation.strength == "right"


def test_the_snap_is_found_where_everybody_starts() -> None:
    snap_s = read_play(cover_3(snap_s=None)).snap_s
    assert snap_s is not None
    assert abs(snap_s - SNAP_S) < 0.35


def test_a_corner_beaten_over_the_top_loses_leverage_by_as_much() -> None:
    beaten: dict[str, Path] = COVER_3 | {"D5": [(0, 7, -18), (0.8, 7, -18), (3.5, 12, -18)]}
    lost = [e for e in read_play(build(LINE, PASSER, FOUR_VERTICALS, RUSH, beaten)).events
            if e.kind == "leverage-lost-over-top" and e.player_id == "D5"]
    assert [e.against for e in lost] == ["O7"]
    assert lost[0].margin_yd is not None
    assert lost[0].margin_yd < -1.0


def test_leverage_is_not_called_where_the_positions_are_as_uncertain_as_the_margin() -> None:
    beaten: dict[str, Path] = COVER_3 | {"D5": [(0, 7, -18), (0.8, 7, -18), (3.5, 12, -18)]}
    play = build(LINE, PASSER, FOUR_VERTICALS, RUSH, beaten)
    play.sigma_yd[play.player_id.index("D5")] = 12.0  # he is beaten by 8 yd in the end
    reading = read_play(play)
    assert not [e for e in reading.events if e.kind.startswith("leverage")]
    assert "leverage" in [a.what for a in reading.abstained]


def test_seven_on_seven_has_no_rush() -> None:
    snapper: dict[str, Path] = {"O3": LINE["O3"]}
    reading = read_play(build(snapper, PASSER, FOUR_VERTICALS, COVER_3))
    assert reading.rush_count == 0
    assert best(reading.family) == "cover-3"


def test_another_family_than_the_called_one_is_told() -> None:
    reading = read_play(cover_3(situation=Situation(call="cover-1")))
    assert [e.why for e in reading.events if e.kind == "bust-called"] == ["called cover-1, played cover-3"]
    agrees = read_play(cover_3(situation=Situation(call="cover-3")))
    assert not [e for e in agrees.events if e.kind == "bust-called"]


def test_probabilities_sum_to_one_and_events_lie_in_the_play() -> None:
    for play in (cover_3(), cover_0()):
        reading = read_play(play)
        for chances in (reading.family, reading.shell, reading.play_kind):
            assert np.isclose(sum(chances.values()), 1.0, atol=1e-6)
        assert all(play.time_s[0] <= e.start_s <= e.end_s <= play.time_s[-1] and 0 <= e.confidence <= 1 for e in reading.events)
