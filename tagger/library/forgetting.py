"""Forgetting for good: a practice, a person, or everything that came from film. What is deleted is overwritten, and the file is
written anew, so that nothing of it stays in free pages or in the journal."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, fields
from pathlib import Path, PurePath

from tagger.library.faults import LibraryBusy
from tagger.library.saving import rebuild


@dataclass(frozen=True)
class Forgotten:
    """How much went: reps (with tags and tracks), their clips and corrections, queued or finished jobs, files noted by a watch,
    names of the roster, and reps in which a man lost his number."""

    reps: int = 0
    clips: int = 0
    corrections: int = 0
    jobs: int = 0
    seen_files: int = 0
    roster_names: int = 0
    reps_with_number: int = 0

    def __add__(self, other: Forgotten) -> Forgotten:
        return Forgotten(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))

    @property
    def nothing(self) -> bool:
        """True if there was nothing to forget."""
        return self == Forgotten()


def forget_reps(connection: sqlite3.Connection, rep_ids: list[int]) -> Forgotten:
    """Delete reps with all that hangs on them, their clips' jobs and notes too. Inside the caller's transaction."""
    total = Forgotten()
    for rep_id in rep_ids:
        prints = [row[0] for row in connection.execute("SELECT fingerprint FROM clip WHERE rep_id = ?", (rep_id,))]
        marks = ", ".join("?" * len(prints))
        said = connection.execute("DELETE FROM correction WHERE rep_id = ? AND undoes IS NOT NULL", (rep_id,)).rowcount
        said += connection.execute("DELETE FROM correction WHERE rep_id = ?", (rep_id,)).rowcount
        jobs = connection.execute(f"DELETE FROM job WHERE fingerprint IN ({marks})", prints).rowcount
        seen = connection.execute(f"DELETE FROM seen_film WHERE fingerprint IN ({marks})", prints).rowcount
        connection.execute("DELETE FROM rep WHERE rep_id = ?", (rep_id,))
        total += Forgotten(1, len(prints), said, jobs, seen)
    return total


def reps_in(connection: sqlite3.Connection, folder: Path) -> list[int]:
    """Reps of which a clip, or the recording that it was cut from, lies in this folder or below."""
    rows = connection.execute("SELECT rep_id, path FROM clip UNION SELECT c.rep_id, w.path FROM clip c"
                              " JOIN job p USING (fingerprint) JOIN job w ON p.part_of = w.job_id").fetchall()
    return sorted({int(row["rep_id"]) for row in rows if _inside(row["path"], folder)})


def forget_folder(connection: sqlite3.Connection, folder: Path) -> Forgotten:
    """Everything of the film in this folder or below, tagged or not; of recordings also the reps cut out of them."""
    total = forget_reps(connection, reps_in(connection, folder))
    for row in connection.execute("SELECT DISTINCT w.job_id, w.path FROM job w JOIN job p ON p.part_of = w.job_id").fetchall():
        if _inside(row["path"], folder):
            total += Forgotten(jobs=connection.execute("DELETE FROM job WHERE part_of = ?", (row["job_id"],)).rowcount)
    for table, count in (("job", "jobs"), ("seen_film", "seen_files")):
        paths = {row[0] for row in connection.execute(f"SELECT DISTINCT path FROM {table}") if _inside(row[0], folder)}
        for path in paths:
            total += Forgotten(**{count: connection.execute(f"DELETE FROM {table} WHERE path = ?", (path,)).rowcount})
    return total


def _inside(path: str, folder: Path) -> bool:
    return PurePath(path).is_relative_to(folder)


def forget_all(connection: sqlite3.Connection) -> Forgotten:
    """Everything that came from film. Roster and saved searches stay: people wrote them."""
    total = forget_reps(connection, [row[0] for row in connection.execute("SELECT rep_id FROM rep")])
    return total + Forgotten(jobs=connection.execute("DELETE FROM job").rowcount,
                             seen_files=connection.execute("DELETE FROM seen_film").rowcount)


def forget_number(connection: sqlite3.Connection, number: str, side: str | None) -> Forgotten:
    """The link between film and a person: his name in the roster, and his number wherever it was read on film or a coach gave it
    to somebody. The tags of the nameless player stay."""
    roster = connection.execute("DELETE FROM roster WHERE number = ?1 AND (?2 IS NULL OR side = ?2)", (number, side)).rowcount
    numbers = "SELECT correction_id, rep_id, subject, before, after FROM correction WHERE field = 'number'"
    said = [row for row in connection.execute(numbers)
            if number in (_text(row["before"]), _text(row["after"])) and _on_side(connection, row, side)]
    gone = 0
    for row in said:
        gone += connection.execute(
            "WITH RECURSIVE chain (id) AS (SELECT ? UNION SELECT correction_id FROM correction JOIN chain ON undoes = id)"
            " DELETE FROM correction WHERE correction_id IN (SELECT id FROM chain)", (row["correction_id"],)).rowcount
    reps = {int(row["rep_id"]) for row in said} | _unread(connection, number, side)
    for rep_id in reps:
        rebuild(connection, rep_id)
    return Forgotten(corrections=gone, roster_names=roster, reps_with_number=len(reps))


def _unread(connection: sqlite3.Connection, number: str, side: str | None) -> set[int]:
    """Take a number away wherever it was read on film; returns the reps."""
    reps = set()
    for row in connection.execute("SELECT clip_id, rep_id, number_of_player, side_of_player FROM clip").fetchall():
        sides, numbers = json.loads(row["side_of_player"]), json.loads(row["number_of_player"])
        kept = {p: n for p, n in numbers.items() if n != number or (side is not None and sides.get(p, side) != side)}
        if kept != numbers:
            connection.execute("UPDATE clip SET number_of_player = ? WHERE clip_id = ?", (json.dumps(kept), row["clip_id"]))
            reps.add(int(row["rep_id"]))
    return reps


def _text(value: str | None) -> str | None:
    return None if value is None else str(json.loads(value))


def _on_side(connection: sqlite3.Connection, row: sqlite3.Row, side: str | None) -> bool:
    player = str(row["subject"]).partition(":")[2]
    found = connection.execute("SELECT side FROM player WHERE rep_id = ? AND player_id = ?", (row["rep_id"], player)).fetchone()
    return side is None or found is None or found[0] == side


def wipe(connection: sqlite3.Connection, path: Path) -> None:
    """Write the file anew without what was deleted, and empty the journal. Raises LibraryBusy while another program reads it."""
    connection.execute("VACUUM")
    busy = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    if busy:
        raise LibraryBusy(f"{path}: forgotten, but another program has the library open, and its journal still holds traces; "
                          "close it (review, watch), then call this once more")
