"""What follows from a coach's word on tracks, sides and field, and that the blind reading stays what it was."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import LINE_X, SNAP_S, add_rep, arrays, image_from_field, paths, reading
from starlette.testclient import TestClient

from homography.types import apply_homography
from tagger.cutups.review_copy import ReviewCopies
from tagger.cutups.zones import Placement
from tagger.library.faults import StaleEdit
from tagger.library.records import Correction
from tagger.library.store import Library, RosterEntry
from tagger.review.catching_up import catch_up
from tagger.review.placement import placement_of
from tagger.review.registration_fix import corrected_view, field_map
from tagger.review.reread import coach_facts, conditions, is_stale
from tagger.review.truth_report import truth_report


def word(subject: str, field: str, after: Any) -> Correction:
    return Correction("Coach A", subject, field, after)


# --- the field --------------------------------------------------------------------------------------------------------


@given(st.integers(1, 8), st.floats(-30, 30), st.floats(-5, 5), st.integers(0, 10_000))
def test_clicks_bring_a_shifted_field_back(count: int, dx: float, dy: float, seed: int) -> None:
    true = np.random.default_rng(seed).uniform([10, 0], [110, 53], (count, 2))
    matrix = field_map(true - [dx, dy], true)
    np.testing.assert_allclose(apply_homography(matrix, true - [dx, dy]), true, atol=1e-6)


def test_one_click_moves_every_frame_of_the_clip() -> None:
    view = arrays()[2]
    off = replace(view, field_from_image=np.array([[1, 0, 5.0], [0, 1, 0], [0, 0, 1]]) @ view.field_from_image)
    spot = np.array([50.0, 20.0])
    px = apply_homography(image_from_field(40), spot[None])[0]
    fixed = corrected_view(off, [{"frame_index": 40, "image_xy_px": px.tolist(), "field_xy_yd": spot.tolist()}])
    for frame in (0, 80, 149):
        seen = apply_homography(image_from_field(frame), np.array([[47.0, 30.0]]))
        np.testing.assert_allclose(apply_homography(fixed.field_from_image[frame], seen)[0], [47.0, 30.0], atol=1e-6)


def test_three_clicks_undo_turn_and_scale() -> None:
    true = np.array([[30.0, 10.0], [60.0, 12.0], [45.0, 45.0], [70.0, 40.0]])
    seen = (true - 3.0) @ np.array([[1.1, 0.05], [-0.02, 0.95]])
    np.testing.assert_allclose(apply_homography(field_map(seen, true), seen), true, atol=1e-6)


def test_the_play_lies_where_the_offense_stands() -> None:
    field_tracks = arrays()[1]
    sides = {k + 1: "defense" if p[0] == "D" else "offense" for k, p in enumerate(paths())}
    found = placement_of(field_tracks, sides, SNAP_S, [])
    assert found is not None
    assert found.direction == 1
    assert found.line_x_yd == pytest.approx(LINE_X, abs=0.6)
    told = placement_of(field_tracks, sides, SNAP_S, [word("rep", "direction", -1), word("rep", "ball_xy_yd", [47.0, 26.0])])
    assert told == Placement(47.0, -1)


# --- in the library -----------------------------------------------------------------------------------------------------


def test_only_some_words_change_other_tags() -> None:
    assert conditions(word("rep", "snap_s", 2.0))
    assert conditions(word("clip:abc", "swap", {"a": "D1", "b": "D2"}))
    assert conditions(word("player:T4", "side", "other"))
    assert conditions(word("rep", "family", "cover-1"))
    assert conditions(word("defender:D1", "assignment", {"assignment": "rush", "start_s": 2.0, "end_s": 5.0}))
    for subject, field in (
        ("rep", "shell"),
        ("rep", "review_state"),
        ("clip:abc", "boxes"),
        ("defender:D1", "number"),
        ("event", "wrong"),
    ):
        assert not conditions(word(subject, field, None))


def test_a_reading_on_the_coachs_word_stands_beside_the_blind_one(library: Library) -> None:
    said = library.correct(1, word("rep", "snap_s", 2.2))
    assert is_stale(library.rep(1))
    library.save_reread(1, replace(reading(), snap_s=2.2, family={"cover-1": 0.8, "cover-3": 0.2}), said)
    rep = library.rep(1)
    assert not is_stale(rep)
    assert rep.summary.family == "cover-1"
    assert rep.automatic.family == reading().family
    library.correct(1, word("rep", "review_state", "reviewed"))
    report = truth_report([library.rep(1)])
    assert report.kinds[0].all_reps.right == 0, "the machine's own word was cover-3, before the coach helped"


def test_taking_the_word_back_asks_for_another_reading(library: Library) -> None:
    said = library.correct(1, word("rep", "snap_s", 2.2))
    library.save_reread(1, replace(reading(), snap_s=2.2), said)
    library.undo(1, said, "Coach A")
    assert is_stale(library.rep(1))


def test_a_new_tagging_drops_the_old_reading_on_the_coachs_word(library: Library, pattern: Path) -> None:
    said = library.correct(1, word("rep", "snap_s", 2.2))
    library.save_reread(1, replace(reading(), family={"cover-1": 1.0}), said)
    add_rep(library, pattern.parent / "film", "rep-001", film=False)
    rep = library.rep(1)
    assert rep.summary.family == "cover-3"
    assert is_stale(rep), "the coach's snap has to be read in again"


def test_a_reading_that_comes_too_late_is_dropped(library: Library) -> None:
    said = library.correct(1, word("rep", "snap_s", 2.2))
    library.correct(1, word("rep", "snap_s", 2.4))
    with pytest.raises(StaleEdit):
        library.save_reread(1, reading(), said)


def test_a_number_brings_the_name_of_the_roster(client: TestClient, library: Library) -> None:
    library.set_roster([RosterEntry("54", "defense", "Invented Man", "linebacker")])
    rep = say(client, ("defender:D6", "number", "54"))
    assert rep["roster"] == [{"number": "54", "side": "defense", "name": "Invented Man", "position": "linebacker"}]
    _, rows = library.sql("SELECT player_id, roster_name FROM defenders WHERE rep_id = 1 AND number = '54'")
    assert rows == [("D6", "Invented Man")]


def test_what_is_not_a_rep_is_done(client: TestClient, library: Library) -> None:
    library.correct(2, word("rep", "review_state", "not-a-rep"))
    assert client.get("/api/queue").json()["order"][-1] == 2
    assert "not a rep" in client.get("/").text


@pytest.mark.parametrize(("field", "after"), [
    ("swap", {"a": "D1", "b": "D1"}), ("swap", {"a": "D1"}), ("swap", None), ("join", [1, 2]), ("anchors", "x"),
    ("anchors", [{"frame_index": 1}]), ("anchors", [{"frame_index": -1, "image_xy_px": [1, 2], "field_xy_yd": [1, 2]}]),
    ("anchors", [{"frame_index": 1, "image_xy_px": [1, 2], "field_xy_yd": [1, 2]}] * 25),
    ("anchors", [{"frame_index": 1, "image_xy_px": [1, 2], "mark": "x" * 41}]),
    ("anchors", [{"frame_index": 1, "image_xy_px": [1, 2], "mark": 3}]), ("nonsense", 1)])  # fmt: skip
def test_senseless_words_on_a_clip_are_refused(library: Library, field: str, after: Any) -> None:
    with pytest.raises(ValueError, match=r"."):
        library.correct(1, word("clip:abc", field, after))
    assert not library.rep(1).corrections


def say(client: TestClient, *edits: tuple[str, str, Any]) -> dict[str, Any]:
    version = client.get("/api/reps/1").json()["version"]
    body = {"version": version, "who": "A", "edits": [{"subject": s, "field": f, "after": a} for s, f, a in edits]}
    return client.post("/api/reps/1/corrections", json=body).json()


def test_a_moved_snap_is_read_into_everything_else(client: TestClient, library: Library) -> None:
    fixed = {"assignment": "deep-half", "area": "left", "start_s": 2.1, "end_s": 5.0}
    said = say(client, ("rep", "snap_s", 2.1), ("defender:D1", "assignment", fixed))
    assert said["stale"]
    answer = client.post("/api/reps/1/reread", json={"version": said["version"]})
    assert answer.status_code == 200, answer.text
    rep = answer.json()
    assert not rep["stale"]
    assert rep["reading"]["snap_s"] == 2.1
    assert {d["player_id"] for d in rep["reading"]["defenders"]} == {f"D{k}" for k in range(1, 12)}, "everybody keeps his name"
    assert rep["reading"]["family"] != dict(reading().family), "read by the real inference, not kept"
    corner = next(d for d in rep["reading"]["defenders"] if d["player_id"] == "D1")
    assert ("deep-half", 1.0) in {(i["assignment"], i["confidence"]) for i in corner["intervals"]}, "the coach's word stands"
    assert library.rep(1).automatic == reading(), "the blind reading stays what it was"


def everybody_else(rep: dict[str, Any], but: str) -> dict[str, dict[str, float]]:
    return {d["player_id"]: d["marginals"] for d in rep["reading"]["defenders"] if d["player_id"] != but}


def test_a_fixed_assignment_is_read_into_the_family_and_the_other_men(client: TestClient, library: Library) -> None:
    first = say(client, ("rep", "snap_s", SNAP_S))
    blind = client.post("/api/reps/1/reread", json={"version": first["version"]}).json()
    fixed = {"assignment": "deep-half", "area": "left", "start_s": SNAP_S, "end_s": 5.6}
    said = say(client, ("defender:D1", "assignment", fixed))
    assert said["stale"]
    helped = client.post("/api/reps/1/reread", json={"version": said["version"]}).json()
    assert not helped["stale"]
    assert set(helped["reading"]["family"]) <= {"cover-2", "tampa-2", "cover-2-man", "cover-6", "unknown"}, "those with a half"
    assert everybody_else(helped, "D1") != everybody_else(blind, "D1")
    asked = {"version": said["version"], "who": "A", "correction_id": said["version"]}
    undone = client.post("/api/reps/1/undo", json=asked).json()
    assert undone["stale"]
    again = client.post("/api/reps/1/reread", json={"version": undone["version"]}).json()
    assert again["reading"]["family"] == blind["reading"]["family"]
    assert library.rep(1).automatic == reading(), "the blind reading stays what it was"


def test_a_fixed_family_is_read_into_the_men(client: TestClient) -> None:
    said = say(client, ("rep", "family", "cover-2"))
    rep = client.post("/api/reps/1/reread", json={"version": said["version"]}).json()
    assert rep["reading"]["family"] == {"cover-2": 1.0}
    words = {i["assignment"] for d in rep["reading"]["defenders"] for i in d["intervals"]}
    assert "deep-half" in words
    assert "deep-third" not in words


def test_a_later_word_on_a_man_cuts_an_earlier_one() -> None:
    def span(assignment: str, start_s: float, end_s: float) -> Correction:
        return word("defender:D1", "assignment", {"assignment": assignment, "area": None, "start_s": start_s, "end_s": end_s})

    facts = coach_facts([span("rush", 2.0, 5.0), span("spy", 3.0, 4.0)], lambda player: int(player[1:]))
    spans = {(i.assignment, i.start_s, i.end_s) for i in facts.assignments["T1"]}
    assert spans == {("rush", 2, 3), ("spy", 3, 4), ("rush", 4, 5)}
    assert coach_facts([span("rush", 2.0, 5.0)], lambda _: None).assignments == {}


def test_what_waits_since_a_new_tagging_is_read_when_the_server_starts(library: Library, pattern: Path) -> None:
    library.correct(1, word("rep", "snap_s", 2.1))
    add_rep(library, pattern.parent / "film", "rep-001", film=False)
    assert is_stale(library.rep(1))
    catch_up(library.folder, ReviewCopies(library.folder), threading.Lock()).join(60)
    rep = library.rep(1)
    assert not is_stale(rep)
    assert rep.reading.snap_s == 2.1
    assert rep.automatic == reading(), "the blind reading stays what it was"


def test_who_is_not_in_the_rep_is_left_out_when_it_is_read_anew(client: TestClient) -> None:
    said = say(client, ("player:O8", "side", "other"))
    rep = client.post("/api/reps/1/reread", json={"version": said["version"]}).json()
    assert "O8" not in rep["reading"]["formation"]["receivers"]
    assert "O9" in rep["reading"]["formation"]["receivers"]


def test_a_reading_for_an_old_version_is_not_made(client: TestClient) -> None:
    said = say(client, ("rep", "snap_s", 2.1))
    say(client, ("rep", "snap_s", 2.3))
    assert client.post("/api/reps/1/reread", json={"version": said["version"]}).json()["stale"]
