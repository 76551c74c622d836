"""The files that a watch has taken: where they lay, how they looked, what is in them."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from tagger.library.saving import now

Door = Callable[[], AbstractContextManager[sqlite3.Connection]]


@dataclass(frozen=True)
class Seen:
    """A file at the moment it was taken. `note` says why it was left out, empty if it was not."""

    path: Path
    size_bytes: int
    mtime_ns: int
    fingerprint: str
    note: str = ""


class SeenFilm:
    """What one library has seen."""

    def __init__(self, reading: Door, writing: Door) -> None:
        self._reading, self._writing = reading, writing

    def find(self, path: Path) -> Seen | None:
        """What is known of the file at this path."""
        with self._reading() as connection:
            row = connection.execute("SELECT * FROM seen_film WHERE path = ?", (str(path),)).fetchone()
        return None if row is None else _seen(row)

    def keep(self, seen: Seen) -> None:
        """Remember a file as it is now."""
        with self._writing() as connection:
            connection.execute("INSERT OR REPLACE INTO seen_film VALUES (?, ?, ?, ?, ?, ?)", (
                str(seen.path), seen.size_bytes, seen.mtime_ns, seen.fingerprint, seen.note, now()))

    def notes(self, since: str) -> list[str]:
        """A line for each file left out since this time of day (ISO 8601, UTC)."""
        with self._reading() as connection:
            return [row[0] for row in connection.execute(
                "SELECT note FROM seen_film WHERE note != '' AND seen_at >= ? ORDER BY path", (since,))]


def _seen(row: sqlite3.Row) -> Seen:
    return Seen(Path(row["path"]), row["size_bytes"], row["mtime_ns"], row["fingerprint"], row["note"])
