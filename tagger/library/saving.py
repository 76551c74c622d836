"""Puts one tagged rep into the library: a new one, or new automatic tags for film that is there already."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tagger.football.types import Reading
from tagger.library.arrays import pack, unpack_tracks
from tagger.library.effective import effective
from tagger.library.identity import new_names, rename, same_people
from tagger.library.reading_json import family_of, reading_from_json, reading_to_json, situation_from_json, situation_to_json
from tagger.library.records import ClipRecord, Correction, RepRecord, SavedRep
from tagger.library.rows import insert, write_effective


def now() -> str:
    """The time of day as ISO 8601 in UTC, to the microsecond."""
    return datetime.now(UTC).isoformat()


def save(connection: sqlite3.Connection, record: RepRecord) -> SavedRep:
    """Write the rep inside the caller's transaction. Corrections of the same film stay and are laid over the new tags."""
    rep_id = _rep_of(connection, record)
    replaced = rep_id is not None
    if rep_id is None:
        cursor = connection.execute(
            "INSERT INTO rep (name, folder, tagged_at, family, family_confidence, family_auto, family_source)"
            " VALUES (?, ?, ?, 'unknown', 0, 'unknown', 'auto')", (_free_name(connection, record), _folder(record), now()))
        rep_id = int(cursor.lastrowid or 0)
    else:
        connection.execute("UPDATE rep SET tagged_at = ? WHERE rep_id = ?", (now(), rep_id))
    if replaced and connection.execute("SELECT 1 FROM correction WHERE rep_id = ?", (rep_id,)).fetchone():
        record = _with_old_names(connection, record)
    for clip in record.clips:
        _save_clip(connection, rep_id, clip)
    main = _worthiest(connection, rep_id) if record.main is None else record.clips[record.main].fingerprint
    connection.execute("UPDATE clip SET is_main = (fingerprint = ?) WHERE rep_id = ?", (main, rep_id))
    reading, path = connection.execute("SELECT reading, path FROM clip WHERE fingerprint = ?", (main,)).fetchone()
    connection.execute("UPDATE rep SET folder = ? WHERE rep_id = ?", (str(Path(path).parent), rep_id))
    connection.execute("INSERT OR REPLACE INTO rep_reading VALUES (?, ?, ?)",
                       (rep_id, reading, json.dumps(situation_to_json(record.situation))))
    connection.execute("DELETE FROM reread WHERE rep_id = ?", (rep_id,))
    rebuild(connection, rep_id)
    name = connection.execute("SELECT name FROM rep WHERE rep_id = ?", (rep_id,)).fetchone()[0]
    return SavedRep(rep_id, name, replaced)


def rebuild(connection: sqlite3.Connection, rep_id: int) -> None:
    """Write the rep's rows anew from its automatic reading and its corrections."""
    reading, situation = connection.execute("SELECT reading, situation FROM rep_reading WHERE rep_id = ?", (rep_id,)).fetchone()
    automatic = reading_from_json(json.loads(reading))
    read = reread_of(connection, rep_id)[0] or automatic
    tracks, sides, numbers = connection.execute(
        "SELECT track_of_player, side_of_player, number_of_player FROM clip WHERE rep_id = ? AND is_main", (rep_id,)).fetchone()
    state = effective(read, situation_from_json(json.loads(situation)), corrections_of(connection, rep_id), json.loads(numbers))
    write_effective(connection, rep_id, state, automatic, json.loads(sides), json.loads(tracks))


def reread_of(connection: sqlite3.Connection, rep_id: int) -> tuple[Reading | None, int, Any]:
    """(what was read anew on the coach's word, the newest correction that was read in, how the other view then lay on the main
    one), (None, 0, None) if nothing was."""
    row = connection.execute("SELECT reading, upto, laid FROM reread WHERE rep_id = ?", (rep_id,)).fetchone()
    return (None, 0, None) if row is None else (reading_from_json(json.loads(row[0])), int(row[1]), _json(row[2]))


def save_reread(connection: sqlite3.Connection, rep_id: int, reading: Reading, upto: int, laid: Any) -> None:
    """Keep a reading on the coach's word beside the blind one, and write the rep's rows from it."""
    connection.execute("INSERT OR REPLACE INTO reread (rep_id, upto, reading, laid) VALUES (?, ?, ?, ?)",
                       (rep_id, upto, json.dumps(reading_to_json(reading)), None if laid is None else json.dumps(laid)))
    rebuild(connection, rep_id)


def corrections_of(connection: sqlite3.Connection, rep_id: int) -> list[Correction]:
    """The rep's log, oldest first."""
    rows = connection.execute("SELECT * FROM correction WHERE rep_id = ? ORDER BY correction_id", (rep_id,))
    return [Correction(row["who"], row["subject"], row["field"], _json(row["after"]), row["reason"], _json(row["before"]),
                       row["made_at"], row["correction_id"], row["undoes"]) for row in rows]


def _json(text: str | None) -> Any:
    return None if text is None else json.loads(text)


