"""The queue of film to be tagged: what waits, what runs, what was done, what failed and why. Survives a stop at any moment.

waiting -> running -> done, or -> failed (no try will help: not a video), or -> waiting again after a crash and, after
MOST_ATTEMPTS of them (or as many as were asked for), -> set-aside. A clip over which the whole program died waits again at the
end of the queue.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tagger.library.saving import now

WAITING, RUNNING, DONE, FAILED, SET_ASIDE = STATES = ("waiting", "running", "done", "failed", "set-aside")
MOST_ATTEMPTS = 2
MOST_INTERRUPTIONS = 5
"""A power cut is not the clip's fault, but a clip over which the machine goes down every time is."""

Door = Callable[[], AbstractContextManager[sqlite3.Connection]]


@dataclass(frozen=True)
class Wish:
    """A clip to be tagged. `options` (JSON values) is what its tags depend on: the same film with other options is another
    piece of work. `views_of` has the fingerprints of other views of the same rep."""

    fingerprint: str
    path: Path
    options: Mapping[str, Any]
    rep_name: str
    views_of: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[str, str]:
        """(fingerprint, options as text): what makes it one piece of work."""
        return self.fingerprint, json.dumps(dict(self.options), sort_keys=True)


@dataclass(frozen=True)
class Job(Wish):
    """A wish in the queue. `reason` says why it failed, or what the last try met; `changed_at` (ISO 8601, UTC) when it came into
    its state."""

    job_id: int = 0
    run: int = 0
    state: str = WAITING
    worker: str | None = None
    reason: str = ""
    attempts: int = 0
    interruptions: int = 0
    changed_at: str = ""


class Jobs:
    """The queue of one library; safe for several programs at once."""

    def __init__(self, reading: Door, writing: Door) -> None:
        self._reading, self._writing = reading, writing

    def add(self, wishes: Sequence[Wish]) -> int:
        """Queue clips together, and return the number of their run. Where an earlier run with some of them was cut short, this
        one goes on with it: what had an end there keeps it. Otherwise every clip is tagged anew."""
        with self._writing() as connection:
            known = {wish.key: connection.execute("SELECT * FROM job WHERE fingerprint = ? AND options = ?", wish.key).fetchone()
                     for wish in wishes}
            rows = [row for row in known.values() if row is not None]
            for row in list(rows):
                rows += connection.execute("SELECT * FROM job WHERE part_of = ?", (row["job_id"],)).fetchall()
            cut_short = {row["run"] for row in rows if row["state"] in (WAITING, RUNNING)}
            run = int(connection.execute("SELECT coalesce(max(run), 0) + 1 FROM job").fetchone()[0])
            for wish in wishes:
                row = known[wish.key]
                goes_on = row is not None and (row["state"] == RUNNING or row["run"] in cut_short)
                _queue(connection, wish, run, goes_on)
                if row is not None and goes_on:
                    connection.execute("UPDATE job SET run = ? WHERE part_of = ?", (run, row["job_id"]))
        return run

    def add_parts(self, whole: Job, wishes: Sequence[Wish]) -> None:
        """The recording `whole` is done: it became these clips, which join its run."""
        with self._writing() as connection:
            for wish in wishes:
                _queue(connection, wish, whole.run, False)
                connection.execute("UPDATE job SET part_of = ? WHERE fingerprint = ? AND options = ?", (whole.job_id, *wish.key))
            end_job(connection, whole.job_id, DONE, "")

    def claim(self, worker: str, run: int | None = None) -> Job | None:
        """The next waiting job (of this run), now running by `worker`; None if nothing waits. Clips that made trouble come
        after the others."""
        with self._writing() as connection:
            row = connection.execute(
                "UPDATE job SET state = 'running', worker = ?, changed_at = ? WHERE job_id = (SELECT job_id FROM job"
                " WHERE state = 'waiting' AND (? IS NULL OR run = ?) ORDER BY attempts + interruptions, job_id LIMIT 1)"
                " RETURNING *",
                (worker, now(), run, run)).fetchone()
            return None if row is None else _job(row)

    def finish(self, job_id: int) -> None:
        """The job is done. (A tagged rep is saved together with this, see `Library.save_rep`.)"""
        with self._writing() as connection:
            end_job(connection, job_id, DONE, "")

    def fail(self, job_id: int, reason: str) -> None:
        """The job failed, with one line that says why; another try would not help."""
        with self._writing() as connection:
            end_job(connection, job_id, FAILED, reason)

    def tried(self, job_id: int, reason: str, most: int = MOST_ATTEMPTS) -> str:
        """A try crashed, hung or took too much; returns the job's new state, waiting or (after `most` tries) set-aside."""
        with self._writing() as connection:
            connection.execute("UPDATE job SET attempts = attempts + 1 WHERE job_id = ?", (job_id,))
            attempts = connection.execute("SELECT attempts FROM job WHERE job_id = ?", (job_id,)).fetchone()[0]
            state = SET_ASIDE if attempts >= most else WAITING
            end_job(connection, job_id, state, reason)
        return state

    def give_back(self, worker: str) -> int:
        """What this worker has in hand waits again, as if it had not been touched. Returns how many."""
        with self._writing() as connection:
            return connection.execute("UPDATE job SET state = 'waiting', worker = NULL, changed_at = ?"
                                      " WHERE state = 'running' AND worker = ?", (now(), worker)).rowcount

    def reopen(self, is_dead: Callable[[str], bool]) -> int:
        """What dead workers had in hand waits again, or is set aside where the program died over it too often."""
        with self._writing() as connection:
            rows = connection.execute("SELECT job_id, worker, interruptions FROM job WHERE state = 'running'").fetchall()
            dead = {name: is_dead(name) for name in {row["worker"] for row in rows}}
            lost = [row for row in rows if dead[row["worker"]]]
            for row in lost:
                often = row["interruptions"] + 1 >= MOST_INTERRUPTIONS
                connection.execute("UPDATE job SET interruptions = interruptions + 1 WHERE job_id = ?", (row["job_id"],))
                end_job(connection, row["job_id"], SET_ASIDE if often else WAITING,
                        f"the program ended {MOST_INTERRUPTIONS} times while this clip was in work" if often else "")
        return len(lost)

    def retry(self, job_id: int) -> None:
        """Let a job wait again, with a clean record."""
        with self._writing() as connection:
            connection.execute("UPDATE job SET attempts = 0, interruptions = 0 WHERE job_id = ?", (job_id,))
            end_job(connection, job_id, WAITING, "")

    def of_film(self, fingerprint: str) -> list[Job]:
        """Every job of this content."""
        with self._reading() as connection:
            return [_job(row) for row in connection.execute("SELECT * FROM job WHERE fingerprint = ?", (fingerprint,))]

    def moved(self, fingerprint: str, path: Path) -> None:
        """The film lies elsewhere now."""
        with self._writing() as connection:
            connection.execute("UPDATE job SET path = ? WHERE fingerprint = ?", (str(path), fingerprint))

    def with_parts(self, wish: Wish) -> Sequence[Wish]:
        """The clip itself, then the clips that were cut out of it."""
        with self._reading() as connection:
            rows = connection.execute("SELECT p.* FROM job p JOIN job w ON p.part_of = w.job_id WHERE w.fingerprint = ?"
                                      " AND w.options = ? ORDER BY p.job_id", wish.key).fetchall()
            return [wish, *(_job(row) for row in rows)]

    def changed_since(self, since: str) -> list[Job]:
        """Every job that changed since this time of day (ISO 8601, UTC)."""
        with self._reading() as connection:
            return [_job(row) for row in connection.execute("SELECT * FROM job WHERE changed_at >= ? ORDER BY job_id", (since,))]

    def list(self, state: str | None = None, run: int | None = None) -> list[Job]:  # last: its name hides the type's below
        """Every job (in this state, of this run), oldest first."""
        with self._reading() as connection:
            return [_job(row) for row in connection.execute(
                "SELECT * FROM job WHERE (?1 IS NULL OR state = ?1) AND (?2 IS NULL OR run = ?2) ORDER BY job_id", (state, run))]


