"""What is forgotten is gone: out of every answer, and out of the file's bytes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from made_reps import rep

from tagger.cli import main
from tagger.cli.options import json_schema
from tagger.library import Correction, Library, RosterEntry, Seen, Wish

NAME, NUMBER = "Zebedee Quartermain", "37"


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Two practices, a roster, numbers given by a coach, jobs, a watch's notes and its log."""
    folder = tmp_path / "library"
    with Library.open(folder) as library:
        for day in ("monday-secret", "tuesday"):
            made = rep(f"{day}-001")
            clip = replace(made.clips[0], path=Path(f"/film/{day}/a.mp4"))
            library.save_rep(replace(made, clips=(clip,)))
            library.jobs.add([Wish(clip.fingerprint, clip.path, {}, made.name),
                              Wish(f"bad-{day}", clip.path.with_name("bad.mp4"), {}, "bad")])
            library.seen_film.keep(Seen(clip.path.with_name("copy.mp4"), 1, 1, clip.fingerprint, f"{clip.path}: left out"))
        library.set_roster([RosterEntry(NUMBER, "defense", NAME), RosterEntry("12", "offense", "Other Man")])
        library.correct(1, Correction("Coach", "defender:D1", "number", NUMBER))
        library.undo(1, library.undo(1, 1, "Coach"), "Coach")
        library.correct(1, Correction("Coach", "player:O1", "number", "12"))
    (folder / "watch.log").write_text("tagged /film/monday-secret/a.mp4\ntagged /film/tuesday/a.mp4\n")
    (folder / "summary.html").write_text("monday-secret")
    return folder


def forget(shelf: Path, *arguments: str, answer: str | None = None) -> Result:
    return CliRunner().invoke(main, ["forget", "--library", str(shelf), *arguments], input=answer)


def everywhere(shelf: Path) -> bytes:
    return b"".join(path.read_bytes() for path in shelf.rglob("*") if path.is_file())


def test_a_practice_leaves_no_trace(shelf: Path) -> None:
    assert b"monday-secret" in everywhere(shelf)
    found = forget(shelf, "--practice", "/film/monday-secret", "--yes", "--json")
    value = json.loads(found.stdout)
    jsonschema.validate(value, json_schema("forget"))
    assert {name: value[name] for name in ("reps", "clips", "corrections", "jobs", "seen_files")} == {
        "reps": 1, "clips": 1, "corrections": 4, "jobs": 2, "seen_files": 1}  # fmt: skip
    assert b"monday-secret" not in everywhere(shelf)
    with Library.open(shelf) as library:
        assert [kept.name for kept in library.search("")] == ["tuesday-001"]
        assert len(library.jobs.list()) == 2
    assert (shelf / "watch.log").read_text() == "tagged /film/tuesday/a.mp4\n"


def test_a_person_leaves_no_trace_but_his_nameless_tags(shelf: Path) -> None:
    assert NAME.encode() in everywhere(shelf)
    forget(shelf, "--number", NUMBER, "--yes")
    assert NAME.encode() not in everywhere(shelf)
    with Library.open(shelf) as library:
        assert library.sql(f"SELECT count(*) FROM defenders WHERE number = '{NUMBER}'")[1] == [(0,)]
        assert library.rep(1).numbers == {"O1": "12"}
        assert {d.player_id for d in library.rep(1).reading.defenders} == {"D1", "D2"}
        assert [entry.name for entry in library.roster()] == ["Other Man"]


def test_only_the_side_that_was_meant(shelf: Path) -> None:
    found = forget(shelf, "--number", NUMBER, "--side", "offense", "--yes")
    assert "nothing of that is in the library" in found.stderr
    assert NAME.encode() in everywhere(shelf)


def test_everything_of_film_goes_and_what_people_wrote_stays(shelf: Path) -> None:
    with Library.open(shelf) as library:
        library.save_search("third down", "down:3")
    forget(shelf, "--all", "--yes")
    for word in (b"/film/", b"print-"):
        assert word not in everywhere(shelf)
    with Library.open(shelf) as library:
        assert (library.count(), len(library.roster()), list(library.saved_searches())) == (0, 2, ["third down"])
    assert not (shelf / "watch.log").exists()


