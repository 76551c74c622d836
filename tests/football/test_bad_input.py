"""What cannot be read is left open by name, and a broken settings or coverages file says where and what."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import models
from tagger.football.book import parse_book, parse_looks, parse_structures
from tagger.football.reading import read_play
from tagger.football.settings import parse_settings
from tagger.football.types import PlayTracks
from tests.football.plays import cover_3


def cut(play: PlayTracks, start: int, stop: int) -> PlayTracks:
    times = slice(start, stop)
    return replace(play, time_s=play.time_s[times], xy_yd=play.xy_yd[:, times], sigma_yd=play.sigma_yd[:, times],
                   facing_rad=play.facing_rad[:, times], snap_s=None)


def men(play: PlayTracks, chosen: list[int]) -> PlayTracks:
    return replace(play, player_id=tuple(play.player_id[i] for i in chosen), side=play.side[chosen], xy_yd=play.xy_yd[chosen],
                   sigma_yd=play.sigma_yd[chosen], facing_rad=play.facing_rad[chosen],
                   position=tuple(play.position[i] for i in chosen))


def test_one_frame_is_left_open() -> None:
    assert [a.what for a in read_play(cut(cover_3(), 40, 41)).abstained] == ["snap"]


def test_nobody_seen_is_left_open() -> None:
    play = cover_3()
    nothing = np.full_like(play.xy_yd, np.nan)
    assert read_play(replace(play, xy_yd=nothing, sigma_yd=nothing[:, :, 0], snap_s=None)).abstained


def test_all_on_one_side_is_left_open() -> None:
    play = cover_3()
    for side in ("offense", "defense"):
        reading = read_play(replace(play, side=np.full(len(play.player_id), side)))
        assert reading.abstained
        assert not reading.defenders


def test_a_clip_that_ends_at_the_snap_is_left_open() -> None:
    play = cut(cover_3(), 0, 46)
    assert [a.what for a in read_play(replace(play, snap_s=3.0)).abstained] == ["rep"]


def test_gaps_and_a_man_out_of_the_picture_are_read() -> None:
    play = cover_3()
    xy, sigma = play.xy_yd.copy(), play.sigma_yd.copy()
    out = np.random.default_rng(3).random(sigma.shape) < 0.2
    out[play.player_id.index("D6"), 50:] = True
    xy[out], sigma[out] = np.nan, np.nan
    reading = read_play(replace(play, xy_yd=xy, sigma_yd=sigma))
    assert reading.family
    assert sum(reading.family.values()) == pytest.approx(1.0)


def test_forty_players_do_not_hang_or_raise() -> None:
    play = cover_3()
    extra = replace(play, player_id=tuple(f"{name}x" for name in play.player_id[:18]), side=play.side[:18],
                    xy_yd=play.xy_yd[:18] - [1.0, 0.7], sigma_yd=play.sigma_yd[:18], facing_rad=play.facing_rad[:18],
                    position=play.position[:18])
    crowd = PlayTracks(play.time_s, play.player_id + extra.player_id, np.concatenate([play.side, extra.side]),
                       np.concatenate([play.xy_yd, extra.xy_yd]), np.concatenate([play.sigma_yd, extra.sigma_yd]),
                       np.concatenate([play.facing_rad, extra.facing_rad]), play.position + extra.position, snap_s=play.snap_s)
    reading = read_play(crowd)
    assert reading.snap_s == play.snap_s
    assert reading.family or "family" in [a.what for a in reading.abstained]


def test_too_few_men_are_left_open() -> None:
    play = cover_3()
    assert read_play(men(play, [2, 5, 6, 11, 12])).abstained


@pytest.mark.parametrize(("old", "new", "says"), [
    ("beaten_yd = 0.5", "beaten_yd = \"much\"", r"\[deep\] beaten_yd: 'much', wanted a number"),
    ("beaten_yd = 0.5", "beaten_yd = 500", r"\[deep\] beaten_yd: 500, wanted 0 to 60"),
    ("beaten_yd = 0.5", "", r"\[deep\] beaten_yd: missing"),
    ("beaten_yd = 0.5", "beaten_yd = 0.5\nbeated_s = 1", r"\[deep\] beated_s: unknown; known are"),
    ("[deep]", "[depp]", r"unknown table \[depp\]"),
    ("[deep]", "[deep", "not valid TOML"),
    ("deepthird-football/1", "x", "wants the line format"),
])
def test_a_broken_settings_file_says_where_and_what(old: str, new: str, says: str) -> None:
    text = models.path("football.toml").read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(ValueError, match=says):
        parse_settings(text.replace(old, new))


@pytest.mark.parametrize(("old", "new", "says"), [
    ('family = "cover-3"', 'family = "cover-9"', "family 'cover-9', wanted one of"),
    ('"curl-flat:left"', '"curl-flat:up"', "is no word:area of the vocabulary"),
    ('"curl-flat:left", ', "", "roles, wanted"),
    ("weight = 1.0", "weight = 0", "weight 0, wanted a number above 0"),
])
def test_a_broken_coverages_file_says_where_and_what(old: str, new: str, says: str) -> None:
    text = models.path("coverages.toml").read_text(encoding="utf-8")
    with pytest.raises(ValueError, match=says):
        parse_structures(text.replace(old, new))


def test_looks_of_another_version_are_refused() -> None:
    with pytest.raises(ValueError, match="learn it anew"):
        parse_looks('{"measures": ["depth"], "dialects": {}}')


def test_a_role_without_a_look_is_named() -> None:
    texts = [models.path(name).read_text(encoding="utf-8")
             for name in ("coverages.toml", "roles.json", "coverage_calibration.json")]
    with pytest.raises(ValueError, match="nothing learned of the role"):
        parse_book(texts[0].replace('spare = ["robber:middle"', 'spare = ["rush:middle"'), texts[1], texts[2])
