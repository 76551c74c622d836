"""Shirt numbers read on film: they name men of the roster, a coach's word stands above them, and they can be forgotten."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tagger.batch.clip_bytes import clip_from_bytes, clip_to_bytes
from tagger.library import Correction, Library, RepRecord
from tagger.library.store import RosterEntry
from tests.library.made_reps import clip

READ = {"D1": "24", "O1": "88"}


@pytest.fixture
def library(tmp_path: Path):
    with Library.open(tmp_path) as opened:
        opened.set_roster([RosterEntry("24", "defense", "Invented Corner"), RosterEntry("88", "defense", "Other Man")])
        opened.save_rep(RepRecord("rep-001", (replace(clip(), number_of_player=READ),)))
        yield opened


def test_a_read_number_stands_in_the_tables_and_leads_to_the_roster_of_its_side(library: Library) -> None:
    assert library.rep(1).numbers == READ
    assert library.sql("SELECT player_id, number, roster_name FROM defenders ORDER BY player_id")[1] == [
        ("D1", "24", "Invented Corner"), ("D2", None, None)]
    assert {row[0] for row in library.sql("SELECT number FROM assignments WHERE player_id = 'D1'")[1]} == {"24"}


def test_a_coachs_number_stands_above_and_survives_a_new_tagging(library: Library) -> None:
    library.correct(1, Correction("Coach", "defender:D1", "number", "5"))
    library.save_rep(RepRecord("rep-001", (replace(clip(), number_of_player={"D1": "21"}),)))
    assert library.rep(1).numbers == {"D1": "5"}
    assert library.sql("SELECT number FROM defenders WHERE player_id = 'D1'")[1] == [("5",)]
    library.undo(1, 1, "Coach")
    assert library.rep(1).numbers == {"D1": "21"}


def test_forgetting_a_person_takes_the_number_that_was_read(library: Library) -> None:
    gone = library.forget(number="88", side="defense")
    assert (gone.roster_names, gone.reps_with_number) == (1, 0), "the 88 on film plays offense"
    gone = library.forget(number="24")
    assert (gone.roster_names, gone.reps_with_number) == (1, 1)
    assert library.rep(1).numbers == {"O1": "88"}


def test_numbers_travel_from_a_worker() -> None:
    sent = replace(clip(), number_of_player=READ)
    assert clip_from_bytes(clip_to_bytes(sent)).number_of_player == READ
