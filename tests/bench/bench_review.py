"""How quick the review page is with many reps in the library: the server's answers, and what a coach waits for in the browser.

    python tests/bench/bench_review.py --reps 5000 --rounds 3

Medians, and beside them the same with ten reps in the library as the baseline: what grows with the library shows in the ratio.
In the browser (Debian's chromium, playwright): from a key to the repaint it causes; from Page Down to the next rep, painted and
with its film's first frame on the screen; and how many frames film and field are apart, told by the film itself, which shows its
frame number (requestVideoFrameCallback). Each round starts the browser anew; the machine's load stands beside its figures.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from browsing import ARGUMENTS, CHROMIUM, READ_BLOCKS, open_rep, until
from invented import add_rep, many_reps
from starlette.testclient import TestClient

from tagger.library.queue_order import review_queue
from tagger.library.store import Library
from tagger.review.app import create_app
from tagger.review.safety import Door
from tagger.review.serve import Listening, serve

HOST = "127.0.0.1:8423"
FILMED = 8
"""Reps with film in both views; they are the most doubtful ones, so that the queue begins with them."""
DOUBTFUL = 7 / 17
"""Of three families the likeliest is then as little likely as an invented reading can have it."""
LOOK_MS = 1500
"""A coach looks at a rep at least so long before he goes on; meanwhile the next one is fetched."""
WATCH = """() => {
    window.waits = [];
    const painted = (then) => requestAnimationFrame(() => {
        const channel = new MessageChannel();
        channel.port1.onmessage = then;
        channel.port2.postMessage(0);
    });
    addEventListener('keydown', (event) => {
        const pressed = event.timeStamp, was = document.title, key = event.key;
        if (!key.startsWith('Page') && key !== 'Enter') {
            painted(() => waits.push(['key', performance.now() - pressed]));
            return;
        }
        const look = () => {
            if (document.title === was) { requestAnimationFrame(look); return; }
            const name = key === 'Enter' ? 'accept' : 'rep';
            painted(() => waits.push([name, performance.now() - pressed]));
            const video = document.querySelector('figure:not([hidden]) video');
            const shown = () => waits.push([name + ' film', performance.now() - pressed]);
            // What was shown before this look is told to nobody any more.
            if (video.readyState >= 2 && !video.seeking) shown(); else video.requestVideoFrameCallback(shown);
        };
        look();
    }, true);
}"""
APART = f"""() => {{
    const read = {READ_BLOCKS}, plan = document.getElementById('plan');
    const video = document.querySelector('figure:not([hidden]) video');
    window.apart = [];
    const look = () => {{
        window.apart.push(Math.abs(read(video) - Number(plan.dataset.row)));
        video.requestVideoFrameCallback(look);
    }};
    video.requestVideoFrameCallback(look);
}}"""


def median_ms(work: Callable[[], object], times: int = 15) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(1000 * (time.perf_counter() - start))
    return statistics.median(taken)


@contextmanager
def library_of(count: int) -> Iterator[Path]:
    """A folder with a library of `count` reps, FILMED of them with film."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        with Library.open(home / "library") as library:
            for k in range(FILMED):
                add_rep(library, home / "film", f"filmed-{k}", DOUBTFUL, "Cover 4", shift=k)
            many_reps(library, home / "film", count - FILMED)
        yield home


def server_side(home: Path) -> dict[str, float]:
    """Medians in ms of the server's answers."""
    door = Door(frozenset({HOST}))
    headers = {"x-page-token": door.page_token, "origin": f"http://{HOST}"}
    with TestClient(create_app(home / "library", door), base_url=f"http://{HOST}", headers=headers) as client:
        last = client.get("/api/queue").json()["order"][-1]

        def correct() -> None:
            version = client.get(f"/api/reps/{last}").json()["version"]
            body = {"version": version, "who": "A", "edits": [{"subject": "rep", "field": "family", "after": "cover-1"}]}
            assert client.post(f"/api/reps/{last}/corrections", json=body).status_code == 200

        return {
            "queue page": median_ms(lambda: client.get("/")),
            "queue order": median_ms(lambda: client.get("/api/queue")),
            "rep": median_ms(lambda: client.get("/api/reps/2")),
            "moving things": median_ms(lambda: client.get("/api/reps/2/moving/3")),
            "look and correct": median_ms(correct),
        }


def in_browser(driver: Any, address: str, first: int) -> dict[str, list[float]]:
    """What a coach waits for, in ms, and frames apart ("apart")."""
    browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    open_rep(page, address, first)
    page.wait_for_timeout(LOOK_MS)
    page.evaluate(WATCH)
    for _ in range(10):
        for key in ("ArrowRight", "j", "1", "3"):
            page.keyboard.press(key)
            page.wait_for_timeout(80)
    for _ in range(2):
        for key in ["PageDown"] * 3 + ["PageUp"] * 3:
            page.keyboard.press(key)
            page.wait_for_timeout(LOOK_MS)
    page.keyboard.press("Enter")
    until(page, "waits.some(([name]) => name === 'accept film')")
    page.wait_for_timeout(LOOK_MS)
    page.keyboard.press("Home")
    page.wait_for_timeout(500)
    page.evaluate(APART)
    page.keyboard.press("Space")
    page.wait_for_timeout(3000)
    page.keyboard.press("Space")
    found: dict[str, list[float]] = {"apart": page.evaluate("apart")}
    for name, wait in page.evaluate("waits"):
        found.setdefault(name, []).append(wait)
    browser.close()
    return found


def serving(library: Path) -> str:
    """The address of a server over the library, running as the command runs it."""
    found: list[str] = []
    listening = threading.Event()

    def ready(where: Listening) -> None:
        found.append(where.address.rstrip("/"))
        listening.set()

    threading.Thread(target=serve, args=(library, 0, None, ready), daemon=True).start()
    assert listening.wait(60)
    return found[0]


def told(found: dict[str, list[float]]) -> str:
    """One round in a line: medians, and the worst of key and rep."""
    apart = found["apart"]
    waits = ", ".join(f"{name} {statistics.median(found[name]):.0f} (worst of {len(found[name])}: {max(found[name]):.0f})"
                      for name in ("key", "rep", "rep film", "accept", "accept film") if name in found)
    near = sum(frames <= 1 for frames in apart) / len(apart)
    return f"ms: {waits}; film and field within a frame in {near:.1%} of {len(apart)} frames, at most {max(apart):.0f} apart"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--reps", type=int, default=5000)
    parser.add_argument("--rounds", type=int, default=3, help="of the browser")
    options = parser.parse_args()
    from playwright.sync_api import sync_playwright

    with library_of(10) as few_home, library_of(options.reps) as home, sync_playwright() as driver:
        for count, folder in ((10, few_home), (options.reps, home)):
            address = serving(folder / "library")
            for _ in range(options.rounds):
                with Library.open(folder / "library", read_only=True) as library:
                    first = review_queue(library)[0]
                assert first.name.startswith("filmed"), "the reps with film stand first in the queue"
                line = told(in_browser(driver, address, first.rep_id))
                print(f"{count} reps, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; {line}", flush=True)
        few, many = server_side(few_home), server_side(home)
        for name, value in many.items():
            times = value / few[name]
            print(f"{name:18} {value:7.1f} ms with {options.reps} reps, {few[name]:7.1f} ms with 10: {times:.1f} times")


if __name__ == "__main__":
    main()
