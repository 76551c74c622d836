"""Reads a roster (CSV with any usual column names): number, name, and if it says so side and position group."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tagger.football.vocabulary import SIDES
from tagger.library.csv_table import read_table
from tagger.library.store import RosterEntry

SYNONYMS: dict[str, tuple[str, ...]] = {
    "number": ("number", "no", "no.", "#", "jersey", "jersey number", "num"),
    "name": ("name", "player", "player name", "full name"),
    "side": ("side", "unit", "side of ball"),
    "position": ("position", "pos", "pos.", "group", "position group"),
}
SIDE_WORDS = {"o": "offense", "off": "offense", "offence": "offense", "d": "defense", "def": "defense", "defence": "defense"}


def read_roster(path: Path) -> list[RosterEntry]:
    """The men of a roster; without a side they are defenders. Raises ValueError with one line on a missing column, a man without
    number or name, a side that is neither, or a number given twice on a side."""
    table = read_table(path)
    columns = _columns(table[0] if table else ())
    for wanted in ("number", "name"):
        if wanted not in columns:
            raise ValueError(f"{path}: no column for the {wanted}; the first line names the columns, as "
                             "number,name,side,position")
    entries: dict[tuple[str, str], RosterEntry] = {}
    for line, row in enumerate(table[1:], start=2):
        entry = _entry(row, columns, f"{path}: line {line}")
        key = entry.number, entry.side
        if key in entries:
            raise ValueError(f"{path}: line {line}: {entry.side} {entry.number} is there already ({entries[key].name}); "
                             "numbers are given once on a side")
        entries[key] = entry
    if not entries:
        raise ValueError(f"{path}: nobody is in it")
    return list(entries.values())


def _columns(names: Sequence[str]) -> dict[str, int]:
    plain = [" ".join(name.lower().split()) for name in names]
    return {field: plain.index(word) for field, words in SYNONYMS.items() for word in reversed(words) if word in plain}


def _entry(row: Sequence[str], columns: dict[str, int], where: str) -> RosterEntry:
    value = {field: row[at].strip() for field, at in columns.items() if at < len(row)}
    number, name = value.get("number", "").lstrip("#"), value.get("name", "")
    if not number or not name:
        raise ValueError(f"{where}: wants a number and a name")
    said = value.get("side", "").lower()
    side = SIDE_WORDS.get(said, said or "defense")
    if side not in SIDES:
        raise ValueError(f"{where}: side {said!r}, wanted offense or defense")
    return RosterEntry(number, side, name, value.get("position") or None)
