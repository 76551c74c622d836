"""The library: every rep of the film, the automatic tags, and the coach's word on them."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Self

from tagger.football.types import Reading
from tagger.library import search as _search
from tagger.library.arrays import unpack_field_tracks, unpack_field_view, unpack_tracks
from tagger.library.clicked_fields import ClickedFields
from tagger.library.connection import FILE_NAME, connect, transaction
from tagger.library.correction_check import check, nearest
from tagger.library.effective import effective, standing
from tagger.library.faults import LibraryError, StaleEdit, explained
from tagger.library.forgetting import Forgotten, forget_all, forget_folder, forget_number, forget_reps, reps_in, wipe
from tagger.library.jobs import DONE, Jobs, end_job
from tagger.library.query import Query, parse
from tagger.library.reading_json import reading_from_json, situation_from_json
from tagger.library.records import (
    ClipArrays,
    Correction,
    RepRecord,
    RepSummary,
    SavedRep,
    StoredClip,
    StoredRep,
)
from tagger.library.rows import insert
from tagger.library.saving import corrections_of, now, rebuild, reread_of, save, save_reading, save_reread
from tagger.library.seen_film import SeenFilm
from tagger.library.sql_access import query_views


@dataclass(frozen=True)
class RosterEntry:
    """A man of the roster."""

    number: str
    side: str
    name: str
    position: str | None = None


class Library:
    """One library folder. Open one per thread; several programs may have the same folder open at once.

    Every method raises LibraryError (a ValueError) with one line that says what is wrong and what to do.
    """

    def __init__(self, folder: Path, connection: sqlite3.Connection) -> None:
        self.folder, self._connection = folder, connection
        self.jobs = Jobs(self._reading, self._writing)
        self.seen_film = SeenFilm(self._reading, self._writing)
        self.clicked_fields = ClickedFields(self._reading, self._writing)

    @classmethod
    def open(cls, folder: Path, read_only: bool = False) -> Self:
        """Open the library in `folder`; made if missing, unless `read_only`."""
        return cls(folder, connect(folder, read_only))

    def close(self) -> None:
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with explained(self.folder / FILE_NAME):
            yield self._connection

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with explained(self.folder / FILE_NAME), transaction(self._connection):
            yield self._connection

    # --- saving -------------------------------------------------------------------------------------------------

    def save_rep(self, record: RepRecord, job_id: int | None = None) -> SavedRep:
        """Save a tagged rep, all or nothing, and with it end the job that it was. Known film gets new automatic tags; a coach's
        corrections stay."""
        with self._writing() as connection:
            saved = save(connection, record)
            if job_id is not None:
                end_job(connection, job_id, DONE, "")
            return saved

    def save_reading(self, rep_id: int, reading: Reading) -> None:
        """New automatic tags for a rep, inferred anew from its kept tracks."""
        with self._writing() as connection:
            self._must_exist(connection, rep_id)
            save_reading(connection, rep_id, reading)

    def save_reread(self, rep_id: int, reading: Reading, upto: int, laid: Mapping[str, Any] | None = None) -> None:
        """Keep what was read anew on the coach's word up to correction `upto`, and how the views then lay on each other; the
        blind automatic reading stays beside it. Raises LibraryError if there is a newer word by now."""
        with self._writing() as connection:
            self._must_exist(connection, rep_id)
            self._must_be_at(connection, rep_id, upto)
            save_reread(connection, rep_id, reading, upto, laid)

    def forget(self, folder: Path | None = None, rep_ids: Sequence[int] = (), number: str | None = None, side: str | None = None,
               everything: bool = False) -> Forgotten:
        """Delete for good: the film of a folder, some reps, a person's number and name, or everything that came from film."""
        with self._reading() as connection:
            connection.execute("PRAGMA secure_delete = ON")
        gone = Forgotten()
        with self._writing() as connection:
            if everything:
                gone += forget_all(connection)
            if folder is not None:
                gone += forget_folder(connection, folder)
            gone += forget_reps(connection, list(rep_ids))
            if number is not None:
                gone += forget_number(connection, number, side)
        with self._reading() as connection:
            wipe(connection, self.folder / FILE_NAME)
        return gone

    # --- reading ------------------------------------------------------------------------------------------------

    def rep_id(self, name: str) -> int:
        """The rep of this name or id. Raises LibraryError with the nearest names."""
        with self._reading() as connection:
            row = connection.execute("SELECT rep_id FROM rep WHERE name = ?", (name,)).fetchone()
            if row is None and name.isdigit() and len(name) < 19:
                row = connection.execute("SELECT rep_id FROM rep WHERE rep_id = ?", (int(name),)).fetchone()
            if row is None:
                names = [str(r[0]) for r in connection.execute("SELECT name FROM rep ORDER BY rep_id LIMIT 5000")]
                raise LibraryError(nearest(name, names, "rep"))
        return int(row[0])

    def rep(self, rep_id: int) -> StoredRep:
        """One whole rep with its effective reading."""
        with self._reading() as connection:
            self._must_exist(connection, rep_id)
            row = connection.execute("SELECT reading, situation FROM rep_reading WHERE rep_id = ?", (rep_id,)).fetchone()
            automatic, script = reading_from_json(json.loads(row[0])), situation_from_json(json.loads(row[1]))
            summary = connection.execute(f"SELECT {_search.SUMMARY_COLUMNS} FROM rep WHERE rep_id = ?", (rep_id,)).fetchone()
            clips = connection.execute("SELECT * FROM clip WHERE rep_id = ? ORDER BY is_main DESC, clip_id", (rep_id,)).fetchall()
            log = corrections_of(connection, rep_id)
            reread, upto, laid = reread_of(connection, rep_id)
        state = effective(reread or automatic, script, log, json.loads(clips[0]["number_of_player"]) if clips else None)
        return StoredRep(
            RepSummary(*summary), tuple(_clip(clip) for clip in clips),
            state.reading, state.situation, automatic, script, tuple(log), state.verdicts, state.numbers, state.by_coach,
            upto, laid)

    def arrays(self, clip_id: int) -> ClipArrays:
        """The kept tracks and the field of one clip."""
        with self._reading() as connection:
            kept = dict(connection.execute("SELECT kind, npz FROM clip_arrays WHERE clip_id = ?", (clip_id,)).fetchall())
        if len(kept) != 3:
            raise LibraryError(f"clip {clip_id}: no tracks are kept; tag its film again")
        return ClipArrays(unpack_tracks(kept["tracks"]), unpack_field_tracks(kept["field_tracks"]),
                          unpack_field_view(kept["field_view"]))

    def rep_of(self, fingerprint: str) -> int | None:
        """The rep that has a clip of this content."""
        with self._reading() as connection:
            row = connection.execute("SELECT rep_id FROM clip WHERE fingerprint = ?", (fingerprint,)).fetchone()
        return None if row is None else int(row[0])

    def views_beside(self, fingerprint: str) -> list[str]:
        """The other clips of the rep that has a clip of this content."""
        with self._reading() as connection:
            return [row[0] for row in connection.execute(
                "SELECT o.fingerprint FROM clip o JOIN clip c USING (rep_id) WHERE c.fingerprint = ?1 AND o.fingerprint != ?1"
                " ORDER BY o.clip_id", (fingerprint,))]

    def has_film(self, fingerprint: str) -> bool:
        """True if a clip of this content is tagged."""
        return self.rep_of(fingerprint) is not None

    def film_path(self, fingerprint: str) -> Path | None:
        """Where a clip of this content lay when it was last seen; None if none is tagged."""
        with self._reading() as connection:
            row = connection.execute("SELECT path FROM clip WHERE fingerprint = ?", (fingerprint,)).fetchone()
        return None if row is None else Path(row[0])

    def moved(self, fingerprint: str, path: Path) -> None:
        """Remember where a known clip lies now."""
        with self._writing() as connection:
            connection.execute("UPDATE clip SET path = ? WHERE fingerprint = ?", (str(path), fingerprint))

    def search(self, query: Query | str, limit: int | None = None, offset: int = 0, order: str = "rep") -> list[RepSummary]:
        """The reps that fit a query (see `tagger.library.query`)."""
        with self._reading() as connection:
            return _search.find(connection, parse(query) if isinstance(query, str) else query, limit, offset, order)

    def count(self, query: Query | str = "") -> int:
        """How many reps fit."""
        with self._reading() as connection:
            return _search.count(connection, parse(query) if isinstance(query, str) else query)

    def count_in(self, folder: Path) -> int:
        """How many reps have film in this folder or below."""
        with self._reading() as connection:
            return len(reps_in(connection, folder))

    def doubtful_words(self, query: Query) -> list[str]:
        """One line for each word of the query that no rep has, with the nearest that some have."""
        with self._reading() as connection:
            return _search.check_film_words(connection, query)

    def sql(self, text: str, values: Sequence[Any] | Mapping[str, Any] = ()) -> tuple[list[str], list[tuple[Any, ...]]]:
        """(columns, rows) of a SELECT on the documented views."""
        return query_views(self.folder, text, values)

    # --- the coach ----------------------------------------------------------------------------------------------

    def correct(self, rep_id: int, correction: Correction) -> int:
        """Log a coach's word, lay it over the tags, and return its id. Raises ValueError on words that are not known."""
        return self.correct_all(rep_id, [correction])[0]

    def correct_all(self, rep_id: int, corrections: Sequence[Correction], seen: int | None = None) -> list[int]:
        """Log several words together, all or none, and return their ids. `seen`: the newest correction that the coach has
        seen (0: none); raises StaleEdit if there is a newer one."""
        for correction in corrections:
            check(correction)
        with self._writing() as connection:
            self._must_exist(connection, rep_id)
            if seen is not None:
                self._must_be_at(connection, rep_id, seen)
            ids = []
            for correction in corrections:
                player = correction.subject.removeprefix("defender:")
                if player != correction.subject:
                    self._must_have_defender(connection, rep_id, player)
                ids.append(self._log(connection, rep_id, correction))
            rebuild(connection, rep_id)
        return ids

    def undo(self, rep_id: int, correction_id: int, who: str, reason: str = "", seen: int | None = None) -> int:
        """Take a correction back (the log keeps both), or bring a taken-back one again by undoing the undo. `seen` as in
        `correct_all`."""
        with self._writing() as connection:
            if seen is not None:
                self._must_be_at(connection, rep_id, seen)
            row = connection.execute("SELECT subject, field FROM correction WHERE rep_id = ? AND correction_id = ?",
                                     (rep_id, correction_id)).fetchone()
            if row is None:
                raise LibraryError(f"correction {correction_id}: not one of this rep")
            undo = Correction(who, row["subject"], row["field"], None, reason, undoes=correction_id)
            if not who.strip():
                raise ValueError("a correction needs a name: who says so?")
            undo_id = self._log(connection, rep_id, undo)
            rebuild(connection, rep_id)
        return undo_id

    def _log(self, connection: sqlite3.Connection, rep_id: int, correction: Correction) -> int:
        cursor = connection.execute(
            "INSERT INTO correction (rep_id, who, made_at, subject, field, before, after, reason, undoes)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (rep_id, correction.who.strip(), now(), correction.subject, correction.field, json.dumps(correction.before),
             json.dumps(correction.after), correction.reason, correction.undoes))
        return int(cursor.lastrowid or 0)

    def _must_exist(self, connection: sqlite3.Connection, rep_id: int) -> None:
        if not connection.execute("SELECT 1 FROM rep WHERE rep_id = ?", (rep_id,)).fetchone():
            raise LibraryError(f"rep {rep_id}: not in this library ({self.folder})")

    def _must_be_at(self, connection: sqlite3.Connection, rep_id: int, seen: int) -> None:
        newest = connection.execute(
            "SELECT coalesce(max(correction_id), 0) FROM correction WHERE rep_id = ?", (rep_id,)).fetchone()[0]
        if newest != seen:
            raise StaleEdit(f"rep {rep_id}: somebody else has corrected it meanwhile; look at it again")

    def _must_have_defender(self, connection: sqlite3.Connection, rep_id: int, player_id: str) -> None:
        known = [str(r[0]) for r in connection.execute("SELECT player_id FROM player WHERE rep_id = ?", (rep_id,))]
        if player_id not in known:
            raise LibraryError(nearest(player_id, known, "defender"))

    def corrected_boxes(self) -> list[tuple[Path, int, list[list[float]]]]:
        """(clip, frame index, boxes in px of the file) of every frame whose boxes a coach has set; the last word counts."""
        last: dict[tuple[str, int], list[list[float]]] = {}
        with self._reading() as connection:
            paths = dict(connection.execute("SELECT fingerprint, path FROM clip").fetchall())
            for row in connection.execute("SELECT DISTINCT rep_id FROM correction WHERE subject LIKE 'clip:%'").fetchall():
                for said in standing(corrections_of(connection, row[0])):
                    if said.field == "boxes":
                        last[said.subject.removeprefix("clip:"), said.after["frame_index"]] = said.after["xyxy"]
        return [(Path(paths[mark]), index, boxes) for (mark, index), boxes in sorted(last.items()) if mark in paths]

    # --- searches and the roster --------------------------------------------------------------------------------

    def save_search(self, name: str, query: str) -> None:
        """Keep a query under a name; the same name again replaces it."""
        parse(query)
        if not name.strip():
            raise ValueError("a saved search needs a name")
        with self._writing() as connection:
            connection.execute("INSERT OR REPLACE INTO saved_search VALUES (?, ?, ?)", (name.strip(), query, now()))

    def saved_searches(self) -> dict[str, str]:
        """Name -> query."""
        with self._reading() as connection:
            return dict(connection.execute("SELECT name, query FROM saved_search ORDER BY name").fetchall())

    def saved_search(self, name: str) -> str:
        """The query of this name. Raises LibraryError with the nearest names."""
        known = self.saved_searches()
        if name not in known:
            raise LibraryError(nearest(name, known, "saved search"))
        return known[name]

    def delete_search(self, name: str) -> None:
        """Forget a saved search."""
        self.saved_search(name)
        with self._writing() as connection:
            connection.execute("DELETE FROM saved_search WHERE name = ?", (name,))

    def set_roster(self, entries: Iterable[RosterEntry]) -> None:
        """Replace the roster."""
        rows = [asdict(entry) for entry in entries]
        with self._writing() as connection:
            connection.execute("DELETE FROM roster")
            insert(connection, "roster", rows)

    def roster(self) -> list[RosterEntry]:
        """Every man, by side and number."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT number, side, name, position FROM roster ORDER BY side, CAST(number AS INTEGER), number")
            return [RosterEntry(*row) for row in rows]


def _clip(row: sqlite3.Row) -> StoredClip:
    return StoredClip(
        row["clip_id"], Path(row["path"]), row["fingerprint"], row["view"], row["level"], bool(row["is_main"]), row["fps"],
        row["duration_s"], row["width_px"], row["height_px"], row["solved_share"], bool(row["yard_line_known"]),
        row["lost_reason"], row["snap_s"], json.loads(row["track_of_player"]), reading_from_json(json.loads(row["reading"])))


