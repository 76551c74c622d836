"""The overnight queue and the roster."""

from __future__ import annotations

import threading
from pathlib import Path

from tagger.library import Library, RosterEntry


def test_a_job_runs_once_and_is_found_again(library: Library) -> None:
    first = library.jobs.add("a", Path("/film/a.mp4"), {"level": "college"})
    assert library.jobs.add("a", Path("/moved/a.mp4"), {"level": "college"}).job_id == first.job_id
    assert library.jobs.add("a", Path("/film/a.mp4"), {"level": "pro"}).job_id != first.job_id
    job = library.jobs.claim("w1")
    assert job is not None
    assert (job.job_id, job.state, job.attempts, job.path) == (first.job_id, "running", 1, Path("/moved/a.mp4"))
    library.jobs.finish(job.job_id)
    library.jobs.add("a", Path("/film/a.mp4"), {"level": "college"})
    assert [j.state for j in library.jobs.list()] == ["done", "waiting"]


def test_what_was_running_waits_again_after_a_stop(library: Library) -> None:
    for name in "abc":
        library.jobs.add(name, Path(name), {})
    for worker in ("w1", "w2"):
        library.jobs.claim(worker)
    assert library.jobs.reopen_running("w1") == 1
    assert [j.state for j in library.jobs.list()] == ["waiting", "running", "waiting"]
    assert library.jobs.reopen_running() == 1


def test_a_failure_keeps_its_line_and_can_be_tried_again(library: Library) -> None:
    job = library.jobs.add("a", Path("a"), {})
    library.jobs.fail(job.job_id, "a: no frames")
    assert [j.message for j in library.jobs.list("failed")] == ["a: no frames"]
    assert library.jobs.claim("w") is None
    library.jobs.retry(job.job_id)
    assert library.jobs.claim("w") is not None


def test_workers_never_get_the_same_job(tmp_path: Path) -> None:
    with Library.open(tmp_path) as library:
        for number in range(40):
            library.jobs.add(str(number), Path(str(number)), {})
    taken: list[int] = []

    def work(name: str) -> None:
        with Library.open(tmp_path) as own:
            while (job := own.jobs.claim(name)) is not None:
                taken.append(job.job_id)

    threads = [threading.Thread(target=work, args=(f"w{n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken) == sorted(set(taken))
    assert len(taken) == 40


def test_the_roster_is_replaced_whole(library: Library) -> None:
    library.set_roster([RosterEntry("21", "defense", "A. Example", "FS")])
    library.set_roster([RosterEntry("5", "defense", "B. Example"), RosterEntry("4", "offense", "C. Example", "WR")])
    assert [entry.number for entry in library.roster()] == ["5", "4"]
