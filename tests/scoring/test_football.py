"""Calls, timelines, events and the whole report on a rep that can be checked by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from made_truths import RAW, TIMES, player, said, truth

from tagger.scoring import Scored, calls, load_truth, report
from tagger.scoring.alignment import formation, motion
from tagger.scoring.matching import at_times, match_players
from tagger.scoring.predicted import SILENT, Said
from tagger.scoring.registration import Gauge
from tagger.scoring.timeline import Matched, assignment, events
from tagger.scoring.truth import Truth

SAME = {"P1": "D1", "P2": "D2", "R1": "O1"}


def matched(**changes: Any) -> Matched:
    return Matched(truth(), said(**changes), SAME)


def test_everything_right_scores_one() -> None:
    found = report([Scored(truth(), None, said())])
    assert found["snap"] == {"found_share": 1.0, "median_frames": 0.0, "p95_frames": 0.0, "within_3_frames": 1.0}
    assert found["family"]["accuracy"] == found["shell"]["accuracy"] == found["play_kind"]["accuracy"] == 1.0
    assert found["family"]["confusion"] == {"cover-3": {"cover-3": 1}}
    assert found["family"]["ece"] == pytest.approx(0.2)
    for name in ("time_share", "time_share_with_area", "answered_share", "matched_defender_share"):
        assert found["assignment"][name] == 1.0
    assert found["events"]["f1"] == 1.0
    assert found["events"]["margin_error_median_yd"] == pytest.approx(0.4)
    assert found["formation"] == {
        "set_accuracy": 1.0,
        "set_majority": 1.0,
        "strength_accuracy": 1.0,
        "strength_majority": 1.0,
        "receiver_accuracy": 1.0,
        "features_f1": 1.0,
    }
    assert found["motion"] == {"f1": 1.0, "answer_accuracy": 1.0, "answers": 1}


def test_silence_scores_nothing_and_breaks_nothing() -> None:
    found = report([Scored(truth(), None, SILENT)])
    assert found["family"]["accuracy"] == found["assignment"]["time_share"] == found["events"]["f1"] == 0.0
    assert found["snap"]["within_3_frames"] == found["formation"]["set_accuracy"] == 0.0
    assert found["family"]["ece"] is None
    assert json.dumps(found)


def test_majorities_are_what_a_lazy_tagger_would_get() -> None:
    """Of 10 defender seconds 5 are deep-third, 2 curl-flat, 3 man; by position 5 of 5 and 3 of 5."""
    found = assignment([matched()])
    assert found["majority"] == pytest.approx(0.5)
    assert found["majority_by_role"] == pytest.approx(0.8)
    assert found["defender_seconds"] == pytest.approx(10.0)


def test_wrong_word_late_word_wrong_area() -> None:
    defenders = said().reading["defenders"]
    defenders[0]["intervals"] = [{"assignment": "deep-third", "area": "left", "start_s": 1.0, "end_s": 6.0}]
    defenders[1]["intervals"] = [
        {"assignment": "curl-flat", "area": "left", "start_s": 1.0, "end_s": 5.0},
        {"assignment": "man", "area": None, "start_s": 5.0, "end_s": 6.0},
    ]
    found = assignment([matched(defenders=defenders)])
    assert found["time_share"] == pytest.approx(0.8)  # D1 all 5 s, D2 2 s + 1 s
    assert found["time_share_with_area"] == pytest.approx(0.3)
    assert found["by_word"] == pytest.approx({"deep-third": 1.0, "curl-flat": 1.0, "man": 1 / 3})


def test_a_defender_who_is_not_found_is_wrong_all_the_time() -> None:
    found = assignment([Matched(truth(), said(), {"P1": "D1"})])
    assert found["time_share"] == pytest.approx(0.5)
    assert found["matched_defender_share"] == 0.5


def test_runs_are_not_graded_and_should_be_left_open() -> None:
    run = truth(gradable=False, play_kind="run", family="cover-3")
    wrong = report([Scored(run, None, said())])
    assert (wrong["family"]["accuracy"], wrong["family"]["ungradable_left_open"]) == (None, 0.0)
    assert wrong["assignment"]["time_share"] is None
    for family in ({}, {"unknown": 1.0}):
        assert report([Scored(run, None, said(family=family))])["family"]["ungradable_left_open"] == 1.0


def test_snap_errors_are_in_frames_of_the_film() -> None:
    pairs = [(truth(), said(snap_s=s)) for s in (1.0, 1.1, 1.2, None)]
    found = calls.snap(pairs)  # without film 30 frames a second: 0, 3 and 6 frames
    assert found["median_frames"] == pytest.approx(3.0)
    assert (found["within_3_frames"], found["found_share"]) == (0.5, 0.75)


def test_family_counts_unknown_as_wrong_on_a_pass() -> None:
    pairs = [(truth(), said()), (truth(), said(family={})), (truth(family="cover-1"), said()), (truth(), said())]
    found = calls.family(pairs)
    assert (found["accuracy"], found["majority"], found["answered_share"]) == (0.5, 0.75, 0.75)
    assert found["accuracy_when_answered"] == pytest.approx(2 / 3)
    assert found["confusion"] == {"cover-3": {"cover-3": 2, "unknown": 1}, "cover-1": {"cover-3": 1}}


def test_calibration_error_by_hand() -> None:
    """Two bins: 0.95 right half the time (off by 0.45), 0.55 always right (off by 0.45)."""
    assert calls.calibration_error([0.95, 0.95, 0.55, 0.55], [True, False, True, True]) == pytest.approx(0.45)
    assert calls.calibration_error([1.0, 1.0], [True, True]) == 0.0
    assert calls.calibration_error([], []) is None


@pytest.mark.parametrize(
    ("change", "right"),
    [
        ({}, True),
        ({"start_s": 4.9, "end_s": 5.2}, True),
        ({"start_s": 5.1, "end_s": 5.2}, False),
        ({"kind": "carried"}, False),
        ({"player_id": "P2"}, False),
        ({"player_id": None}, False),
        ({"player_id": "P9"}, False),
        ({"margin_yd": None}, True),
    ],
)
def test_an_event_is_the_same_if_kind_man_and_time_are(change: dict[str, Any], right: bool) -> None:
    event = {**RAW["events"][0], "player_id": "P1"} | change
    found = events([Matched(truth(events=RAW["events"][:1]), said(events=[event]), SAME)])
    assert found["f1"] == float(right)


def test_an_event_said_twice_is_right_once() -> None:
    event = {**RAW["events"][0], "player_id": "P1"}
    found = events([Matched(truth(events=RAW["events"][:1]), said(events=[event, event]), SAME)])
    assert (found["precision"], found["recall"]) == (0.5, 1.0)
    assert found["by_kind"]["break"]["f1"] == pytest.approx(2 / 3)


def test_formation_and_motion_wrong() -> None:
    made = dict(said().reading["formation"])
    wrong = made | {"set_name": "2x2", "receivers": {"R1": "left-2"}, "features": ["empty", "stack-left"], "motions": []}
    rep = matched(formation=wrong)
    assert formation([rep])["set_accuracy"] == formation([rep])["receiver_accuracy"] == 0.0
    assert formation([rep])["features_f1"] == 0.5
    assert motion([rep])["f1"] == 0.0
    other = made | {"motions": [{**made["motions"][0], "answer": "stayed"}]}
    assert motion([matched(formation=other)]) == {"f1": 1.0, "answer_accuracy": 0.0, "answers": 1}


def test_players_are_matched_by_where_they_were() -> None:
    players = {"P1": player("D1", shift=(0.5, 0.5)), "P2": player("D2", shift=(0.0, 2.9)), "P3": player("O1", shift=(8.0, 8.0))}
    assert match_players(truth(), Said({}, players), Gauge()) == {"P1": "D1", "P2": "D2"}


def test_a_coach_called_a_defender_takes_nobodys_place() -> None:
    assert match_players(truth(), Said({}, {"P1": player("X1")}), Gauge()) == {"P1": "X1"}


def test_players_are_matched_through_the_gauge() -> None:
    there = player("D1")
    turned = replace(there, xy_yd=np.array([120.0, 160 / 3]) - there.xy_yd + np.array([10.0, 0.0]))
    assert match_players(truth(), Said({}, {"P1": turned}), Gauge()) == {}
    assert match_players(truth(), Said({}, {"P1": turned}), Gauge(True, 10.0)) == {"P1": "D1"}


def test_a_track_of_a_moment_is_nobody() -> None:
    short = player("D1")
    short = replace(short, time_s=TIMES[20:23], xy_yd=short.xy_yd[20:23])
    assert match_players(truth(), Said({}, {"P1": short}), Gauge()) == {}


def test_positions_between_rows_and_not_across_gaps() -> None:
    found = at_times(np.array([0.0, 0.2, 2.0]), np.array([[0.0, 0.0], [2.0, 4.0], [9.0, 9.0]]), np.array([0.1, 1.0, 2.0, 3.0]))
    np.testing.assert_allclose(found[0], [1.0, 2.0])
    assert np.isnan(found[1]).all()
    assert np.isnan(found[3]).all()


def test_a_truth_file_is_read_or_refused(tmp_path: Path) -> None:
    made = {
        **RAW,
        "format": "deepthird-truth/1",
        "tracks": {"time_s": [0.0, 1.0], "player_id": ["D1"], "xy_yd": [[[1, 2], [3, 4]]], "facing_rad": [[0, None]]},
        "clips": [
            {
                "view": "sideline",
                "file": "a.mp4",
                "width_px": 1280,
                "height_px": 720,
                "camera": {"distortion": -0.01},
                "frames": [
                    {"index": 0, "time_s": 0.0, "image_from_field": np.eye(3).tolist(), "boxes": [["D1", 0, 0, 5, 9, 0.2]]},
                    {"index": 1, "time_s": 0.1, "image_from_field": np.eye(3).tolist(), "boxes": []},
                ],
            }
        ],
    }
    path = tmp_path / "truth.json"
    path.write_text(json.dumps(made))
    read: Truth = load_truth(path)
    assert read.clips[0].path == tmp_path / "a.mp4"
    assert read.clips[0].frames[0].counted.tolist() == [False]
    assert np.isnan(read.facing_rad[0, 1])
    for broken in (
        "",
        "{}",
        "[]",
        json.dumps({**made, "format": "other"}),
        json.dumps({k: v for k, v in made.items() if k != "tracks"}),
    ):
        path.write_text(broken)
        with pytest.raises(ValueError, match=r"truth\.json: not ") as refused:
            load_truth(path)
        assert "\n" not in str(refused.value)
