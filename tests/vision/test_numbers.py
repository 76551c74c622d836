"""Shirt numbers by vote, from looks made by hand: right where sure, silent where not."""

from __future__ import annotations

import numpy as np

from vision.facing import Looked
from vision.numbers import read_numbers
from vision.sights import Sight


def sight(rows: list[tuple[int, float, float]]) -> Sight:
    """One frame's boxes, each (number, probability of both its digits, readable)."""
    n = len(rows)
    tens, units = np.zeros((n, 11)), np.zeros((n, 10))
    for row, (number, p, _) in enumerate(rows):
        tens[row], units[row] = (1 - p) / 10, (1 - p) / 9
        tens[row, number // 10 if number > 9 else 10] = units[row, number % 10] = p
    return Sight(np.zeros((n, 36), np.float32), np.zeros((n, 3), np.float32), np.zeros((n, 9), np.float32),
                 np.log(tens).astype(np.float32), np.log(units).astype(np.float32),
                 np.array([readable for *_, readable in rows], np.float32), np.zeros((n, 12), np.float32))


def read(looks: list[tuple[int, float, float]], step_s: float = 0.4) -> int | None:
    """The number of one man seen so, one look a frame."""
    n = len(looks)
    owner = Looked(np.arange(n), np.zeros(n, np.int64), np.full(n, 5))
    told = read_numbers([owner], [[sight([look]) for look in looks]], [step_s * np.arange(n)])
    return told[5].number if 5 in told else None


def test_clear_looks_give_the_number_also_of_one_digit() -> None:
    for number in (1, 7, 10, 24, 40, 88, 99):
        assert read([(number, 0.97, 0.9)] * 9) == number


def test_one_look_is_not_enough() -> None:
    assert read([(24, 0.99, 1.0)]) is None
    assert read([(24, 0.99, 1.0)] * 15, step_s=0.01) is None, "looks within a moment are one"


def test_looks_that_disagree_stay_silent_and_a_doubtful_one_is_outvoted() -> None:
    assert read([(24, 0.9, 0.9), (21, 0.9, 0.9)] * 3) is None
    assert read([(24, 0.95, 0.9)] * 7 + [(21, 0.5, 0.7)] + [(24, 0.95, 0.9)] * 7) == 24


def test_a_stretch_with_another_number_is_another_man() -> None:
    assert read([(24, 0.95, 0.9)] * 20 + [(21, 0.9, 0.9)] * 3) is None
    assert read([(21, 0.6, 0.9)] * 4 + [(24, 0.95, 0.9)] * 20) is None


def test_what_cannot_be_read_does_not_vote() -> None:
    assert read([(24, 0.99, 0.2)] * 20) is None
    assert read([(24, 0.98, 0.9)] * 9 + [(63, 0.99, 0.1)] * 30) == 24


def test_two_views_vote_together() -> None:
    one = Looked(np.arange(2), np.zeros(2, np.int64), np.full(2, 5))
    looks, times = [sight([(24, 0.97, 0.9)])] * 2, 0.4 * np.arange(2)
    assert 5 not in read_numbers([one], [looks], [times])
    assert read_numbers([one, one], [looks, looks], [times, times])[5].number == 24


def test_hardly_told_digits_are_no_answer() -> None:
    rng = np.random.default_rng(1)
    assert read([(int(rng.integers(1, 100)), 0.3, 0.8) for _ in range(30)]) is None