def _rep_of(connection: sqlite3.Connection, record: RepRecord) -> int | None:
    """The rep that holds this film already. Two reps whose clips turn out to be views of one are joined."""
    prints = [clip.fingerprint for clip in record.clips] + list(record.views_of)
    marks = ", ".join("?" * len(prints))
    found = [row[0] for row in connection.execute(
        "SELECT rep_id, (SELECT count(*) FROM correction k WHERE k.rep_id = c.rep_id) AS said FROM clip c"
        f" WHERE fingerprint IN ({marks}) GROUP BY rep_id ORDER BY said DESC, rep_id", prints)]
    for other in found[1:]:
        connection.execute("UPDATE correction SET rep_id = ? WHERE rep_id = ?", (found[0], other))
        connection.execute("UPDATE clip SET rep_id = ? WHERE rep_id = ?", (found[0], other))
        connection.execute("DELETE FROM rep WHERE rep_id = ?", (other,))
    for clip in record.clips:  # other film under the same path: the file was overwritten, its old rep can never be shown again
        connection.execute(
            "DELETE FROM rep WHERE rep_id IN (SELECT rep_id FROM clip WHERE path = ? AND fingerprint != ?)"
            " AND NOT EXISTS (SELECT 1 FROM correction k WHERE k.rep_id = rep.rep_id) AND rep_id IS NOT ?",
            (str(clip.path), clip.fingerprint, found[0] if found else None))
        if found:
            connection.execute("DELETE FROM clip WHERE path = ? AND fingerprint != ? AND rep_id = ?",
                               (str(clip.path), clip.fingerprint, found[0]))
    return found[0] if found else None


def _folder(record: RepRecord) -> str:
    return str(record.clips[record.main or 0].path.parent)


def _worthiest(connection: sqlite3.Connection, rep_id: int) -> str:
    """Fingerprint of the clip whose reading stands for the rep; the order in which the clips came does not matter."""
    rows = connection.execute(
        "SELECT fingerprint, reading, solved_share FROM clip WHERE rep_id = ? ORDER BY view DESC, fingerprint", (rep_id,))
    return str(max(rows, key=lambda row: worth(reading_from_json(json.loads(row["reading"])),
                                               row["solved_share"]))["fingerprint"])


def worth(reading: Reading, solved_share: float) -> tuple[bool, float, float, int]:
    """What makes one view's reading better than another's: it found the play, it is sure of the family, it saw much of the
    field and left less open."""
    told = sum(len(defender.intervals) > 0 for defender in reading.defenders)
    return (reading.snap_s is not None, round(family_of(reading)[1] + told / 11, 6), round(solved_share, 1),
            -len(reading.abstained))


def _free_name(connection: sqlite3.Connection, record: RepRecord) -> str:
    """The rep's name; where another rep has it, with its folder before it, then with a number behind it."""
    with_folder = f"{Path(_folder(record)).name}/{record.name}"
    candidates = [record.name, with_folder]
    for number in range(2, 1_000_000):
        for name in candidates:
            if not connection.execute("SELECT 1 FROM rep WHERE name = ?", (name,)).fetchone():
                return name
        candidates = [f"{with_folder}-{number}"]
    raise ValueError(f"{record.name}: the name is taken a million times; rename the clip")


def _with_old_names(connection: sqlite3.Connection, record: RepRecord) -> RepRecord:
    """The record with each person under the id that corrections know him by."""
    renamed = list(record.clips)
    for index, clip in enumerate(record.clips):
        row = connection.execute(
            "SELECT c.track_of_player, a.npz FROM clip c JOIN clip_arrays a USING (clip_id)"
            " WHERE c.fingerprint = ? AND a.kind = 'tracks'", (clip.fingerprint,)).fetchone()
        if row is not None:
            old_ids: Mapping[str, int] = json.loads(row[0])
            same = same_people(unpack_tracks(row[1]), old_ids, clip.tracks, clip.track_of_player)
            names = new_names(clip.track_of_player, same, old_ids)
            renamed[index] = replace(
                clip, reading=rename(clip.reading, names),
                track_of_player={names.get(p, p): t for p, t in clip.track_of_player.items()},
                side_of_player={names.get(p, p): s for p, s in clip.side_of_player.items()},
                number_of_player={names.get(p, p): n for p, n in clip.number_of_player.items()})
    return replace(record, clips=tuple(renamed))


def _save_clip(connection: sqlite3.Connection, rep_id: int, clip: ClipRecord) -> None:
    connection.execute("DELETE FROM clip WHERE fingerprint = ?", (clip.fingerprint,))
    view, reading = clip.field_view, clip.reading
    insert(connection, "clip", [{
        "rep_id": rep_id, "fingerprint": clip.fingerprint, "path": str(clip.path), "view": view.view, "level": view.level,
        "is_main": 0, "fps": clip.fps, "duration_s": clip.duration_s, "width_px": clip.width_px,
        "height_px": clip.height_px, "frame_count": clip.frame_count, "size_bytes": clip.size_bytes,
        "solved_share": view.solved_share, "yard_line_known": int(view.yard_line_known), "lost_reason": view.reason,
        "snap_s": reading.snap_s, "track_of_player": json.dumps(dict(clip.track_of_player)),
        "side_of_player": json.dumps(dict(clip.side_of_player)), "reading": json.dumps(reading_to_json(reading)),
        "seconds": json.dumps(dict(clip.seconds)), "number_of_player": json.dumps(dict(clip.number_of_player))}])
    clip_id = int(connection.execute("SELECT clip_id FROM clip WHERE fingerprint = ?", (clip.fingerprint,)).fetchone()[0])
    packed = {"tracks": pack(clip.tracks), "field_tracks": pack(clip.field_tracks), "field_view": pack(view)}
    insert(connection, "clip_arrays", [{"clip_id": clip_id, "kind": kind, "npz": npz} for kind, npz in packed.items()])


def save_reading(connection: sqlite3.Connection, rep_id: int, reading: Reading) -> None:
    """New automatic tags from the kept tracks (no pixels): the rep's and its main clip's."""
    text = json.dumps(reading_to_json(reading))
    connection.execute("UPDATE rep_reading SET reading = ? WHERE rep_id = ?", (text, rep_id))
    connection.execute("UPDATE clip SET reading = ?, snap_s = ? WHERE rep_id = ? AND is_main", (text, reading.snap_s, rep_id))
    connection.execute("UPDATE rep SET tagged_at = ? WHERE rep_id = ?", (now(), rep_id))
    rebuild(connection, rep_id)
