"""What is kept of a tagged clip until its rep's other view is there: all that the pipeline had, so that both can be read as one.

Only worker processes look into it. It came out of a process that had read film from anywhere, so this one never unpickles it.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tagger.cutups.whole_file import write_bytes
from tagger.library import Job, Library

FOLDER, ENDING = "spool", ".whole"
MOST_BYTES = 2 << 30
"""Beyond, the oldest go; their reps then keep the reading of one view."""


class Spool:
    """The spool of one library."""

    def __init__(self, library: Library) -> None:
        self._library, self._folder = library, library.folder.resolve() / FOLDER

    def keep(self, job: Job, whole: bytes) -> None:
        """Put a clip's whole by. Raises OutputError."""
        self._folder.mkdir(parents=True, exist_ok=True)
        write_bytes(self._path(job), whole)
        files = sorted(self._folder.glob(f"*{ENDING}"), key=lambda path: path.stat().st_mtime_ns, reverse=True)
        total = 0
        for path in files:
            total += path.stat().st_size
            if total > MOST_BYTES:
                path.unlink(missing_ok=True)

    def find(self, job: Job) -> Path | None:
        """Where a clip's whole lies, if it is still there."""
        path = self._path(job)
        return path if path.is_file() else None

    def drop(self, jobs: Iterable[Job]) -> None:
        """They are joined, or tagged anew."""
        for job in jobs:
            self._path(job).unlink(missing_ok=True)

    def prune(self) -> list[Path]:
        """Drop what belongs to no job; returns it."""
        known = {f"{job.job_id}{ENDING}" for job in self._library.jobs.list()}
        gone = [path for path in self._folder.glob(f"*{ENDING}") if path.name not in known]
        for path in gone:
            path.unlink(missing_ok=True)
        return gone

    def _path(self, job: Job) -> Path:
        return self._folder / f"{job.job_id}{ENDING}"
