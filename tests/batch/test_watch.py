"""What lands in a folder: growing files, new names, copies, broken kinds; the summary; two watchers."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import small_work
from made_reps import rep

from tagger.batch.crew import LocalCrew
from tagger.batch.limits import Limits
from tagger.batch.night import NightOptions, keep_watch, open_log
from tagger.batch.plan import Scripts
from tagger.batch.saved_cutups import write_cutups
from tagger.batch.settling import Settling
from tagger.batch.summary import LookAt, Summary, family_words, played_words, render
from tagger.batch.watch import Watch
from tagger.library import Library, Seen, fingerprint
from tagger.library.landing import UPLOADED
from tagger.library.owner import WATCH, Owner
from tagger.options import TagOptions

Film = Callable[[str, str], Path]


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library.open(tmp_path / "library") as kept:
        yield kept


def watch(library: Library, tmp_path: Path, settle_s: float = 5.0) -> Watch:
    (tmp_path / "film").mkdir(exist_ok=True)
    return Watch(tmp_path / "film", library, TagOptions(), Scripts(), settle_s)


def night(library: Library, tmp_path: Path) -> Summary:
    """One `deepthird watch --once` with small work."""
    options = NightOptions(once=True, settle_s=0.05)
    with Owner(library.folder) as owner:
        return keep_watch(watch(library, tmp_path, 0.05), library, owner, lambda pieces: LocalCrew(2, Limits()), options,
                          open_log(library.folder, also_to_terminal=False), small_work.act, small_work.lay_together)  # fmt: skip


def test_a_file_is_taken_when_it_has_stopped_growing(film: Film, library: Library, tmp_path: Path) -> None:
    eye = watch(library, tmp_path)
    film("a.mp4", "rep")
    assert not eye.look(0.0).queued
    film("a.mp4", "rep and more")
    assert eye.look(4.0).unsettled == 1
    assert not eye.look(8.0).queued
    assert [wish.path.name for wish in eye.look(9.5).queued] == ["a.mp4"]
    assert not eye.look(20.0).queued


def test_a_date_set_back_is_a_change(film: Film, library: Library, tmp_path: Path) -> None:
    """A camera's or server's clock may be anywhere; only that the date stands still counts."""
    eye = watch(library, tmp_path)
    path = film("a.mp4", "rep")
    eye.look(0.0)
    os.utime(path, (1.0, 1.0))
    assert not eye.look(6.0).queued
    assert eye.look(11.5).queued


def test_what_is_no_film_and_what_hides_is_left_alone(film: Film, tmp_path: Path) -> None:
    for name in ("a.mp4", "a.mp4.part", ".b.mp4", "notes.txt", "deeper/c.MOV", ".hidden/d.mp4"):
        film(name, "rep")
    (tmp_path / "film" / "library").mkdir()
    film("library/e.mp4", "rep")
    found = Settling(tmp_path / "film", leave_out=(tmp_path / "film" / "library",)).look(0.0)
    assert [file.path.name for file in found] == ["a.mp4", "c.MOV"]


def test_uploaded_film_is_taken_too(film: Film, library: Library, tmp_path: Path) -> None:
    film("a.mp4", "rep")
    up = library.folder / UPLOADED / "tuesday" / "b.mp4"
    up.parent.mkdir(parents=True)
    up.write_text("rep b")
    half = library.folder / "uploads" / "0.part"
    half.parent.mkdir()
    half.write_text("rep half")
    assert night(library, tmp_path).tagged == ("a", "b")
    alone = Watch(None, library, TagOptions(), Scripts(), 0.0)
    up.with_name("c.mp4").write_text("rep c")
    assert [wish.path.name for wish in alone.look(0.0).queued] == ["c.mp4"]


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no such folder, or it cannot be reached now"):
        Settling(tmp_path / "gone").look(0.0)


def test_copies_and_new_names_are_one_clip(film: Film, library: Library, tmp_path: Path) -> None:
    first, _ = film("a.mp4", "rep one"), film("b.mp4", "rep one")
    found = night(library, tmp_path)
    assert (found.clips_tagged, found.left_out) == (1, (f"{tmp_path}/film/b.mp4: the same film as {first}; left out",))
    (tmp_path / "film/b.mp4").unlink()
    first.rename(tmp_path / "film/c.mp4")
    night(library, tmp_path)
    assert library.count() == 1
    assert library.rep(1).main_clip.path.name == "c.mp4"
    assert len(library.jobs.list()) == 1


def test_the_other_view_may_come_a_day_later(film: Film, library: Library, tmp_path: Path) -> None:
    film("rep-1-sideline.mp4", "rep")
    night(library, tmp_path)
    film("rep-1-end-zone.mp4", "rep cover-1")
    night(library, tmp_path)
    assert [len(library.rep(rep.rep_id).clips) for rep in library.search("")] == [2]


def test_a_broken_file_is_tried_again_when_it_is_replaced(film: Film, library: Library, tmp_path: Path) -> None:
    film("a.mp4", "refuse")
    film("b.mp4", "")
    found = night(library, tmp_path)
    assert [(clip.state, clip.reason) for clip in found.not_tagged] == [("failed", f"{tmp_path}/film/a.mp4: not a video")]
    assert found.left_out == (f"{tmp_path}/film/b.mp4: empty; copy it again",)
    assert len(library.jobs.list()) == 1
    film("a.mp4", "rep")
    film("b.mp4", "rep two")
    assert night(library, tmp_path).tagged == ("a", "b")


def test_seen_but_not_queued_when_the_power_went(film: Film, library: Library, tmp_path: Path) -> None:
    path = film("a.mp4", "rep")
    status = path.stat()
    library.seen_film.keep(Seen(path, status.st_size, status.st_mtime_ns, fingerprint(path)))
    assert [wish.path.name for wish in watch(library, tmp_path).look(0.0).queued] == ["a.mp4"]
    assert not watch(library, tmp_path).look(0.0).queued


def test_the_summary_says_what_was_done_and_what_not(film: Film, library: Library, tmp_path: Path) -> None:
    film("a.mp4", "rep")
    film("<b>.mp4", "crash")
    film("c.mp4", "")
    night(library, tmp_path)
    value = json.loads((library.folder / "summary.json").read_text())
    assert (value["tagged"], value["waiting"]) == (["a"], 0)
    assert [(clip["state"], clip["attempts"]) for clip in value["not_tagged"]] == [("set-aside", 2)]
    assert [rep["rep"] for rep in value["look_first"]] == ["a"]
    page = (library.folder / "summary.html").read_text()
    assert "(set aside after 2 tries)" in page
    assert "&lt;b&gt;.mp4<small>" in page
    assert f"c.mp4<small>{tmp_path}/film</small></th><td>empty; copy it again" in page
    assert page.count(f"{tmp_path}/film") == 2, "each film's folder once, not in the reason too"
    assert "set-aside: " in (library.folder / "watch.log").read_text()


@pytest.mark.parametrize(("family", "kind", "words"), [
    ("cover-2-man", "pass", "Cover 2 man"), ("tampa-2", "pass", "Tampa 2"), ("unknown", "run", "run"),
    ("unknown", "quick", "quick throw"), ("unknown", "pass", "coverage not told"), ("unknown", None, "coverage not told")])
def test_the_summary_speaks_as_coaches_do(family: str, kind: str | None, words: str) -> None:
    assert played_words(family, kind) == words
    assert family_words(f"called cover-1, played {family}").startswith("called Cover 1, played")


def test_a_run_is_no_unknown_coverage_in_the_summary() -> None:
    at = LookAt("r1", ("cover-2-man at 40 %",), "Cover 2", "unknown", 0.99, "run")
    page = render(Summary("", "today", "", 1, ("r1", "r2"), (), 0, (), (at,), (("run", 1),), ("r2",)))
    assert "<td>Cover 2</td><td>run</td>" in page
    assert "unknown" not in page
    assert "1 × run" in page
    assert "Cover 2 man at 40 %" in page
    assert page.index("Nothing could be read") < page.index("<li>r2</li>")


def test_two_watchers_of_one_library_do_not_both_run(tmp_path: Path) -> None:
    (tmp_path / "library").mkdir()
    with Owner(tmp_path / "library", WATCH), pytest.raises(ValueError, match="another deepthird does the same"):
        Owner(tmp_path / "library", WATCH).__enter__()
    with Owner(tmp_path / "library", WATCH):
        pass


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_the_command_is_quiet_and_ends_when_told(tmp_path: Path) -> None:
    (tmp_path / "film").mkdir()
    program_path = str(Path(sys.executable).with_name("deepthird"))
    command = [program_path, "watch", str(tmp_path / "film"), "--library", str(tmp_path / "library")]
    program = subprocess.Popen([*command, "--every", "0.1"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    until_s = time.monotonic() + 30
    while not (tmp_path / "library/summary.html").exists() and time.monotonic() < until_s:
        time.sleep(0.1)
    second = subprocess.run(command, capture_output=True, text=True, check=False)
    cron = subprocess.run([*command, "--once"], capture_output=True, text=True, check=False)
    program.terminate()
    out, said = program.communicate(timeout=20)
    assert (second.returncode, program.returncode) == (1, 130)
    assert (cron.returncode, cron.stdout, cron.stderr) == (0, "", "")
    assert "another deepthird does the same on this library already" in second.stderr
    assert (out, said.splitlines()[-1:]) == ("", ["deepthird: stopped; what was saved before is whole"])


def test_saved_searches_that_give_no_film_are_told(film: Film, library: Library, tmp_path: Path) -> None:
    library.save_rep(rep("rep-001", "cover-3"))  # its film is nowhere
    library.save_search("deep/thirds", "family:cover-3")
    library.save_search("man", "family:cover-1")
    written, problems = write_cutups(library, tmp_path / "cuts")
    assert not written
    assert [line.split(":")[0] for line in problems if "no rep fits" in line] == ["deep/thirds", "man"]
    assert any("the film of rep-001 is gone" in line for line in problems)