def test_it_asks_first_and_says_what_went(shelf: Path) -> None:
    found = forget(shelf, "--rep", "tuesday-001", answer="n\n")
    assert found.exit_code == 130
    with Library.open(shelf) as library:
        assert library.count() == 2
    found = forget(shelf, "--rep", "tuesday-001", answer="y\n")
    assert "forgotten: 1 rep(s) with tags and tracks" in found.stderr


def test_reps_cut_out_of_a_recording_go_with_it(shelf: Path) -> None:
    clip = shelf / "clips" / "wednesday-1234" / "wednesday-rep-001.mp4"
    clip.parent.mkdir(parents=True)
    clip.write_bytes(b"film")
    (clip.parent / "wednesday.reps.json").write_text("{}")
    (shelf / "spool").mkdir()
    (shelf / "spool" / "999.whole").write_bytes(b"whole")
    with Library.open(shelf) as library:
        library.jobs.add([Wish("recording", Path("/film/wednesday/all.mp4"), {}, "all")])
        [job] = [job for job in library.jobs.list() if job.rep_name == "all"]
        made = rep("wednesday-rep-001")
        library.jobs.add_parts(job, [Wish(made.clips[0].fingerprint, clip.resolve(), {}, "wednesday-rep-001")])
        library.save_rep(replace(made, clips=(replace(made.clips[0], path=clip.resolve()),)))
    asked = forget(shelf, "--practice", "/film/wednesday", answer="y\n")
    assert "(1 rep(s))" in asked.stderr
    assert not clip.parent.exists()
    assert not (shelf / "spool" / "999.whole").exists()
    with Library.open(shelf) as library:
        assert (library.count(), len(library.jobs.list())) == (2, 4)


@pytest.mark.slow
def test_an_open_reader_is_told_of(shelf: Path) -> None:
    with Library.open(shelf, read_only=True) as reader:
        connection = reader._connection
        connection.execute("BEGIN")
        connection.execute("SELECT count(*) FROM rep").fetchone()
        found = forget(shelf, "--all", "--yes")
    assert found.exit_code == 1
    assert "another program" in found.stderr
    assert forget(shelf, "--all", "--yes").exit_code == 0
    assert b"print-" not in everywhere(shelf)


@pytest.mark.parametrize("arguments", [[], ["--all", "--rep", "a"], ["--side", "offense", "--all"]])
def test_one_thing_at_a_time(shelf: Path, arguments: list[str]) -> None:
    assert forget(shelf, *arguments).exit_code == 2


@pytest.mark.parametrize(("what", "left"), [
    (("--practice", "{up}/monday"), ["tuesday/a.mp4", "tuesday/b.mp4"]),
    (("--rep", "tuesday/a"), ["monday/a.mp4", "tuesday/b.mp4"]),
    (("--all",), []),
])  # fmt: skip
def test_uploaded_film_goes_with_its_reps(tmp_path: Path, what: tuple[str, ...], left: list[str]) -> None:
    """What was not yet taken by a watch (tuesday/b.mp4) stays, unless everything goes."""
    shelf = tmp_path / "library"
    up = shelf.resolve() / "uploaded"
    for name in ("monday/a.mp4", "tuesday/a.mp4", "tuesday/b.mp4"):
        (up / name).parent.mkdir(parents=True, exist_ok=True)
        (up / name).write_text(name)
    with Library.open(shelf) as library:
        for day in ("monday", "tuesday"):
            made = rep(f"{day}/a")
            library.save_rep(replace(made, clips=(replace(made.clips[0], path=up / day / "a.mp4"),)))
    assert forget(shelf, *(word.format(up=up) for word in what), "--yes").exit_code == 0
    assert sorted(str(path.relative_to(up)) for path in up.rglob("*.mp4")) == left
