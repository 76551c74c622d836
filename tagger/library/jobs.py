"""The queue of film to be tagged: what waits, what runs, what failed and why. Survives a stop in the middle of the night."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tagger.library.saving import now

STATES = ("waiting", "running", "done", "failed")

Door = Callable[[], AbstractContextManager[sqlite3.Connection]]


@dataclass(frozen=True)
class Job:
    """One piece of work. `options` is what the tagging depends on: the same film with other options is another job."""

    job_id: int
    fingerprint: str
    path: Path
    options: Mapping[str, Any]
    state: str
    worker: str | None
    message: str
    attempts: int


class Jobs:
    """The queue of one library; safe for several workers at once."""

    def __init__(self, reading: Door, writing: Door) -> None:
        self._reading, self._writing = reading, writing

    def add(self, fingerprint: str, path: Path, options: Mapping[str, Any]) -> Job:
        """Queue a clip. One that is queued or done already with these options stays as it is, with its new path."""
        key = (fingerprint, json.dumps(dict(options), sort_keys=True))
        with self._writing() as connection:
            connection.execute(
                "INSERT INTO job (fingerprint, options, path, state, queued_at, changed_at) VALUES (?, ?, ?, 'waiting', ?, ?)"
                " ON CONFLICT (fingerprint, options) DO UPDATE SET path = excluded.path", (*key, str(path), now(), now()))
            return _job(connection.execute("SELECT * FROM job WHERE fingerprint = ? AND options = ?", key).fetchone())

    def claim(self, worker: str) -> Job | None:
        """The next waiting job, now running by `worker`; None if nothing waits."""
        with self._writing() as connection:
            row = connection.execute(
                "UPDATE job SET state = 'running', worker = ?, attempts = attempts + 1, changed_at = ? WHERE job_id ="
                " (SELECT job_id FROM job WHERE state = 'waiting' ORDER BY job_id LIMIT 1) RETURNING *",
                (worker, now())).fetchone()
            return None if row is None else _job(row)

    def finish(self, job_id: int, message: str = "") -> None:
        """The job is done."""
        self._move(job_id, "done", message)

    def fail(self, job_id: int, message: str) -> None:
        """The job failed, with one line that says why."""
        self._move(job_id, "failed", message)

    def retry(self, job_id: int) -> None:
        """Let a job wait again."""
        self._move(job_id, "waiting", "")

    def reopen_running(self, worker: str | None = None) -> int:
        """After a stop: what was running (of this worker, or of all) waits again. Returns how many."""
        with self._writing() as connection:
            return connection.execute(
                "UPDATE job SET state = 'waiting', changed_at = ? WHERE state = 'running' AND (? IS NULL OR worker = ?)",
                (now(), worker, worker)).rowcount

    def list(self, state: str | None = None) -> list[Job]:
        """Every job, oldest first."""
        with self._reading() as connection:
            return [_job(row) for row in connection.execute(
                "SELECT * FROM job WHERE ? IS NULL OR state = ? ORDER BY job_id", (state, state))]

    def _move(self, job_id: int, state: str, message: str) -> None:
        with self._writing() as connection:
            connection.execute("UPDATE job SET state = ?, message = ?, changed_at = ? WHERE job_id = ?",
                               (state, message, now(), job_id))


def _job(row: sqlite3.Row) -> Job:
    return Job(row["job_id"], row["fingerprint"], Path(row["path"]), json.loads(row["options"]), row["state"], row["worker"],
               row["message"], row["attempts"])
