"""The whole pass in a real browser (Chromium), and two coaches at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browsing import at_rest, corrections, open_rep, pause_and_step, press, said, until, until_kept
from invented import add_rep

from tagger.library.records import Correction
from tagger.library.store import Library

pytestmark = pytest.mark.slow


def test_a_whole_pass(page: Any, address: str, home: Path) -> None:
    page.goto(address)
    page.keyboard.press("j")
    assert page.evaluate("document.activeElement.textContent") == "rep-001"
    page.keyboard.press("Enter")
    page.wait_for_url("**/rep/1")
    open_rep(page, address)

    # Play, pause, step.
    press(page, "Space")
    page.wait_for_timeout(700)
    pause_and_step(page)

    # An event that was not one, a family in two keys, an assignment in three.
    press(page, "e", "x")
    said(page, 1)
    press(page, "f", "1")
    said(page, 2)
    assert page.inner_text("#family") == "Cover 1"
    press(page, "Home", "k", "j", "a", "m")
    said(page, 3)
    player, _, after = corrections(home, 1)[2]
    assert (after["assignment"], after["area"]) == ("middle-hook", "middle")
    until_kept(home, 1)

    # D6 has something else from a frame on: that makes a border, moved by dragging.
    page.click('[data-player="D6"] .name')
    press(page, "Home", *["Shift+ArrowRight"] * 4, "Shift+A", "c", "r")
    said(page, 4)
    split = corrections(home, 1)[3][2]
    assert split["area"] == "right"
    assert split["end_s"] > split["start_s"] > after["start_s"] + 1
    until_kept(home, 1)
    at_rest(page)
    edge = page.locator('[data-player="D6"] .edge').first.bounding_box()
    page.mouse.move(edge["x"] + 5, edge["y"] + 8)
    page.mouse.down()
    page.mouse.move(edge["x"] + 60, edge["y"] + 8, steps=6)
    page.mouse.up()
    said(page, 5)
    moved = corrections(home, 1)[4]
    assert moved[:2] == ("defender:D6", "assignment")
    assert moved[2]["end_s"] > split["start_s"] + 0.2

    # The snap by dragging its line.
    at_rest(page)
    with Library.open(home / "library") as library:
        found_s = library.rep(1).reading.snap_s
    snap = page.locator(".ticks .snap").bounding_box()
    page.mouse.move(snap["x"] + 12, snap["y"] + 10)
    page.mouse.down()
    page.mouse.move(snap["x"] + 44, snap["y"] + 10, steps=5)
    page.mouse.up()
    said(page, 6)
    assert corrections(home, 1)[5][:2] == ("rep", "snap_s")
    assert corrections(home, 1)[5][2] == pytest.approx(found_s + 0.2, abs=0.06)

    # What follows from the moved snap is read anew without being asked for.
    until_kept(home, 1)

    # Undo, redo.
    press(page, "u")
    said(page, 5)
    press(page, "Shift+U")
    said(page, 6)

    # Accept in one key: on to the next rep, progress counts.
    press(page, "Enter")
    page.wait_for_url("**/rep/2")
    until(page, "document.getElementById('progress-words').textContent.startsWith('1 of 3')")

    # All kept after a reload.
    open_rep(page, address, 1)
    assert page.inner_text("#family") == "Cover 1"
    assert "middle hook" in page.inner_text(f'[data-player="{player.removeprefix("defender:")}"] .piece')
    assert page.inner_text("#state") == "accepted"

    # Kept after a new tagging too.
    with Library.open(home / "library") as library:
        add_rep(library, home / "film", "rep-001", 0.99, "Cover 3 Sky", film=False)
    open_rep(page, address, 1)
    assert page.inner_text("#family") == "Cover 1"


def test_another_coach_was_faster(page: Any, address: str, home: Path) -> None:
    open_rep(page, address, 3)
    with Library.open(home / "library") as library:
        library.correct(3, Correction("Coach B", "rep", "family", "cover-4"))
    press(page, "f", "1")
    page.wait_for_selector("dialog[open] .versions")
    words = page.inner_text("dialog")
    assert "cover-1" in words
    assert "Coach B" in words
    page.get_by_role("button", name="Leave theirs").click()
    until(page, "document.getElementById('family').textContent === 'Cover 4'")
