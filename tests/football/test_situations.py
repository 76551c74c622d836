"""Plays built by hand, named for their football situation: what a coach would say of them, common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from tagger.football.book import shipped_book
from tagger.football.course import Course, Job
from tagger.football.reading import read_play
from tagger.football.scene import make_scene
from tagger.football.settings import shipped_settings
from tagger.football.timeline import share_receivers
from tagger.football.types import PlayTracks, Reading, Situation
from tagger.football.zones import carries, high_lows, late_men, short_of_landmark
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


@pytest.mark.parametrize("after_s", [0.6, 1.2, 1.5])
def test_film_that_ends_soon_after_the_snap_is_no_quick_game(after_s: float) -> None:
    """Nobody reaches a landmark by then and no throw need have been made: nothing is told of what was played."""
    reading = read_play(until(cover_3(), SNAP_S + after_s))
    assert not reading.play_kind
    assert not reading.family
    assert not reading.events
    assert {a.what for a in reading.abstained} == {"play-kind", "family"}
    assert all("the film ends" in a.why and "after the snap" in a.why for a in reading.abstained)
    assert reading.formation is not None
    assert best(reading.shell) == best(read_play(cover_3()).shell)


def test_film_that_leaves_the_field_in_the_middle_of_a_play_says_no_more_than_film_that_ends_there() -> None:
    play = cover_3()
    shown = (play.time_s <= SNAP_S + 1.0 + 1e-9) | (play.time_s > SNAP_S + 3.0)
    reading = read_play(only(play, shown))
    assert not reading.family
    assert reading.family_why == read_play(until(play, SNAP_S + 1.0)).family_why


def test_men_who_are_named_and_never_seen_are_no_play() -> None:
    play = cover_3()
    reading = read_play(replace(play, xy_yd=np.full_like(play.xy_yd, np.nan), snap_s=SNAP_S))
    assert not reading.family
    assert not reading.play_kind
    assert [a.what for a in reading.abstained] == ["rep"]


def only(play: PlayTracks, shown: np.ndarray) -> PlayTracks:
    return replace(play, time_s=play.time_s[shown], xy_yd=play.xy_yd[:, shown], sigma_yd=play.sigma_yd[:, shown],
                   facing_rad=play.facing_rad[:, shown])


def until(play: PlayTracks, end_s: float) -> PlayTracks:
    return only(play, play.time_s <= end_s + 1e-9)


WALKS: dict[str, Path] = {"D6": [(-2.5, 13, 8), (-1.2, 13, 8), (0.4, 13, 0), (3.5, 28, 0)],
                          "D11": [(-2.5, 12, -8), (-1.2, 12, -8), (0.4, 9, 6), (2.3, 9, 14), (4, 9, 14)]}


def test_two_high_that_rolls_to_three_deep_is_a_disguise_of_both_safeties() -> None:
    told = read_play(build(LINE, PASSER, FOUR_VERTICALS, RUSH, COVER_3 | WALKS))
    assert best(told.family) == "cover-3"
    rolled = {e.player_id: e for e in told.events if e.kind == "disguise"}
    assert set(rolled) == {"D6", "D11"}
    assert all(abs(e.start_s - (SNAP_S - 1.2)) < 0.4 and "two-high shown" in e.why for e in rolled.values())
    stays: dict[str, Path] = COVER_3 | {"D11": [(0, 5, 9), (0.3, 5, 9), (2.3, 9, 14), (4, 9, 14)]}
    plain = read_play(build(LINE, PASSER, FOUR_VERTICALS, RUSH, stays))
    assert not [e for e in plain.events if e.kind == "disguise"], "one-high shown, one-high played"


def test_a_hook_man_who_runs_with_a_vertical_carries_him_and_one_who_lets_him_go_passes_him_off() -> None:
    stays_with: dict[str, Path] = {"D9": [(0, 4.5, -7), (0.5, 4.5, -7), (3.5, 22, -8)]}
    lets_go: dict[str, Path] = {"D9": [(0, 4.5, -7), (0.4, 4.5, -7), (2.1, 15, -8), (4, 15, -8)]}
    for path, kinds in ((stays_with, {"carried"}), (lets_go, {"carried", "passed-off"})):
        course = course_of(build(LINE, PASSER, FOUR_VERTICALS, RUSH, COVER_3 | path), "D9", "hook-curl", "left")
        assert {e.kind for e in carries(course) if e.against == "O8"} == kinds


def course_of(play: PlayTracks, player: str, assignment: str, area: str) -> Course:
    """The rep as the events see it: one man's assignment is known, and the ball is held until 3.4 s."""
    scene = make_scene(play, SNAP_S)
    job = Job(scene.play.player_id.index(player), player, "nickel-left", assignment, area, None, 1.0)
    return Course(scene, shipped_settings(), (job,), scene.at(3.4), scene.at(4.0), False, "cover-3", 1.0)


