"""How the browser tests use the page: as a coach does, by keys and drags, and waiting for what he would wait for."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path
from typing import Any

from tagger.library.store import Library
from tagger.review.reread import is_stale

HOST = "127.0.0.1:8423"
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
PAUSED = "document.getElementById('play').textContent === 'Play' && !document.querySelector('figure:not([hidden]) video').seeking"
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
    for _ in range(600):
        with Library.open(home / "library") as library:
            stored = library.rep(rep)
        if stored.reread_upto and not is_stale(stored):
            return
        time.sleep(0.1)
    raise AssertionError("the rep was not read anew")


def until(page: Any, expression: str) -> None:
    """Wait until a JavaScript expression holds. (Playwright's own way evaluates text in the page, which its policy forbids.)"""
    for _ in range(1200):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never true: {expression}")


def press(page: Any, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)
        page.wait_for_timeout(60)


def pause_and_step(page: Any) -> None:
    """Pause the film that plays, and go a frame on."""
    press(page, "Space")
    until(page, PAUSED)
    before = page.inner_text("#clock")
    press(page, "ArrowRight")
    until(page, f"document.getElementById('clock').textContent !== {json.dumps(before)}")


def said(page: Any, count: int) -> None:
    """Wait until the log on the page has `count` rows that stand."""
    until(page, f"document.querySelectorAll('.log li:not(.back)').length === {count}")


def at_rest(page: Any) -> None:
    """Wait until nothing is being read anew."""
    until(page, "document.getElementById('rereading').hidden")
    page.wait_for_timeout(100)
