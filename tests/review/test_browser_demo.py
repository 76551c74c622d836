"""The whole pass on the demo clips, tagged by the real tagger: queue, film, fixes, undo, accept, reload, and a new tagging."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from browsing import at_rest, corrections, open_rep, pause_and_step, press, said, until, until_kept
from click.testing import CliRunner

import demo_clips
from tagger.cli import main as deepthird
from tagger.library.store import Library

pytestmark = pytest.mark.slow
CLIPS = Path(demo_clips.__file__).parent
REPS = ("rep-001", "rep-004")


def tag(home: Path, *reps: str) -> None:
    words = ["tag", *(str(CLIPS / rep) for rep in reps), "--library", str(home / "library")]
    done = CliRunner().invoke(deepthird, words)
    assert done.exit_code == 0, done.output


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    tag(folder, *REPS)
    return folder


def family_shown(page: Any) -> str:
    return str(page.inner_text("#family"))


def test_the_whole_pass_on_the_demo_clips(page: Any, address: str, home: Path) -> None:
    page.goto(address)
    page.keyboard.press("j")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/rep/\d+"))
    rep = int(page.url.rsplit("/", 1)[1])
    open_rep(page, address, rep)
    machine = family_shown(page)

    # Play, pause, step; both views.
    press(page, "Space")
    playing = page.inner_text("#clock")
    until(page, f"document.getElementById('clock').textContent !== {json.dumps(playing)}")
    pause_and_step(page)
    press(page, "v", "v")
    until(page, "document.querySelectorAll('figure.screen:not([hidden])').length === 2")
    press(page, "v")

    # Two keys a fix: the family, and the snap three frames later.
    press(page, "f", "2" if machine != "Cover 2" else "3")
    said(page, 1)
    coachs = family_shown(page)
    assert coachs != machine
    press(page, "Home", *["ArrowRight"] * 3, "n")
    said(page, 2)
    until_kept(home, rep)
    at_rest(page)

    # From a frame on the first man has another job; the border comes to a later frame.
    press(page, "j", "Home", *["Shift+ArrowRight"] * 2, "Shift+A", "r")
    said(page, 3)
    at_rest(page)
    press(page, *["ArrowRight"] * 5, "[")
    said(page, 4)
    first, moved = corrections(home, rep)[2:]
    assert moved[:2] == first[:2]
    assert {first[2]["start_s"], first[2]["end_s"]} != {moved[2]["start_s"], moved[2]["end_s"]}
    at_rest(page)

    # Two men swapped by letter, taken back, brought back.
    press(page, "t")
    page.wait_for_selector("#mode:not([hidden])")
    press(page, "b")
    said(page, 5)
    assert corrections(home, rep)[4][1] == "swap"
    press(page, "u")
    said(page, 4)
    press(page, "Shift+U")
    said(page, 5)
    until_kept(home, rep)
    at_rest(page)
    if axe := os.environ.get("AXE"):
        page.evaluate(Path(axe).read_text())
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert [v["id"] for v in found["violations"] if v["impact"] in ("serious", "critical")] == []

    press(page, "Enter")
    until(page, f"!location.pathname.endsWith('/{rep}')")
    until(page, f"document.getElementById('progress-words').textContent === '1 of {len(REPS)} done'")

    def all_kept() -> None:
        open_rep(page, address, rep)
        assert family_shown(page) == coachs
        assert page.inner_text("#state") == "accepted"
        assert len(page.query_selector_all(".log li:not(.back)")) == 6
        at_rest(page)

    all_kept()
    with Library.open(home / "library") as library:
        name = library.rep(rep).summary.name
    tag(home, name)
    all_kept()
    until_kept(home, rep)
    with Library.open(home / "library") as library:
        stored = library.rep(rep)
    snap_s = next(c.after for c in stored.corrections if c.field == "snap_s")
    assert stored.reading.snap_s == snap_s
    assert stored.automatic.snap_s != snap_s, "what the machine says by itself is kept beside it"
