"""The overnight queue and the roster."""

from __future__ import annotations

import threading
from pathlib import Path

from made_reps import rep

from tagger.library import Library, RosterEntry, Wish


def wish(name: str, level: str = "college", folder: str = "/film") -> Wish:
    return Wish(name, Path(folder) / f"{name}.mp4", {"level": level}, name)


def states(library: Library) -> dict[str, str]:
    return {job.path.stem: job.state for job in library.jobs.list()}


def test_the_same_film_with_other_options_is_another_job(library: Library) -> None:
    library.jobs.add([wish("a"), wish("a", "pro")])
    library.jobs.add([wish("a", folder="/moved")])
    assert [(job.path, job.options["level"]) for job in library.jobs.list()] == [
        (Path("/moved/a.mp4"), "college"), (Path("/film/a.mp4"), "pro")]  # fmt: skip


def test_a_call_given_again_tags_again_but_one_cut_short_goes_on(library: Library) -> None:
    first = library.jobs.add([wish("a"), wish("b")])
    job = library.jobs.claim("w", first)
    assert job is not None
    library.jobs.finish(job.job_id)
    second = library.jobs.add([wish("a"), wish("b")])
    assert second != first
    assert states(library) == {"a": "done", "b": "waiting"}
    job = library.jobs.claim("w", second)
    assert job is not None
    library.jobs.finish(job.job_id)
    library.jobs.add([wish("a"), wish("b")])
    assert states(library) == {"a": "waiting", "b": "waiting"}


def test_a_run_claims_its_own_jobs_only(library: Library) -> None:
    library.jobs.add([wish("a")])
    run = library.jobs.add([wish("b")])
    claimed = [library.jobs.claim("w", run), library.jobs.claim("w", run), library.jobs.claim("w")]
    assert [job and job.path.stem for job in claimed] == ["b", None, "a"]


def test_a_clip_is_set_aside_after_two_tries_and_comes_last_meanwhile(library: Library) -> None:
    library.jobs.add([wish("bad"), wish("good")])
    job = library.jobs.claim("w")
    assert job is not None
    assert library.jobs.tried(job.job_id, "bad.mp4: hung") == "waiting"
    good = library.jobs.claim("w")
    assert good is not None
    assert good.path.stem == "good"
    job = library.jobs.claim("w")
    assert job is not None
    assert library.jobs.tried(job.job_id, "bad.mp4: hung") == "set-aside"
    assert [(job.path.stem, job.reason) for job in library.jobs.list("set-aside")] == [("bad", "bad.mp4: hung")]
    library.jobs.retry(job.job_id)
    assert states(library)["bad"] == "waiting"


def test_what_dead_workers_had_waits_again(library: Library) -> None:
    library.jobs.add([wish(name) for name in "abc"])
    for worker in ("dead", "alive"):
        library.jobs.claim(worker)
    assert library.jobs.reopen(lambda name: name == "dead") == 1
    assert states(library) == {"a": "waiting", "b": "running", "c": "waiting"}
    assert library.jobs.give_back("alive") == 1
    assert [job.interruptions for job in library.jobs.list()] == [1, 0, 0]


def test_a_clip_over_which_the_program_dies_every_time_is_set_aside(library: Library) -> None:
    library.jobs.add([wish("a")])
    for _ in range(5):
        library.jobs.claim("w")
        library.jobs.reopen(lambda _: True)
    [job] = library.jobs.list()
    assert (job.state, job.reason) == ("set-aside", "the program ended 5 times while this clip was in work")


def test_a_failure_keeps_its_line(library: Library) -> None:
    library.jobs.add([wish("a")])
    job = library.jobs.claim("w")
    assert job is not None
    library.jobs.fail(job.job_id, "a: no frames")
    assert [j.reason for j in library.jobs.list("failed")] == ["a: no frames"]
    assert library.jobs.claim("w") is None
    assert library.sql("SELECT state, reason FROM jobs")[1] == [("failed", "a: no frames")]


def test_a_rep_and_its_job_are_saved_together(library: Library) -> None:
    library.jobs.add([wish("a")])
    job = library.jobs.claim("w")
    assert job is not None
    library.save_rep(rep(), job.job_id)
    assert states(library) == {"a": "done"}


def test_workers_never_get_the_same_job(tmp_path: Path) -> None:
    with Library.open(tmp_path) as library:
        library.jobs.add([wish(str(number)) for number in range(40)])
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
