"""A lost field found in a real browser: marks named and clicked, by the keyboard alone too."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browsing import corrections, open_rep, press, said, until, until_kept
from invented import SIZE, add_rep, image_from_field

from homography.marks import parse_mark
from homography.types import LOST, SOLVED, CameraPath, FieldView, apply_homography
from homography.view import plane_fits, to_image
from tagger.library.store import Library
from tagger.review.rep_data import camera_data

pytestmark = pytest.mark.slow
MARKS = ("left 30 near hash", "left 30 far hash", "left 40 far hash", "left 40 near hash")


@pytest.fixture
def lost(home: Path) -> int:
    """A rep of the test's own without a field."""
    with Library.open(home / "library") as library:
        number = library.count()
        return add_rep(library, home / "lost", f"rep-lost-{number}", views=1, shift=90 + number, lost=True).rep_id


def field_found(home: Path, rep: int, clicks: Any) -> FieldView:
    """Wait for the field that the clicks gave: the film is watched again for it."""
    for _ in range(600):
        with Library.open(home / "library") as library:
            view = library.clicked_fields.find(library.rep(rep).main_clip.clip_id, clicks)
        if view is not None:
            return view
        time.sleep(0.2)
    raise AssertionError("no field was found")


def clicked_frame(page: Any) -> int:
    return int(page.inner_text("#clock").split()[0].replace(".", "")) * 25 // 100


def place_of(mark: str, frame: int) -> np.ndarray:
    return apply_homography(image_from_field(frame), np.array([parse_mark(mark).xy_yd("college")]))[0]


def test_four_marks_by_mouse_and_keyboard_find_the_field(page: Any, address: str, home: Path, lost: int) -> None:
    open_rep(page, address, lost)
    press(page, "m")
    page.wait_for_selector("dialog[open] #mark-line")
    page.keyboard.type("left 30")
    press(page, "Tab")
    page.keyboard.type("near hash")
    press(page, "Enter")
    until(page, "!document.getElementById('mode').hidden")
    frame = clicked_frame(page)
    canvas = page.locator("figure.screen:not([hidden]) canvas").bounding_box()
    scale = canvas["width"] / SIZE[0]
    for mark in MARKS[:3]:
        assert mark.rsplit(" ", 2)[0] in page.inner_text("#mode"), "the next mark is proposed"
        x, y = place_of(mark, frame) * scale
        page.mouse.click(canvas["x"] + x, canvas["y"] + y)
        page.wait_for_timeout(80)

    # The last one by arrows alone: from the last click, in steps of 8 and of 1 px.
    from_x, from_y = np.round(place_of(MARKS[2], frame) * scale) / scale
    to_x, to_y = place_of(MARKS[3], frame)
    for delta, keys in ((to_x - from_x, ("ArrowLeft", "ArrowRight")), (to_y - from_y, ("ArrowUp", "ArrowDown"))):
        key = keys[int(delta > 0)]
        press(page, *[key] * int(abs(delta) // 8), *[f"Control+{key}"] * round(abs(delta) % 8))
    press(page, "Space")
    assert "4 clicked" in page.inner_text("#mode")
    press(page, "Enter")
    said(page, 1)
    subject, field, after = corrections(home, lost)[-1]
    assert (subject.split(":")[0], field, [one["mark"] for one in after]) == ("clip", "anchors", list(MARKS))
    for one in after:
        assert one["image_xy_px"] == pytest.approx(place_of(one["mark"], one["frame_index"]), abs=2.5)

    view = field_found(home, lost, after)
    assert (view.status != LOST).mean() > 0.9
    spots = np.stack(np.meshgrid(np.arange(30.0, 66.0, 5.0), np.linspace(8.0, 45.0, 5)), axis=-1).reshape(-1, 2)
    for row in np.flatnonzero(view.status != LOST)[::30]:
        px = apply_homography(image_from_field(int(view.frame_index[row])), spots)
        off = np.linalg.norm(apply_homography(view.field_from_image[row], px) - spots, axis=1)
        assert np.median(off) < 0.5
    until_kept(home, lost)
    until(page, "document.querySelectorAll('.lane').length >= 9")
    with Library.open(home / "library") as library:
        assert library.rep(lost).automatic.snap_s is None


def test_clicks_that_contradict_each_other_stay_for_mending(page: Any, address: str, home: Path, lost: int) -> None:
    open_rep(page, address, lost)
    before = len(corrections(home, lost))
    page.keyboard.press("Shift+M")
    page.wait_for_selector("dialog[open] #mark-line")
    press(page, "Enter")
    until(page, "!document.getElementById('mode').hidden")
    canvas = page.locator("figure.screen:not([hidden]) canvas").bounding_box()
    for x, y in ((100, 100), (400, 120), (120, 200), (130, 90)):
        page.mouse.click(canvas["x"] + x, canvas["y"] + y)
        page.wait_for_timeout(60)
    press(page, "Enter")
    until(page, "document.getElementById('notice').textContent.includes('contradict each other')")
    assert page.inner_text("#mode").startswith("4 clicked")
    assert len(corrections(home, lost)) == before
    press(page, "Escape")


def test_the_ball_is_set_by_the_keyboard(page: Any, address: str, home: Path) -> None:
    open_rep(page, address, 3)
    frame = clicked_frame(page)
    press(page, "q", *["Shift+ArrowDown"] * 2, "ArrowLeft")
    press(page, "Space")
    said(page, 1)
    subject, field, after = corrections(home, 3)[-1]
    spot = np.array([SIZE[0] / 2 - 8, SIZE[1] / 2 + 80])
    assert (subject, field) == ("rep", "ball_xy_yd")
    assert after == pytest.approx(apply_homography(np.linalg.inv(image_from_field(frame)), spot[None])[0], abs=0.05)
    press(page, "u")
    said(page, 0)


def test_the_page_knows_that_the_turf_is_crowned(page: Any, address: str) -> None:
    path = CameraPath(np.array([58.0, -30.0, 12.0]), *(np.full(1, v) for v in (1.45, 0.25, 0.01, 1500.0)), distortion=-0.02,
                      crown_yd=0.4, bulge_yd=0.3)
    view = FieldView(np.zeros(1, dtype=int), plane_fits(path, SIZE), np.full(1, 0.05), np.full(1, SOLVED), "sideline", "college",
                     True, path, SIZE)
    spots = np.array([[55.0, 4.0], [62.0, 20.0], [58.0, 27.0], [66.0, 49.0]])
    page.goto(address)
    seen, again = page.evaluate("""async ([view, spots]) => {
      const {toPicture, toField} = await import('/static/geometry.js');
      const seen = spots.map(([x, y]) => toPicture(view, 0, x, y));
      return [seen, seen.map(([u, v]) => toField(view, 0, u, v))];
    }""", [{**camera_data(view), "size_px": list(SIZE)}, spots.tolist()])
    assert np.array(seen) == pytest.approx(to_image(view, 0, spots), abs=0.1)
    assert np.array(again) == pytest.approx(spots, abs=0.01)
