"""A roster from a CSV: any usual column names, and one clear line for what is wrong in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tagger.library.roster_csv import read_roster
from tagger.library.store import Library, RosterEntry


def roster(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "roster.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("text", [
    "number,name,side,position\n54,Invented Man,defense,linebacker\n7,Other Man,offense,passer\n",
    "Jersey;Player;Unit;Pos\n#54;Invented Man;D;linebacker\n7;Other Man;Off;passer\n",
    "\ufeffNo.\tPlayer Name\tside of ball\tGroup\n\n54\tInvented Man\tDEF\tlinebacker\n7\tOther Man\to\tpasser\n"])  # fmt: skip
def test_a_roster_is_read_whatever_its_columns_are_called(tmp_path: Path, text: str) -> None:
    assert read_roster(roster(tmp_path, text)) == [
        RosterEntry("54", "defense", "Invented Man", "linebacker"), RosterEntry("7", "offense", "Other Man", "passer")]


@pytest.mark.parametrize(("text", "line"), [
    ("", "no column for the number"), ("number,side\n1,defense\n", "no column for the name"), ("number,name\n", "nobody"),
    ("number,name\n,Man\n", "line 2: wants a number"), ("number,name,side\n5,Man,special\n", "line 2: side 'special'"),
    ("number,name\n5,A\n5,B\n", "line 3: defense 5 is there already")])  # fmt: skip
def test_what_is_wrong_is_one_line(tmp_path: Path, text: str, line: str) -> None:
    with pytest.raises(ValueError, match=line):
        read_roster(roster(tmp_path, text))


def test_the_same_number_may_be_on_both_sides_and_a_new_roster_replaces_the_old(tmp_path: Path) -> None:
    with Library.open(tmp_path / "library") as library:
        library.set_roster(read_roster(roster(tmp_path, "no,name,side\n5,A,defense\n5,B,offense\n")))
        assert [(e.side, e.name) for e in library.roster()] == [("defense", "A"), ("offense", "B")]
        library.set_roster(read_roster(roster(tmp_path, "no,name\n9,C\n")))
        assert [e.name for e in library.roster()] == ["C"]