def end_job(connection: sqlite3.Connection, job_id: int, state: str, reason: str) -> None:
    """Move a job on, inside the caller's transaction."""
    connection.execute("UPDATE job SET state = ?, reason = ?, worker = NULL, changed_at = ? WHERE job_id = ?",
                       (state, reason, now(), job_id))


def _queue(connection: sqlite3.Connection, wish: Wish, run: int, goes_on: bool) -> None:
    """A new job, or the known one: with its new path, and waiting afresh unless it goes on."""
    views = json.dumps(wish.views_of)
    connection.execute(
        "INSERT INTO job (fingerprint, options, path, rep_name, views_of, run, state, queued_at, changed_at)"
        " VALUES (?, ?, ?, ?, ?, ?, 'waiting', ?, ?) ON CONFLICT (fingerprint, options) DO UPDATE SET"
        " path = excluded.path, rep_name = excluded.rep_name, views_of = excluded.views_of, run = excluded.run",
        (*wish.key, str(wish.path), wish.rep_name, views, run, now(), now()))
    if not goes_on:
        connection.execute(
            "UPDATE job SET state = 'waiting', reason = '', attempts = 0, interruptions = 0, queued_at = ?, changed_at = ?"
            " WHERE fingerprint = ? AND options = ?", (now(), now(), *wish.key))


def _job(row: sqlite3.Row) -> Job:
    return Job(row["fingerprint"], Path(row["path"]), json.loads(row["options"]), row["rep_name"],
               tuple(json.loads(row["views_of"])), row["job_id"], row["run"], row["state"], row["worker"], row["reason"],
               row["attempts"], row["interruptions"], row["changed_at"])
