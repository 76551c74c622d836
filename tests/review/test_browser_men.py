"""Fixes on men and their formation in a real browser: tracks, numbers, boxes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browsing import corrections, open_rep, press, said, until

from tagger.library.store import Library, RosterEntry
from tagger.review.rep_data import fixed_arrays

pytestmark = pytest.mark.slow


def test_two_tracks_are_swapped_by_letter(page: Any, address: str, home: Path) -> None:
    open_rep(page, address, 2)
    press(page, "j", "t")
    page.wait_for_selector("#mode:not([hidden])")
    press(page, "b")
    said(page, 1)
    subject, field, after = corrections(home, 2)[0]
    assert (subject.split(":")[0], field) == ("clip", "swap")
    assert after["a"] == "D1"
    with Library.open(home / "library") as library:
        stored = library.rep(2)
        before = library.arrays(stored.main_clip.clip_id)
        fixed = fixed_arrays(stored, stored.main_clip, before)
    a, b = (stored.main_clip.track_of_player[after[name]] for name in ("a", "b"))
    late = before.tracks.time_s >= after["from_s"]
    assert (
        fixed.tracks.xyxy[(fixed.tracks.track_id == a) & late] == before.tracks.xyxy[(before.tracks.track_id == b) & late]
    ).all()
    press(page, "u")
    said(page, 0)


def test_a_name_of_the_roster_gives_the_number(page: Any, address: str, home: Path) -> None:
    with Library.open(home / "library") as library:
        library.set_roster([RosterEntry("54", "defense", "Invented Man", "linebacker")])
    open_rep(page, address, 2)
    press(page, "j", "#")
    page.keyboard.type("invented man")
    press(page, "Enter")
    said(page, 1)
    assert corrections(home, 2)[-1] == ("defender:D1", "number", "54")
    until(page, "document.querySelector('[aria-label=\"Chosen man\"] h2').textContent.includes('#54 Invented Man')")
    press(page, "u")
    said(page, 0)


def test_boxes_of_a_frame_are_drawn_for_training(page: Any, address: str, home: Path) -> None:
    open_rep(page, address, 2)
    canvas = page.locator("figure.screen:not([hidden]) canvas").bounding_box()
    scale = canvas["width"] / 960
    press(page, "c")
    until(page, "!document.getElementById('mode').hidden")
    page.mouse.move(canvas["x"] + 100 * scale, canvas["y"] + 100 * scale)
    page.mouse.down()
    page.mouse.move(canvas["x"] + 130 * scale, canvas["y"] + 160 * scale, steps=4)
    page.mouse.up()
    press(page, "Enter")
    said(page, 1)
    subject, field, after = corrections(home, 2)[-1]
    assert (subject.split(":")[0], field) == ("clip", "boxes")
    assert after["xyxy"][-1] == pytest.approx([100, 100, 130, 160], abs=2)
    assert len(after["xyxy"]) == 23, "everybody whom the machine saw, and the new one"
    with Library.open(home / "library") as library:
        path, frame, boxes = library.corrected_boxes()[0]
    assert (path.name, frame, boxes) == ("rep-002-sideline.mp4", after["frame_index"], after["xyxy"])

    # The same frame again: the new box is chosen by a press and taken away.
    press(page, "c")
    page.mouse.click(canvas["x"] + 115 * scale, canvas["y"] + 130 * scale)
    press(page, "Delete", "Enter")
    said(page, 2)
    assert len(corrections(home, 2)[-1][2]["xyxy"]) == 22
    press(page, "u", "u")
    said(page, 0)

    # The same by the keyboard alone, from the middle of the picture.
    press(page, "c", "ArrowLeft", *["Shift+ArrowUp"] * 6, "Space", *["ArrowRight"] * 4, *["ArrowDown"] * 6, "Space", "Enter")
    said(page, 1)
    assert corrections(home, 2)[-1][2]["xyxy"][-1] == pytest.approx([472, 30, 504, 78], abs=1)
    press(page, "u")
    said(page, 0)


def test_formation_is_fixed_in_two_keys(page: Any, address: str, home: Path) -> None:
    """The machine says 2x3, strong right, an attached end right."""
    open_rep(page, address, 3)
    fixes = (("2", "set_name", "3x1"), ("l", "strength", "left"), ("a", "features", ["attached-end-right", "bunch-left"]),
             ("i", "features", ["bunch-left"]))
    for count, (key, field, after) in enumerate(fixes, start=1):
        press(page, "o", key)
        said(page, count)
        assert corrections(home, 3)[-1] == ("rep", field, after)
    until(page, "document.querySelector('[data-fact=set_name]').textContent === '3x1, strong left, bunch-left'")
    press(page, "u", "u", "u", "u")
    said(page, 0)


def test_a_swap_is_said_of_the_view_that_is_looked_at(page: Any, address: str, home: Path) -> None:
    open_rep(page, address, 2)
    with Library.open(home / "library") as library:
        other = library.rep(2).clips[1]
    press(page, "v")
    page.wait_for_timeout(400)
    press(page, "j", "t")
    page.wait_for_selector("#mode:not([hidden])")
    press(page, "b")
    said(page, 1)
    subject, field, after = corrections(home, 2)[-1]
    assert (subject, field) == (f"clip:{other.fingerprint}", "swap")
    assert {after["a"], after["b"]} <= set(other.track_of_player)
    press(page, "v", "v", "u")
    said(page, 0)
