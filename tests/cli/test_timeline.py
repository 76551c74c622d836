"""The lanes of `show`, cell by cell."""

from __future__ import annotations

from tagger.cli.show import lane, ruler


def test_pieces_begin_and_end_where_they_should() -> None:
    assert lane([(0.0, 5.0, "deep"), (5.0, 10.0, "man")], 0.0, 10.0, 20) == "|deep-----|man------"


def test_a_gap_stays_empty() -> None:
    assert lane([(0.0, 2.0, "a"), (6.0, 8.0, "b")], 0.0, 10.0, 10) == "|a    |b"


def test_a_word_is_cut_where_the_next_begins() -> None:
    assert lane([(0.0, 2.0, "deep-third"), (2.0, 10.0, "man")], 0.0, 10.0, 20) == "|dee|man------------"


def test_a_moment_is_at_least_one_cell_and_nothing_runs_over() -> None:
    assert lane([(4.99, 5.0, "x")], 0.0, 10.0, 10) == "     |"
    assert len(lane([(9.99, 10.0, "x"), (-5.0, 20.0, "y")], 0.0, 10.0, 10)) <= 10


def test_the_ruler_counts_from_the_snap() -> None:
    assert ruler(1.0, 4.0, 2.0, 30) == "-1        snap      +1"
    assert ruler(0.0, 2.0, None, 20) == "0 s       1 s"