def test_a_curl_flat_man_who_hangs_back_inside_is_late_unless_a_receiver_keeps_him_there() -> None:
    hangs: dict[str, Path] = {"D8": [(0, 5, -2), (2.4, 5, -2), (3.6, 8, -12)]}
    crosses: dict[str, Path] = {"O8": [(0, -1.2, -9), (0.1, -1.2, -9), (1.8, 6, -5), (3.5, 7, 0)]}
    for routes, late in ((FOUR_VERTICALS, {"D8"}), (FOUR_VERTICALS | crosses, set())):
        course = course_of(build(LINE, PASSER, routes, RUSH, COVER_3 | hangs), "D8", "curl-flat", "left")
        assert {e.player_id for e in late_men(course)} == late


def test_a_flat_under_a_corner_route_is_high_low_stress_of_the_curl_flat_man() -> None:
    routes: dict[str, Path] = FOUR_VERTICALS | {"O8": [(0, -1.2, -9), (0.1, -1.2, -9), (1.6, 2, -15), (3.5, 3, -20)],
                                                "O7": [(0, -0.5, -20), (0.1, -0.5, -20), (3.0, 15, -17), (3.5, 17, -18)]}
    course = course_of(build(LINE, PASSER, routes, RUSH, COVER_3), "D8", "curl-flat", "left")
    assert [(e.player_id, e.against) for e in high_lows(course)] == [("D8", "O7")]


def test_two_receivers_at_nearly_one_depth_stretch_nobody() -> None:
    routes: dict[str, Path] = FOUR_VERTICALS | {"O8": [(0, -1.2, -9), (0.1, -1.2, -9), (1.6, 7, -14), (3.5, 7, -14)],
                                                "O7": [(0, -0.5, -20), (0.1, -0.5, -20), (1.8, 10, -17), (3.5, 11, -17)]}
    course = course_of(build(LINE, PASSER, routes, RUSH, COVER_3), "D8", "curl-flat", "left")
    between = (course.depth(course.jobs[0].row) > 8.0) & (course.scene.time_s > 2.0)
    assert between.any(), "he stands between them"
    assert not high_lows(course)


def test_who_has_been_at_his_landmark_and_comes_back_from_it_is_not_late() -> None:
    back: dict[str, Path] = {"D8": [(0, 5, -2), (0.2, 5, -2), (1.6, 8, -12), (1.7, 8, -12), (2.5, 2.5, -7), (4, 2, -7)]}
    course = course_of(build(LINE, PASSER, FOUR_VERTICALS, RUSH, COVER_3 | back), "D8", "curl-flat", "left")
    at = course.scene.at(shipped_settings().events.landmark_s)
    assert short_of_landmark(course, course.jobs[0])[at] > shipped_settings().events.short_yd
    assert not late_men(course)


def test_who_shows_high_and_plays_low_has_rotated_however_short_his_way() -> None:
    sits: dict[str, Path] = COVER_3 | {"D11": [(-3, 9.5, 5.0), (0.5, 9.5, 5.0), (2.0, 9.0, 6.5), (4, 9, 7)]}
    reading = read_play(build(LINE, PASSER, FOUR_VERTICALS, RUSH, sits))
    assert best(reading.family) == "cover-3"
    (event,) = [e for e in reading.events if e.kind == "disguise" and e.player_id == "D11"]
    assert "shows high and plays low" in event.why


def test_nobody_is_spared_in_cover_0_while_a_receiver_has_no_man() -> None:
    zero = next(s for s in shipped_book().structures if s.family == "cover-0")
    assert [ways.count("man") for ways in zero.ways(5)] == [5]
    assert [ways.count("man") for ways in zero.ways(5, receivers=4)] == [4, 4]
    assert all(ways.count("man") == 5 for ways in zero.ways(6))


def test_two_men_in_man_do_not_have_one_receiver() -> None:
    both = {"man:O7": 0.6, "man:O8": 0.4}, {"man:O7": 0.9, "rush": 0.1}, {"hook-curl:left": 0.7, "man:O7": 0.3}
    assert share_receivers(both) == {0: "man:O8", 1: "man:O7"}
    assert share_receivers([{"man:O7": 0.9}, {"man:O7": 0.8}]) == {0: "man:O7"}, "of the other nothing better is known"
