"""The queue end to end: real processes, small work. What was done stays done, whatever stops the program."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import small_work

from tagger.batch.crew import LocalCrew
from tagger.batch.film import find_clips, pair_views
from tagger.batch.limits import Limits
from tagger.batch.plan import Scripts, plan_films
from tagger.batch.queue import Finished, work_through
from tagger.library import Library
from tagger.library.owner import Owner
from tagger.options import TagOptions

Film = Callable[[str, str], Path]


def tag(folder: Path, library: Path, workers: int = 2, limits: Limits | None = None) -> list[Finished]:
    """What `deepthird tag` does, with small work."""
    with Library.open(library) as kept, Owner(library) as owner:
        kept.jobs.reopen(owner.is_dead)
        plan = plan_films(pair_views(find_clips([folder])), TagOptions(), Scripts())
        run = kept.jobs.add(plan.wishes)
        crew = LocalCrew(workers, limits or Limits())
        return list(work_through(kept, owner, crew, run, work=small_work.act, join=small_work.lay_together))


def tags(library: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Everything that was tagged, by name; times of day, stage timings and row numbers apart."""
    queries = {
        "reps": "SELECT rep, folder, family, family_confidence, shell, snap_s, variant FROM reps",
        "clips": "SELECT rep, path, fingerprint, view, is_main FROM clips",
        "assignments": "SELECT rep, player_id, assignment, area, start_s, confidence FROM assignments",
        "events": "SELECT rep, kind, start_s, margin_yd, confidence, why FROM events",
    }
    with Library.open(library) as kept:
        return {name: sorted(kept.sql(query)[1], key=str) for name, query in queries.items()}


def test_views_are_one_rep_and_failures_stay_apart(film: Film, tmp_path: Path) -> None:
    film("rep-1-sideline.mp4", "rep cover-1")
    film("rep-1-end-zone.mp4", "rep")
    film("rep-2.mp4", "refuse")
    film("rep-3.mp4", "crash")
    found = tag(tmp_path / "film", tmp_path / "library")
    ends = {(done.job.path.stem, done.state) for done in found}
    assert ends == {("rep-1-sideline", "done"), ("rep-1-end-zone", "done"), ("rep-2", "failed"), ("rep-3", "waiting"),
                    ("rep-3", "set-aside")}, [done.reason for done in found]  # fmt: skip
    with Library.open(tmp_path / "library") as kept:
        assert [rep.name for rep in kept.search("")] == ["rep-1"]
        stored = kept.rep(1)
        assert {clip.view for clip in stored.clips} == {"sideline", "end-zone"}
        assert stored.summary.family == "cover-6"  # both views read as one
        assert [job.attempts for job in kept.jobs.list("set-aside")] == [2]


@pytest.mark.slow
def test_the_order_of_work_does_not_matter(film: Film, tmp_path: Path) -> None:
    film("1-sideline.mp4", "rep 1")
    film("1-end-zone.mp4", "slow 0.5 cover-1 1")
    for workers in (1, 3):
        tag(tmp_path / "film", tmp_path / f"library-{workers}", workers)
    assert tags(tmp_path / "library-1") == tags(tmp_path / "library-3")


def test_as_many_tries_as_are_asked_for(film: Film, tmp_path: Path) -> None:
    film("a.mp4", "crash")
    found = tag(tmp_path / "film", tmp_path / "library", 1, Limits(tries=3))
    assert [end.state for end in found] == ["waiting", "waiting", "set-aside"]


def test_film_that_changes_while_it_is_in_work_is_not_taken(film: Film, tmp_path: Path) -> None:
    film("a.mp4", "rep one")
    library = tmp_path / "library"
    with Library.open(library) as kept, Owner(library) as owner:
        plan = plan_films(pair_views(find_clips([tmp_path / "film"])), TagOptions(), Scripts())
        film("a.mp4", "rep two")
        run = kept.jobs.add(plan.wishes)
        [done] = work_through(kept, owner, LocalCrew(1, Limits()), run, work=small_work.act, join=small_work.lay_together)
    assert done.state == "failed"
    assert "changed while it was in work" in done.reason


@pytest.mark.parametrize(
    ("said", "family", "line"), [("apart", "cover-1", None), ("joint-crash", "cover-1", "the rep's views are read one by one"),
                                 ("joint-kill", "cover-6", None)]
)  # fmt: skip
def test_views_are_joined_or_stay_as_they_are(
    film: Film, tmp_path: Path, said: str, family: str, line: str | None
) -> None:
    film("rep-1-sideline.mp4", f"rep cover-1 {said}")
    film("rep-1-end-zone.mp4", "rep")
    found = tag(tmp_path / "film", tmp_path / "library")
    assert [end.state for end in found] == ["done"] * len(found)
    assert [end.reason.endswith(line) for end in found if end.reason] == [True] * bool(line) if line else not found[-1].reason
    with Library.open(tmp_path / "library") as kept:
        assert [rep.family for rep in kept.search("")] == [family]  # cover-1 is the surer of the two
    assert not list((tmp_path / "library" / "spool").iterdir())


