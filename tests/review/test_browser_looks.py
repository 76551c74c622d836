"""Quick, whole and accessible in a real browser. The accessibility check wants axe-core's file at AXE."""

from __future__ import annotations

import os
import statistics
from pathlib import Path
from typing import Any

import pytest
from browsing import open_rep, press

pytestmark = pytest.mark.slow


SIZES = {"laptop": (1366, 768), "tablet": (1024, 768), "upright": (820, 1180), "wide": (1920, 1080)}


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


@pytest.mark.parametrize("size", SIZES)
def test_accessible_and_whole_at_every_size(browser: Any, address: str, size: str, tmp_path: Path) -> None:
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=size in ("tablet", "upright"))
    page = context.new_page()
    axe = os.environ.get("AXE")
    pictures = Path(os.environ.get("PICTURES") or tmp_path)
    for name, path in (("queue", "/"), ("rep", "/rep/3"), ("truth", "/truth"), ("guide", "/guide"), ("night", "/night")):
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
