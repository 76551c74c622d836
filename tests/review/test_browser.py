"""The whole pass in a real browser (Chromium): the page is used as a coach uses it, by keys and drags.

Needs a Chromium at /usr/bin/chromium (or at DEEPTHIRD_CHROMIUM) and, for the accessibility check, axe-core's file at AXE.
"""

from __future__ import annotations

import json
import os
import statistics
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from invented import FPS, add_rep, write_film

from tagger.library.records import Correction
from tagger.library.store import Library, RosterEntry
from tagger.review.rep_data import fixed_arrays
from tagger.review.reread import is_stale
from tagger.review.serve import Listening, serve

playwright = pytest.importorskip("playwright.sync_api")
pytestmark = pytest.mark.slow

CHROMIUM = os.environ.get("DEEPTHIRD_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"laptop": (1366, 768), "tablet": (1024, 768), "upright": (820, 1180)}
READ_BLOCKS = """video => {
  const canvas = document.createElement('canvas');
  canvas.width = 96;
  canvas.height = 12;
  const context = canvas.getContext('2d', {willReadFrequently: true});
  context.drawImage(video, 0, 0, 96, 12, 0, 0, 96, 12);
  let frame = 0;
  for (let bit = 0; bit < 8; bit++) if (context.getImageData(bit * 12 + 6, 6, 1, 1).data[0] > 127) frame |= 1 << bit;
  return frame;
}"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a library of three reps whose film can be played."""
    folder = tmp_path_factory.mktemp("review")
    with Library.open(folder / "library") as library:
        for k, (confidence, call) in enumerate([(0.45, "Cover 3 Sky"), (0.7, "Cover 3"), (0.95, None)]):
            add_rep(library, folder / "film", f"rep-{k + 1:03d}", confidence, call, shift=k)
    return folder


@pytest.fixture(scope="module")
def address(home: Path) -> str:
    """A running server, as the command runs it."""
    found: list[str] = []
    listening = threading.Event()

    def ready(where: Listening) -> None:
        found.append(where.address)
        listening.set()

    threading.Thread(target=serve, args=(home / "library", 0, None, ready), daemon=True).start()
    assert listening.wait(30)
    return found[0].rstrip("/")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if not Path(CHROMIUM).exists():
        pytest.skip(f"{CHROMIUM}: no browser here; apt-get install chromium")
    with playwright.sync_playwright() as driver:
        made = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A page whose console must stay silent."""
    context = browser.new_context(viewport={"width": 1366, "height": 768})
    made = context.new_page()
    faults: list[str] = []
    made.on(
        "console",
        lambda message: (
            faults.append(message.text) if message.type in ("error", "warning") and "409" not in message.text else None
        ),
    )  # the refusal of a stale edit is told there too
    made.on("pageerror", lambda error: faults.append(str(error)))
    yield made
    context.close()
    assert not faults


def open_rep(page: Any, address: str, rep: int = 1) -> None:
    page.goto(f"{address}/rep/{rep}")
    page.evaluate("localStorage.setItem('coach', 'Coach A'); document.getElementById('who').value = 'Coach A'")
    page.wait_for_selector("#family")
    until(page, "document.querySelector('video').readyState >= 2")
    page.locator("body").press("Escape")


def corrections(home: Path, rep: int) -> list[tuple[str, str, Any]]:
    with Library.open(home / "library") as library:
        return [(c.subject, c.field, c.after) for c in library.rep(rep).corrections]


def until_kept(home: Path, rep: int) -> None:
    """Wait until the rep was read anew on the newest word."""
    for _ in range(100):
        with Library.open(home / "library") as library:
            stored = library.rep(rep)
        if stored.reread_upto and not is_stale(stored):
            return
        time.sleep(0.1)
    raise AssertionError("the rep was not read anew")


def until(page: Any, expression: str) -> None:
    """Wait until a JavaScript expression holds. (Playwright's own way evaluates text in the page, which its policy forbids.)"""
    for _ in range(200):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never true: {expression}")


def press(page: Any, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)
        page.wait_for_timeout(60)


def said(page: Any, count: int) -> None:
    """Wait until the log on the page has `count` rows that stand."""
    until(page, f"document.querySelectorAll('.log li:not(.back)').length === {count}")


def at_rest(page: Any) -> None:
    """Wait until nothing is being read anew."""
    until(page, "document.getElementById('rereading').hidden")
    page.wait_for_timeout(100)


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
    press(page, "Space")
    before = page.inner_text("#clock")
    press(page, "ArrowRight")
    until(page, f"document.getElementById('clock').textContent !== {json.dumps(before)}")

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


def test_film_and_field_show_the_same_frame(page: Any, address: str) -> None:
    open_rep(page, address, 3)
    look = f"""() => {{
        const read = {READ_BLOCKS}, video = document.querySelector('video'), plan = document.getElementById('plan');
        window.seen = [];
        const look = () => {{
            window.seen.push([read(video), Number(plan.dataset.row)]);
            video.requestVideoFrameCallback(look);
        }};
        video.requestVideoFrameCallback(look);
    }}"""
    page.evaluate(look)
    press(page, "Space")
    page.wait_for_timeout(2500)
    press(page, "Space")
    for _ in range(12):
        press(page, "ArrowLeft")
        page.wait_for_timeout(150)
    seen = page.evaluate("window.seen")
    assert len(seen) > 20
    assert max(abs(film - field) for film, field in seen) <= 1
    assert len({film for film, _ in seen[-12:]}) >= 10, "each step shows another frame"


def test_film_that_no_browser_plays_is_shown_from_its_copy(page: Any, address: str, home: Path) -> None:
    folder = home / "other"
    folder.mkdir()
    film = folder / "rep-hevc-sideline.mp4"
    write_film(film, codec="libx265")
    with Library.open(home / "library") as library:
        rep_id = add_rep(library, folder, "rep-hevc", views=1, film=False).rep_id
        mark = library.rep(rep_id).main_clip.fingerprint
    open_rep(page, address, rep_id)
    press(page, "Home", *["ArrowRight"] * 6)
    page.wait_for_timeout(500)
    film_frame, field_row = page.evaluate(
        f"[({READ_BLOCKS})(document.querySelector('video')), Number(document.getElementById('plan').dataset.row)]"
    )
    assert film_frame == field_row > 6
    assert [path.stem for path in (home / "library" / "review-copies").iterdir()] == [mark]
    with Library.open(home / "library") as library:
        library.forget(rep_ids=[rep_id])


def test_both_views_stay_in_step(page: Any, address: str) -> None:
    open_rep(page, address, 3)
    press(page, "v", "v")
    page.wait_for_timeout(300)
    press(page, "Home", "Space")
    apart = []
    for _ in range(10):
        page.wait_for_timeout(200)
        apart.append(
            page.evaluate(
                "(() => { const [a, b] = document.querySelectorAll('video'); return Math.abs(a.currentTime - b.currentTime); })()"
            )
        )
    press(page, "Space")
    assert statistics.median(apart) <= 1 / FPS
    page.wait_for_timeout(600)
    press(page, "ArrowRight", "ArrowRight")
    page.wait_for_timeout(500)
    a, b = (page.evaluate(f"({READ_BLOCKS})(document.querySelectorAll('video')[{k}])") for k in (0, 1))
    assert a == b


def test_a_key_is_answered_at_once(page: Any, address: str, record_property: Any) -> None:
    open_rep(page, address, 3)
    page.evaluate("""() => {
        window.waits = [];
        addEventListener('keydown', () => {
            const pressed = performance.now();
            requestAnimationFrame(() => {
                const painted = new MessageChannel();
                painted.port1.onmessage = () => window.waits.push(performance.now() - pressed);
                painted.port2.postMessage(0);
            });
        }, true);
    }""")
    for _ in range(10):
        press(page, "ArrowRight", "j", "1", "3")
    waits = page.evaluate("window.waits")
    record_property("median_key_to_repaint_ms", statistics.median(waits))
    print(f"key to repaint: median {statistics.median(waits):.0f} ms of {len(waits)}")
    assert len(waits) == 40


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


@pytest.mark.parametrize("size", SIZES)
def test_accessible_and_whole_at_every_size(browser: Any, address: str, size: str, tmp_path: Path) -> None:
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=size != "laptop")
    page = context.new_page()
    axe = os.environ.get("AXE")
    pictures = Path(os.environ.get("PICTURES") or tmp_path)
    for name, path in (("queue", "/"), ("rep", "/rep/3"), ("truth", "/truth"), ("guide", "/guide")):
        page.goto(address + path)
        page.wait_for_timeout(1500 if name == "rep" else 200)
        if name == "rep":
            press(page, "j", "j")
        page.screenshot(path=str(pictures / f"{name}-{size}.png"))
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{name} is wider than the screen"
        if axe:
            page.evaluate(Path(axe).read_text())
            found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
            serious = [
                (v["id"], v["nodes"][0]["html"][:200], v["nodes"][0]["failureSummary"][:300])
                for v in found["violations"]
                if v["impact"] in ("serious", "critical")
            ]
            assert not serious, serious
    context.close()