PROGRAM = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from tagger.batch.limits import Limits
from test_queue import tag
tag(Path({folder!r}), Path({library!r}), limits=Limits(tries={tries}))
"""


def start(folder: Path, library: Path, tries: int = 2) -> subprocess.Popen[bytes]:
    code = PROGRAM.format(tests=str(Path(__file__).parent), folder=str(folder), library=str(library), tries=tries)
    return subprocess.Popen([sys.executable, "-c", code], stderr=subprocess.PIPE)


def clips_done(library: Path) -> int:
    if not (library / "library.sqlite").exists():
        return 0
    with Library.open(library) as kept:
        return len(kept.jobs.list("done"))


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
@pytest.mark.parametrize(("reps", "kills"), [(2, 1), pytest.param(8, 6, marks=pytest.mark.slow)])
def test_killing_the_program_loses_only_what_was_in_work(film: Film, tmp_path: Path, reps: int, kills: int) -> None:
    folder, library = tmp_path / "film", tmp_path / "library"
    for number in range(reps):
        film(f"{number}-sideline.mp4", f"slow 0.3 {number}")
        film(f"{number}-end-zone.mp4", f"slow 0.3 cover-1 {number}")
    tag(folder, tmp_path / "undisturbed")
    for _ in range(kills):
        done = clips_done(library)
        program = start(folder, library)
        until_s = time.monotonic() + 40
        while clips_done(library) <= done and time.monotonic() < until_s:
            time.sleep(0.05)
        time.sleep(random.uniform(0.0, 0.5))
        program.send_signal(signal.SIGKILL)
        program.wait()
        assert clips_done(library) > done
    done = clips_done(library)
    left = tag(folder, library)
    assert len([end for end in left if end.state == "done"]) == 2 * reps - done  # nothing was done twice
    assert tags(library) == tags(tmp_path / "undisturbed")


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
@pytest.mark.slow
def test_killing_a_worker_costs_a_try_of_its_clip_alone(film: Film, tmp_path: Path) -> None:
    import psutil

    for number in range(3):
        film(f"{number}.mp4", f"slow 1.5 {number}")
    program = start(tmp_path / "film", tmp_path / "library")
    workers: list[psutil.Process] = []
    while not workers:
        time.sleep(0.1)
        workers = [p for p in psutil.Process(program.pid).children() if "tagger.batch.child" in p.cmdline()]
    workers[0].kill()
    _, said = program.communicate(timeout=60)
    assert program.returncode == 0, said
    with Library.open(tmp_path / "library") as kept:
        assert sorted((job.state, job.attempts) for job in kept.jobs.list()) == [("done", 0), ("done", 0), ("done", 1)]


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_twenty_kills_of_workers_and_program_at_random_moments(film: Film, tmp_path: Path) -> None:
    """Nothing is lost, nothing is done twice, and the tags are those of a night without trouble. A worker's death costs its clip
    a try, so that it may end set aside: more tries are allowed than there are kills."""
    import psutil

    folder, library, chance = tmp_path / "film", tmp_path / "library", random.Random(20)
    for number in range(12):
        film(f"{number}-sideline.mp4", f"slow 0.8 {number}")
        film(f"{number}-end-zone.mp4", f"slow 0.8 cover-1 {number}")
    tag(folder, tmp_path / "undisturbed")
    program, kills = start(folder, library, tries=30), {"worker": 0, "program": 0}
    while sum(kills.values()) < 20:
        if program.poll() is not None:
            assert program.returncode in (0, -signal.SIGKILL)
            program = start(folder, library, tries=30)
        workers = list[psutil.Process]()
        while not workers and program.poll() is None:
            workers = psutil.Process(program.pid).children()
        time.sleep(chance.uniform(0.0, 1.5))
        if program.poll() is None and kills["worker"] > kills["program"]:
            program.kill()
            program.wait()
            kills["program"] += 1
        elif program.poll() is None:
            for child in psutil.Process(program.pid).children()[:1]:
                child.kill()
                kills["worker"] += 1
    program.kill()
    program.wait()
    left = tag(folder, library, limits=Limits(tries=30))
    assert all(end.state == "done" for end in left)
    assert min(kills.values()) >= 8
    with Library.open(library) as kept:
        assert {job.state for job in kept.jobs.list()} == {"done"}
        assert len(kept.jobs.list()) == 24
    assert tags(library) == tags(tmp_path / "undisturbed")


def test_two_programs_share_the_work(film: Film, tmp_path: Path) -> None:
    for number in range(4):
        film(f"{number}.mp4", f"slow 0.4 {number}")
    programs = [start(tmp_path / "film", tmp_path / "library") for _ in range(2)]
    for program in programs:
        _, said = program.communicate(timeout=90)
        assert program.returncode == 0, said
    with Library.open(tmp_path / "library") as kept:
        assert {job.state for job in kept.jobs.list()} == {"done"}
        assert kept.count() == 4
