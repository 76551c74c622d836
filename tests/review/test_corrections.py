"""A coach's word over the page's own door: logged, kept, undone, refused when somebody was faster."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from invented import add_rep, reading
from starlette.testclient import TestClient

from tagger.library.store import Library


def say(client: TestClient, *edits: tuple[str, str, Any], rep: int = 1, who: str = "Coach A", **more: Any) -> Any:
    version = more.pop("version", None)
    if version is None:
        version = client.get(f"/api/reps/{rep}").json()["version"]
    body = {"version": version, "who": who, "edits": [{"subject": s, "field": f, "after": a} for s, f, a in edits], **more}
    return client.post(f"/api/reps/{rep}/corrections", json=body)


FIXES = [
    ("rep", "family", "cover-1"),
    ("rep", "shell", "two-high"),
    ("rep", "set_name", "3x1"),
    ("rep", "strength", "left"),
    ("rep", "play_kind", "run"),
    ("rep", "snap_s", 2.2),
    ("rep", "review_state", "reviewed"),
    (
        "defender:D6",
        "assignment",
        {"assignment": "middle-hook", "area": "middle", "receiver": None, "start_s": 2.0, "end_s": 3.4},
    ),
    ("defender:D6", "number", "54"),
    ("defender:D6", "slot", "MIKE"),
    (
        "event",
        "wrong",
        {"kind": "bust-empty-zone", "player_id": "D6", "against": "O11", "start_s": 4.8, "end_s": 5.2, "margin_yd": None},
    ),
    (
        "event",
        "confirmed",
        {"kind": "leverage-lost-over-top", "player_id": "D1", "against": "O8", "start_s": 4.2, "end_s": 4.6, "margin_yd": 1.4},
    ),
    ("event", "added", {"kind": "break", "player_id": "D2", "against": None, "start_s": 4.0, "end_s": 4.2, "margin_yd": None}),
    ("rep", "features", ["bunch-left", "empty"]),
]


@pytest.mark.parametrize("fix", FIXES, ids=[f"{s}-{f}" for s, f, _ in FIXES])
def test_a_fix_is_logged_stands_and_can_be_undone(client: TestClient, library: Library, fix: tuple[str, str, Any]) -> None:
    before = library.rep(1).reading
    said = say(client, fix, reason="seen on film")
    assert said.status_code == 200, said.text
    log = library.rep(1).corrections
    assert [(c.who, c.subject, c.field, c.after, c.reason) for c in log] == [("Coach A", *fix, "seen on film")]
    undone = client.post(
        "/api/reps/1/undo", json={"version": said.json()["version"], "who": "Coach A", "correction_id": log[0].correction_id}
    )
    assert undone.status_code == 200
    assert library.rep(1).reading == before
    assert len(library.rep(1).corrections) == 2, "the log keeps both"


def test_what_was_undone_can_be_brought_back(client: TestClient, library: Library) -> None:
    first = say(client, ("rep", "family", "cover-1")).json()
    undone = client.post(
        "/api/reps/1/undo", json={"version": first["version"], "who": "A", "correction_id": first["version"]}
    ).json()
    assert library.rep(1).summary.family == "cover-3"
    client.post("/api/reps/1/undo", json={"version": undone["version"], "who": "A", "correction_id": undone["version"]})
    assert library.rep(1).summary.family == "cover-1"


def test_the_log_says_what_stood_before(client: TestClient, library: Library) -> None:
    say(
        client,
        ("rep", "family", "cover-1"),
        ("rep", "snap_s", 2.1),
        ("rep", "set_name", "3x1"),
        ("defender:D6", "assignment", FIXES[7][2]),
    )
    before = [c.before for c in library.rep(1).corrections]
    assert before[:3] == ["cover-3", 2.0, "2x3"]
    assert [(i["assignment"], i["area"]) for i in before[3]] == [("hook-curl", "left")]


def test_a_stale_edit_is_refused_and_both_versions_are_shown(client: TestClient, library: Library) -> None:
    version = client.get("/api/reps/1").json()["version"]
    say(client, ("rep", "family", "cover-1"), who="Coach A", version=version)
    late = say(client, ("rep", "family", "cover-4"), who="Coach B", version=version)
    assert late.status_code == 409
    answer = late.json()
    assert "Coach A" in answer["error"]
    assert answer["yours"] == [{"subject": "rep", "field": "family", "after": "cover-4"}]
    assert [(row["who"], row["after"]) for row in answer["theirs"]] == [("Coach A", "cover-1")]
    assert answer["rep"]["reading"]["family"] == {"cover-1": 1.0}
    assert library.rep(1).summary.family == "cover-1"


def test_a_stale_undo_is_refused(client: TestClient) -> None:
    first = say(client, ("rep", "family", "cover-1")).json()["version"]
    say(client, ("rep", "shell", "two-high"), who="Coach B")
    assert client.post("/api/reps/1/undo", json={"version": first, "who": "Coach A", "correction_id": first}).status_code == 409


def test_of_several_fixes_a_bad_one_keeps_all_out(client: TestClient, library: Library) -> None:
    reply = say(client, ("rep", "family", "cover-1"), ("rep", "family", "cover-17"))
    assert reply.status_code == 422
    assert "cover-1" in reply.json()["error"]
    assert not library.rep(1).corrections


@pytest.mark.parametrize(
    "fix",
    [
        ("rep", "family", "cover-9"),
        ("rep", "snap_s", "soon"),
        ("rep", "nonsense", 1),
        ("defender:D99", "slot", "X"),
        ("nobody", "family", "cover-1"),
        ("defender:D1", "assignment", {"assignment": "deep-third", "area": "left", "start_s": 3, "end_s": 2}),
        ("defender:D1", "assignment", "deep-third"),
        ("event", "confirmed", None),
        ("rep", "review_state", "done"),
    ],
)
def test_a_fix_that_makes_no_sense_is_refused_in_one_line(
    client: TestClient, library: Library, fix: tuple[str, str, Any]
) -> None:
    reply = say(client, fix)
    assert reply.status_code == 422
    assert "\n" not in reply.json()["error"]
    assert not library.rep(1).corrections


def test_corrections_survive_a_new_tagging(client: TestClient, library: Library, pattern: Path) -> None:
    say(client, ("rep", "family", "cover-1"), ("defender:D6", "assignment", FIXES[7][2]), ("event", "wrong", FIXES[10][2]))
    add_rep(
        library, pattern.parent / "film", "rep-001", told=replace(reading(), family={"cover-4": 0.9, "cover-3": 0.1}), film=False
    )
    data = client.get("/api/reps/1").json()
    assert data["reading"]["family"] == {"cover-1": 1.0}
    assert data["automatic"]["family"] == "cover-4"
    assert len(data["corrections"]) == 3
    mike = next(d for d in data["reading"]["defenders"] if d["player_id"] == "D6")
    assert mike["intervals"][0]["assignment"] == "middle-hook"
    assert [e["kind"] for e in data["reading"]["events"]] == ["leverage-lost-over-top"]


def test_the_log_can_be_taken_out_as_json(client: TestClient) -> None:
    say(client, ("rep", "family", "cover-1"))
    reply = client.get("/api/corrections")
    assert "attachment" in reply.headers["content-disposition"]
    assert [(row["rep"], row["who"], row["before"], row["after"]) for row in reply.json()] == [
        ("rep-001", "Coach A", "cover-3", "cover-1")
    ]


def test_a_name_is_needed(client: TestClient) -> None:
    assert say(client, ("rep", "family", "cover-1"), who="").status_code == 422
    assert say(client, ("rep", "family", "cover-1"), who="  ").status_code == 422


def test_the_log_tells_what_stood_there_before(client: TestClient, library: Library) -> None:
    mark = library.rep(1).main_clip.fingerprint
    anchor = {"frame_index": 40, "image_xy_px": [400.0, 300.0], "field_xy_yd": [50.0, 20.0]}
    fixes = [
        (("rep", "family", "cover-1"), "cover-3"),
        (("player:O8", "side", "other"), "offense"),
        (("player:D1", "side", "other"), "defense"),
        (("player:O9", "number", "88"), None),
        (("player:O9", "number", "80"), "88"),
        ((f"clip:{mark}", "anchors", [anchor]), None),
        ((f"clip:{mark}", "anchors", [anchor, anchor]), [anchor]),
    ]
    for fix, _ in fixes:
        assert say(client, fix).status_code == 200
    assert [row["before"] for row in client.get("/api/corrections").json()] == [before for _, before in fixes]
