"""The throw, read off the men: its measures do not know left from right, its moment and its target are mostly the true ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from demo_clips.play import make_rep
from homography.field import WIDTH_YD
from tagger.cli.score_tracks import play_from_truth
from tagger.football.playbook import shipped_playbook
from tagger.football.release import find_release
from tagger.football.scene import make_scene
from tagger.football.throw import MEASURES, measure_throw
from tagger.football.types import Situation
from tagger.scoring import Truth
from tests.football.plays import SNAP_S, cover_3


def test_the_measures_of_a_mirrored_play_are_those_of_the_play() -> None:
    play = cover_3()
    times, rows = measure_throw(make_scene(play, SNAP_S))
    flipped = play.xy_yd * [1.0, -1.0] + [0.0, WIDTH_YD]
    times_again, rows_again = measure_throw(make_scene(replace(play, xy_yd=flipped), SNAP_S))
    assert rows.shape == (len(times), 5, len(MEASURES))
    assert np.array_equal(times, times_again)
    assert rows_again[:, ::-1] == pytest.approx(rows, abs=1e-6, nan_ok=True)


def test_a_play_that_ends_too_early_has_no_throw() -> None:
    play = cover_3()
    kept = play.time_s < SNAP_S + 0.8
    cut = replace(play, time_s=play.time_s[kept], xy_yd=play.xy_yd[:, kept], sigma_yd=play.sigma_yd[:, kept],
                  facing_rad=play.facing_rad[:, kept])
    assert find_release(make_scene(cut, SNAP_S), shipped_playbook()) is None


def test_nobody_threw_where_nobody_turns_to_a_ball() -> None:
    release = find_release(make_scene(cover_3(), SNAP_S), shipped_playbook())
    assert release is not None
    assert release.chance.sum() < 0.5
    assert not release.plain
    assert release.even_s == release.time_s[-1]


def test_moment_and_target_beat_the_usual_throw_to_anybody() -> None:
    off, usual, right, asked = [], [], 0, 0
    for index in range(14):
        _, raw = make_rep(14201, index, {"play_kind": "pass"})
        if raw["release_s"] is None:
            continue
        tracks = raw["tracks"]
        truth = Truth(raw["rep"], raw, (), np.array(tracks["time_s"]), tuple(tracks["player_id"]), np.array(tracks["xy_yd"]),
                      np.array(tracks["facing_rad"]))
        scene = make_scene(play_from_truth(truth, Situation()), raw["snap_s"])
        release, thrown_s = find_release(scene, shipped_playbook()), raw["release_s"] - raw["snap_s"]
        assert release is not None
        off.append(abs(release.best_s - thrown_s))
        usual.append(thrown_s)
        right += scene.play.player_id[release.target(scene).receiver] == raw["target"]
        asked += 1
    blind = np.abs(np.array(usual) - np.median(usual))
    assert np.median(off) < 0.2
    assert np.mean(np.array(off) < 0.35) > np.mean(blind < 0.35) + 0.2
    assert right > 0.6 * asked, "at random one in five"
