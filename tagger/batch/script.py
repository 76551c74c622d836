"""Reads a practice script (CSV with any column names) and finds each rep's row in it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tagger.football.types import Situation
from tagger.library.csv_table import read_table
from tagger.library.landing import SCRIPT

SYNONYMS: dict[str, tuple[str, ...]] = {
    "rep": ("rep", "rep number", "rep no", "play", "play number", "play no", "clip", "clip name", "file", "file name", "filename",
            "video", "name", "number", "no", "#", "id"),
    "down": ("down", "dn", "d"),
    "distance_yd": ("distance", "distance yd", "dist", "togo", "to go", "yards to go", "ytg"),
    "hash": ("hash", "hash mark", "ball hash", "ball on hash", "hash position"),
    "period": ("period", "drill", "segment", "practice period"),
    "personnel": ("personnel", "pers", "off personnel", "offensive personnel", "grouping"),
    "call": ("call", "defensive call", "defense call", "def call", "coverage", "coverage call", "called coverage", "cov"),
    "yards_to_goal": ("yards to goal", "ydstogoal", "to goal", "yard line to goal", "goal distance"),
}
HASHES = {"l": "left", "left": "left", "m": "middle", "mid": "middle", "middle": "middle", "c": "middle", "center": "middle",
          "r": "right", "right": "right"}
PERIODS = {"team": "team", "7v7": "seven-on-seven", "7 on 7": "seven-on-seven", "7on7": "seven-on-seven",
           "skelly": "seven-on-seven", "seven on seven": "seven-on-seven", "pass skel": "seven-on-seven", "drill": "drill",
           "indy": "drill"}


@dataclass(frozen=True)
class Script:
    """The rows of one script, in order: (what the rep's column says, the situation)."""

    path: Path
    rows: tuple[tuple[str, Situation], ...]

    def situation_of(self, rep_name: str) -> Situation | None:
        """The row that speaks of this rep: by its name, else by the number at the end of it."""
        wanted = _plain(rep_name)
        for said, situation in self.rows:
            if said and _plain(Path(said).stem) == wanted:
                return situation
        number = re.search(r"(\d+)\D*$", rep_name)
        for said, situation in self.rows if number else ():
            if said.isdigit() and number and int(said) == int(number[1]):
                return situation
        return None


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[_\W]+", " ", text.lower()).split()) or text.strip()


def read_script(path: Path) -> Script:
    """Raises ValueError with one line if the file has no column that is understood, or a value makes no sense."""
    table = read_table(path)
    if len(table) < 2:
        raise ValueError(f"{path}: no rows; a script has a line of column names and a line for each rep")
    columns = map_columns(table[0])
    if not set(columns.values()) - {"rep"}:
        raise ValueError(f"{path}: no column is understood among {', '.join(table[0])}; name them as {', '.join(SYNONYMS)}")
    rows = []
    for number, cells in enumerate(table[1:], start=1):
        values = {columns[i]: cell.strip() for i, cell in enumerate(cells) if i in columns and cell.strip()}
        rep = values.pop("rep", str(number) if "rep" not in columns.values() else "")
        rows.append((rep, Situation(**{name: _value(path, number, name, cell) for name, cell in values.items()})))
    return Script(path, tuple(rows))


def map_columns(names: Sequence[str]) -> dict[int, str]:
    """Column number -> field, by obvious synonyms; the first column that fits a field has it."""
    found: dict[int, str] = {}
    for field, words in SYNONYMS.items():
        plain = [_plain(name) for name in names]
        for word in words:
            if word in plain and plain.index(word) not in found:
                found[plain.index(word)] = field
                break
    return found


def _value(path: Path, row: int, name: str, cell: str) -> Any:
    readers: Mapping[str, Callable[[str], Any]] = {
        "down": lambda text: _whole(text, 1, 4), "distance_yd": _yards, "yards_to_goal": _yards,
        "hash": lambda text: HASHES[text.lower()],
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
