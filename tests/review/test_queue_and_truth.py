"""The queue's order and the truth report, against cases that can be worked out by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from invented import add_rep, reading
from starlette.testclient import TestClient

from tagger.cutups.overlay import EVENT_WORDS
from tagger.football.types import Interval
from tagger.football.vocabulary import ASSIGNMENTS, EVENT_KINDS, FAMILIES, FORMATION_FEATURES, PLAY_KINDS, SHELLS
from tagger.library.queue_order import called_family, progress_of, review_queue
from tagger.library.records import Correction
from tagger.library.store import Library
from tagger.review.guide_words import PARTS
from tagger.review.lot import LEAST_LOT, drawn
from tagger.review.truth_report import Share, agreement_s, truth_report
from tagger.review.words import FAMILY_NAMES


@pytest.mark.parametrize(
    ("call", "family"),
    [
        ("Cover 3 Sky", "cover-3"),
        ("COVER-1", "cover-1"),
        ("cover 2 man", "cover-2-man"),
        ("Tampa 2", "tampa-2"),
        ("cover_2", "cover-2"),
        ("Cover 33", None),
        ("blitz", None),
        ("", None),
        (None, None),
    ],
)
def test_the_family_that_a_call_names(call: str | None, family: str | None) -> None:
    assert called_family(call) == family


def test_doubt_and_conflict_come_first_and_what_is_done_last(library: Library) -> None:
    assert [rep.name for rep in review_queue(library)] == ["rep-002", "rep-001", "rep-003"]
    library.correct(2, Correction("A", "rep", "review_state", "reviewed"))
    queue = review_queue(library)
    assert [rep.name for rep in queue] == ["rep-001", "rep-003", "rep-002"]
    assert (progress_of(queue).done, progress_of(queue).total) == (1, 3)


def test_the_queue_says_why(library: Library) -> None:
    by_name = {rep.name: rep.reasons for rep in review_queue(library)}
    assert "called cover-1, played cover-3" in by_name["rep-002"]
    assert "cover-3 at 62 %" in by_name["rep-001"]
    assert not any("called" in reason for reason in by_name["rep-001"])


def test_a_fixed_family_leaves_no_doubt_about_it(library: Library) -> None:
    before = {rep.rep_id: rep.value for rep in review_queue(library)}
    library.correct(1, Correction("A", "rep", "family", "cover-3"))
    after = {rep.rep_id: rep.value for rep in review_queue(library)}
    assert after[1] == pytest.approx(before[1] - 0.38, abs=1e-6)


def test_the_page_narrows_by_search_and_says_what_it_cannot_read(client: TestClient) -> None:
    assert "rep-002" in client.get("/", params={"search": 'call:"Cover 1"'}).text
    assert "rep-001" not in client.get("/", params={"search": 'call:"Cover 1"'}).text
    assert "did you mean" in client.get("/", params={"search": "famly:cover-3"}).text


def test_wilson_interval_is_the_published_one() -> None:
    # Brown, Cai, DasGupta, Interval Estimation for a Binomial Proportion, 2001: 1 of 10, worked out by its formula (4).
    low, high = Share(1, 10).interval
    assert (low, high) == (pytest.approx(0.0179, abs=5e-4), pytest.approx(0.4042, abs=5e-4))
    assert Share(0, 0).value is None


def test_the_lot_draws_a_tenth_whatever_the_machine_thinks() -> None:
    names = [f"rep-{k:05d}" for k in range(1000)]
    lot = drawn(names)
    assert len(lot) == 100
    assert lot == drawn(reversed(names)), "the same ones, in whatever order the reps come"
    numbers = [int(name[4:]) for name in lot]
    # Mean of 100 numbers drawn evenly from 0 to 999: 499.5, standard error 29 (uniform distribution).
    assert abs(sum(numbers) / 100 - 499.5) < 3 * 29
    assert len(set(lot) & set(drawn(names + [f"rep-{k:05d}" for k in range(1000, 1100)]))) > 85, "most stay drawn"
    assert len(drawn(names[:50])) == LEAST_LOT
    assert len(drawn(names[:5])) == 5


def test_the_lot_is_a_part_of_the_queue_and_of_the_report(client: TestClient, library: Library) -> None:
    order = client.get("/api/queue", params={"part": "lot"}).json()["order"]
    assert [library.rep(k).summary.name for k in order] == drawn(["rep-001", "rep-002", "rep-003"])
    assert "Drawn by lot (0 of 3 done)" in client.get("/").text
    assert f'/rep/{order[0]}?part=lot"' in client.get("/", params={"part": "lot"}).text
    library.correct(2, Correction("A", "rep", "review_state", "not-a-rep"))
    assert "Drawn by lot (0 of 2 done)" in client.get("/").text
    library.correct(1, Correction("A", "rep", "review_state", "reviewed"))
    truth = client.get("/truth").text
    assert "once all 2 of them are accepted (1 so far)" in truth
    report = truth_report([library.rep(1)], {"rep-003"})
    assert (report.lot_finished, report.kinds[0].lot_reps.total) == (0, 0)
    assert client.get("/", params={"part": "x"}).status_code == 422


def test_agreement_is_time_with_the_same_word_and_area() -> None:
    machine = reading()
    defenders = list(machine.defenders)
    first = defenders[0]
    whole = first.intervals[0]
    half = (whole.start_s + whole.end_s) / 2
    defenders[0] = replace(first, intervals=(replace(whole, end_s=half), Interval("man", None, half, whole.end_s, 1.0, "")))
    same, total = agreement_s(machine, replace(machine, defenders=tuple(defenders)))
    assert total == pytest.approx(11 * (whole.end_s - whole.start_s), abs=0.5)
    assert total - same == pytest.approx(whole.end_s - half, abs=0.11)


def test_the_report_counts_what_coaches_accepted(library: Library) -> None:
    assert truth_report([library.rep(k) for k in (1, 2, 3)]).finished == 0
    library.correct(1, Correction("A", "rep", "family", "cover-1"))
    library.correct(1, Correction("A", "rep", "snap_s", 2.5))
    library.correct(
        1,
        Correction(
            "A", "event", "wrong", {"kind": "bust-empty-zone", "player_id": "D6", "against": "O11", "start_s": 4.8, "end_s": 5.2}
        ),
    )
    for rep in (1, 2):
        library.correct(rep, Correction("A", "rep", "review_state", "reviewed"))
    report = truth_report([library.rep(k) for k in (1, 2, 3)])
    kinds = {kind.kind: kind.all_reps for kind in report.kinds}
    assert report.finished == 2
    assert (kinds["coverage family"].right, kinds["coverage family"].total) == (1, 2)
    assert (kinds["snap"].right, kinds["snap"].total) == (1, 2)
    assert (kinds["shell"].right, kinds["shell"].total) == (2, 2)
    assert (kinds["event told"].right, kinds["event told"].total) == (3, 4)
    assert kinds["assignment"].value == pytest.approx(1.0)
    assert report.confusion["cover-3"] == {"cover-1": 1, "cover-3": 1}
    # Told at 0.62 (wrong) and 0.95 (right): bins 0.6..0.75 and 0.9..1, error (0.62 + 0.05) / 2.
    assert report.calibration_error == pytest.approx((0.62 + 0.05) / 2)


def test_the_pages_open(client: TestClient) -> None:
    for path, words in (
        ("/", "Where a look is worth most"),
        ("/truth", "How right"),
        ("/guide", "often minors"),
        ("/rep/1", "rep-001"),
    ):
        reply = client.get(path)
        assert reply.status_code == 200
        assert words in reply.text
    assert client.get("/rep/77").status_code == 404


def test_an_empty_library_says_what_to_do(tmp_path: Path, door: object) -> None:
    from tagger.review.app import create_app

    Library.open(tmp_path).close()
    with TestClient(create_app(tmp_path, door), base_url="http://127.0.0.1:8423") as client:  # type: ignore[arg-type]
        assert "deepthird tag" in client.get("/").text
        assert client.get("/truth").status_code == 200


def test_a_rep_without_field_or_snap_still_opens(client: TestClient, library: Library, tmp_path: Path) -> None:
    silent = replace(
        reading(), snap_s=None, family={}, shell={}, defenders=(), events=(), formation=None, family_over_time=(), play_kind={}
    )
    saved = add_rep(library, tmp_path / "other", "lost", told=silent, film=False, views=1)
    assert client.get(f"/api/reps/{saved.rep_id}").status_code == 200
    clip = library.rep(saved.rep_id).main_clip.clip_id
    moving = client.get(f"/api/reps/{saved.rep_id}/moving/{clip}")
    assert moving.status_code == 200
    assert moving.json()["placement"] is None


def test_a_fixed_formation_stands_in_report_search_and_export(client: TestClient, library: Library) -> None:
    """The invented rep: 2x3, strong right, an attached end right. The coach keeps the set (written the other way round)."""
    for field, after in (("set_name", "3x2"), ("strength", "left"), ("features", ["attached-end-right", "bunch-left"]),
                         ("review_state", "reviewed")):
        library.correct(1, Correction("A", "rep", field, after))
    kinds = {kind.kind: kind.all_reps for kind in truth_report([library.rep(1)]).kinds}
    assert (kinds["formation"].right, kinds["strength"].right) == (1, 0)
    assert (kinds["formation features"].right, kinds["formation features"].total) == (1, 2)
    assert [rep.name for rep in library.search("feature:bunch-left strength:left set:3x2")] == ["rep-001"]
    _, rows = library.sql("SELECT feature FROM features WHERE rep_id = 1 ORDER BY feature")
    assert rows == [("attached-end-right",), ("bunch-left",)]
    said = client.get("/api/reps/1").json()["reading"]["formation"]
    assert (said["set_name"], said["strength"], said["features"]) == ("3x2", "left", ["attached-end-right", "bunch-left"])
    assert library.rep(1).automatic == reading(), "the machine's own word stays"


@pytest.mark.parametrize("after", [None, "bunch-left", ["bunched"], ["empty", "empty"], [3]])
def test_senseless_features_are_refused(library: Library, after: object) -> None:
    with pytest.raises(ValueError, match="feature"):
        library.correct(1, Correction("A", "rep", "features", after))


def test_the_guide_has_a_picture_for_every_word_of_the_tool() -> None:
    shown = {entry.word.lower().replace("-", " "): entry for _, entries in PARTS for entry in entries}
    spoken = " / ".join(shown)
    stems = {re.sub(r"-(left|right)$", "", feature) for feature in FORMATION_FEATURES}
    wanted = {FAMILY_NAMES[family] for family in FAMILIES} | set(SHELLS) | set(ASSIGNMENTS) | stems | set(PLAY_KINDS)
    wanted |= {EVENT_WORDS[kind] for kind in EVENT_KINDS}
    assert {word for word in wanted if word.lower().replace("-", " ") not in spoken} == set()
    assert [word for word, entry in shown.items() if not entry.zones and not entry.marks] == []
