"""Reads a practice script (CSV with any column names) and finds each rep's row in it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from tagger.batch.clock import onwards, seconds_of
from tagger.football.types import Situation
from tagger.library.csv_table import read_table
from tagger.library.landing import SCRIPT

COLUMNS_FILE = "script-columns.json"
"""In the library's folder: the club's own column names, {"Cov Called": "call"}."""

SYNONYMS: dict[str, tuple[str, ...]] = {
    "rep": ("rep", "rep number", "rep no", "play", "play number", "play no", "clip", "clip name", "file", "file name", "filename",
            "video", "name", "number", "no", "#", "id"),
    "down": ("down", "dn", "d"),
    "distance_yd": ("distance", "distance yd", "dist", "togo", "to go", "yards to go", "ytg"),
    "hash": ("hash", "hash mark", "ball hash", "ball on hash", "hash position"),
    "period": ("period", "drill", "segment", "practice period"),
    "personnel": ("personnel", "pers", "off personnel", "offensive personnel", "grouping"),
    "call": ("call", "defensive call", "defense call", "def call", "coverage", "coverage call", "called coverage", "cov"),
    "time": ("time", "clock", "time of day", "start", "start time", "started", "at", "clock time", "practice clock"),
    "yards_to_goal": ("yards to goal", "ydstogoal", "to goal", "yard line to goal", "goal distance"),
}
HASHES = {"l": "left", "left": "left", "m": "middle", "mid": "middle", "middle": "middle", "c": "middle", "center": "middle",
          "r": "right", "right": "right"}
PERIODS = {"team": "team", "7v7": "seven-on-seven", "7 on 7": "seven-on-seven", "7on7": "seven-on-seven",
           "skelly": "seven-on-seven", "seven on seven": "seven-on-seven", "pass skel": "seven-on-seven", "drill": "drill",
           "indy": "drill"}


@dataclass(frozen=True)
class Script:
    """The rows of one script, in order: (what the rep's column says, the situation); `times_s`: when a row's rep was run, on the
    script's clock, for the rows that tell."""

    path: Path
    rows: tuple[tuple[str, Situation], ...]
    times_s: Mapping[str, float]

    def situation_of(self, rep_name: str) -> Situation | None:
        """What the row that speaks of this rep says; None if there is none."""
        row = self.row_named(rep_name) or self.row_numbered(rep_name)
        return None if row is None else next(situation for said, situation in self.rows if said == row)

    def row_named(self, rep_name: str) -> str | None:
        """What the rep's column says in the row that has this rep's name."""
        wanted = _plain(rep_name)
        return next((said for said, _ in self.rows if said and _plain(Path(said).stem) == wanted), None)

    def row_numbered(self, rep_name: str) -> str | None:
        """What the rep's column says in the row that has the number at the end of this rep's name."""
        number = re.search(r"(\d+)\D*$", rep_name)
        for said, _ in self.rows if number else ():
            if said.isdigit() and number and int(said) == int(number[1]):
                return said
        return None


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[_\W]+", " ", text.lower()).split()) or text.strip()


def read_script(path: Path, own: Mapping[str, str] | None = None) -> Script:
    """A script's rows; `own` are a club's names of columns with the field of each. Raises ValueError with one line if the file
    has no column that is understood, or a value makes no sense."""
    table = read_table(path)
    if len(table) < 2:
        raise ValueError(f"{path}: no rows; a script has a line of column names and a line for each rep")
    columns = map_columns(table[0], own or {})
    if not set(columns.values()) - {"rep"}:
        raise ValueError(f"{path}: no column is understood among {', '.join(table[0])}; name them as {', '.join(SYNONYMS)}")
    rows, times_s = [], dict[str, float]()
    for number, cells in enumerate(table[1:], start=1):
        values = {columns[i]: cell.strip() for i, cell in enumerate(cells) if i in columns and cell.strip()}
        rep = values.pop("rep", str(number) if "rep" not in columns.values() else "")
        told = {name: _value(path, number, name, cell) for name, cell in values.items()}
        if "time" in told:
            times_s.setdefault(rep, told.pop("time"))
        rows.append((rep, Situation(**told)))
    return Script(path, tuple(rows), dict(zip(times_s, onwards(list(times_s.values())), strict=True)))


def map_columns(names: Sequence[str], own: Mapping[str, str] = MappingProxyType({})) -> dict[int, str]:
    """Column number -> field, by a club's `own` names, else by obvious synonyms; the first column that fits a field has it."""
    plain = [_plain(name) for name in names]
    given = {_plain(name): field for name, field in own.items()}
    found = {i: given[name] for i, name in enumerate(plain) if name in given}
    for field, words in SYNONYMS.items():
        if field in found.values():
            continue
        for word in words:
            if word in plain and plain.index(word) not in found:
                found[plain.index(word)] = field
                break
    return found


def parse_columns(words: Sequence[str]) -> dict[str, str]:
    """Column names with their fields, from words like "call=Cov Called". Raises ValueError with one line for another form."""
    found = {}
    for word in words:
        field, _, name = word.partition("=")
        if field.strip() not in SYNONYMS or not name.strip():
            raise ValueError(f"{word!r}: wanted FIELD=COLUMN, FIELD one of {', '.join(SYNONYMS)}")
        found[name.strip()] = field.strip()
    return found


def own_columns(library: Path, added: Mapping[str, str] = MappingProxyType({})) -> dict[str, str]:
    """The club's column names kept in a library, `added` ones first kept there too. Raises ValueError for a broken file."""
    path = library / COLUMNS_FILE
    try:
        kept = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}
        if not isinstance(kept, dict) or not set(kept.values()) <= set(SYNONYMS):
            raise ValueError
    except ValueError:
        raise ValueError(f"{path}: no list of column names any more; correct it, or delete it and give --column again") from None
    # A field has one column: the name given last.
    columns = {name: field for name, field in kept.items() if field not in added.values()} | dict(added)
    if columns != kept:
        library.mkdir(parents=True, exist_ok=True)
        written = path.with_suffix(".new")
        written.write_text(json.dumps(columns, ensure_ascii=False, indent=1), encoding="utf-8")
        written.replace(path)
    return columns


def _value(path: Path, row: int, name: str, cell: str) -> Any:
    readers: Mapping[str, Callable[[str], Any]] = {
        "down": lambda text: _whole(text, 1, 4), "distance_yd": _yards, "yards_to_goal": _yards,
        "hash": lambda text: HASHES[text.lower()], "time": seconds_of,
        "period": lambda text: PERIODS.get(_plain(text), _plain(text).replace(" ", "-")),
    }
    try:
        return readers.get(name, str)(cell)
    except (ValueError, KeyError):
        raise ValueError(f"{path}: row {row}, {name}: {cell!r} is not understood; correct it or leave it empty") from None


def _whole(text: str, low: int, high: int) -> int:
    number = int(re.sub(r"(st|nd|rd|th)$", "", text.lower()))
    if not low <= number <= high:
        raise ValueError
    return number


def _yards(text: str) -> float:
    yards = float(text)
    if not 0 <= yards <= 100:
        raise ValueError
    return yards


def script_near(clip: Path) -> Path | None:
    """The practice-script.csv that lies beside a clip or one folder above."""
    for folder in (clip.parent, clip.parent.parent):
        if (folder / SCRIPT).is_file():
            return folder / SCRIPT
    return None
