"""Film brought in by a real browser (Chromium) over a line that breaks: dropped, interrupted, gone on with, refused."""

from __future__ import annotations

import os
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from tagger.library import Wish
from tagger.library.store import Library
from tagger.review.app import create_app
from tagger.review.safety import Door

playwright = pytest.importorskip("playwright.sync_api")
pytestmark = pytest.mark.slow

CHROMIUM = os.environ.get("DEEPTHIRD_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
CLIP = Path(__file__).parents[2] / "demo_clips" / "rep-001" / "rep-001-end-zone.mp4"
WAIT_MS = 30_000


class Line:
    """A line to the server that can be slow, and be cut in the middle of a file: a TCP relay."""

    def __init__(self) -> None:
        self.to, self._open, self.bytes_per_s, self.cut_after = 0, list[socket.socket](), 0, 0
        self.passed = 0
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
                far = socket.create_connection(("127.0.0.1", self.to))
            except OSError:
                return
            self._open += [near, far]
            for source, sink, upward in ((near, far, True), (far, near, False)):
                threading.Thread(target=self._relay, args=(source, sink, upward), daemon=True).start()

    def _relay(self, source: socket.socket, sink: socket.socket, upward: bool) -> None:
        try:
            while data := source.recv(16384):
                sink.sendall(data)
                if upward:
                    self.passed += len(data)
                    if self.bytes_per_s:
                        time.sleep(len(data) / self.bytes_per_s)
                    if self.cut_after and self.passed > self.cut_after:
                        self.cut()
        except OSError:
            pass
        for end in (source, sink):
            end.close()

    def cut(self) -> None:
        """Every connection breaks."""
        self.cut_after = 0
        for end in self._open:
            try:
                end.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue
        self._open.clear()


@pytest.fixture
def home(tmp_path: Path) -> Path:
    Library.open(tmp_path / "library").close()
    return tmp_path


@pytest.fixture
def line(home: Path) -> Iterator[Line]:
    """The server behind a bad line."""
    relay, bound = Line(), socket.create_server(("127.0.0.1", 0))
    relay.to = bound.getsockname()[1]
    app = create_app(home / "library", Door(frozenset({f"127.0.0.1:{relay.port}"})))
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
    running = threading.Thread(target=server.run, args=([bound],), daemon=True)
    running.start()
    yield relay
    server.should_exit = True
    running.join(10)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if not Path(CHROMIUM).exists():
        pytest.skip(f"{CHROMIUM}: no browser here; apt-get install chromium")
    with playwright.sync_playwright() as driver:
        made = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture
def page(browser: Any, line: Line) -> Iterator[Any]:
    """The night's page through the line; what breaks the policy or a script fails the test."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    made, faults = context.new_page(), list[str]()
    made.on("pageerror", lambda error: faults.append(str(error)))
    made.on("console", lambda said: faults.append(said.text) if "Content Security Policy" in said.text else None)
    made.goto(f"http://127.0.0.1:{line.port}/night")
    yield made
    context.close()
    assert not faults


def film(folder: Path, name: str, seed: int = 0, padding: int = 6_000_000) -> Path:
    """A real clip, made larger by a `free` box (ISO/IEC 14496-12, 8.1.2), so that it takes a while."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    filler = bytes([seed]) * padding
    path.write_bytes(CLIP.read_bytes() + (len(filler) + 8).to_bytes(4, "big") + b"free" + filler)
    return path


def until(condition: Any, seconds: float = 30.0) -> None:
    end_s = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end_s, "did not come about"
        time.sleep(0.1)


def settled(parts: Path) -> int:
    """Bytes of the one file under way, once what was in the line has arrived."""
    [part] = parts.glob("*.part")
    sizes = [-1, part.stat().st_size]
    while sizes[-1] != sizes[-2]:
        time.sleep(2.0)
        sizes.append(part.stat().st_size)
    return sizes[-1]


def test_a_broken_line_is_gone_on_with(page: Any, line: Line, home: Path) -> None:
    one = film(home / "card", "rep-1-sideline.mp4")
    line.bytes_per_s, line.cut_after, line.passed = 4_000_000, 3_000_000, 0
    page.set_input_files("#files", [str(one)])
    page.get_by_text("whole", exact=True).wait_for(timeout=WAIT_MS)
    [landed] = (home / "library/uploaded").rglob("*.mp4")
    assert landed.read_bytes() == one.read_bytes()
    assert line.passed < 1.5 * one.stat().st_size  # gone on with, not begun anew


def test_a_closed_page_is_gone_on_with_when_the_file_is_chosen_again(page: Any, line: Line, home: Path) -> None:
    one = film(home / "card", "rep-1-sideline.mp4")
    line.bytes_per_s = 2_000_000
    page.set_input_files("#files", [str(one)])
    parts = home / "library/uploads"
    until(lambda: any(part.stat().st_size > 2_000_000 for part in parts.glob("*.part")))
    page.reload()
    page.get_by_text("choose the file again to go on").wait_for(timeout=WAIT_MS)
    line.bytes_per_s = 0
    there = settled(parts)
    line.passed = 0
    page.set_input_files("#files", [str(one)])
    page.get_by_text("whole", exact=True).wait_for(timeout=WAIT_MS)
    [landed] = (home / "library/uploaded").rglob("*.mp4")
    assert landed.read_bytes() == one.read_bytes()
    assert line.passed < one.stat().st_size - there + 500_000  # the rest of it, and what a page asks for besides


def test_a_dropped_folder_comes_with_its_script_and_what_is_no_film_is_told(page: Any, home: Path) -> None:
    for number in (1, 2):
        film(home / "tuesday/wide", f"rep-{number}-sideline.mp4", number, 1000)
    (home / "tuesday/practice-script.csv").write_text("rep,down\n1,3\n")
    (home / "tuesday/notes.txt").write_text("call the bus")
    (home / "tuesday/wide/torn.mp4").write_text("no film")
    page.set_input_files("#folder", str(home / "tuesday"))
    until(lambda: page.locator("#way li").count() == 5)
    until(lambda: page.get_by_text("whole", exact=True).count() == 3)
    until(lambda: page.get_by_text("not taken", exact=True).count() == 2)
    assert page.get_by_text("torn.mp4: not a video that can be read").count()
    landed = sorted(str(path.relative_to(home / "library/uploaded")) for path in (home / "library/uploaded").rglob("*.*"))
    assert landed == ["tuesday/practice-script.csv", "tuesday/wide/rep-1-sideline.mp4", "tuesday/wide/rep-2-sideline.mp4"]


def test_paused_and_taken_away(page: Any, line: Line, home: Path) -> None:
    line.bytes_per_s = 1_000_000
    page.set_input_files("#files", [str(film(home / "card", "rep-1-sideline.mp4"))])
    parts = home / "library/uploads"
    until(lambda: any(part.stat().st_size > 1_000_000 for part in parts.glob("*.part")))
    page.click("#pause-all")
    page.get_by_text("paused", exact=True).wait_for(timeout=WAIT_MS)
    assert settled(parts) < 6_000_000
    page.get_by_role("button", name="do not send rep-1-sideline.mp4").click()
    until(lambda: not list(parts.iterdir()))


def test_the_plan_follows_the_queue(page: Any, home: Path) -> None:
    with Library.open(home / "library") as library:
        library.jobs.add([Wish(f"{n}", Path(f"/film/rep-{n}.mp4"), {}, f"rep-{n}") for n in range(3)])
        job = library.jobs.claim("w")
        assert job is not None
        for _ in range(2):
            library.jobs.tried(job.job_id, "/film/rep-0.mp4: hung, nothing happened for 600 s")
        page.get_by_text("set aside after 2 tries").wait_for(timeout=WAIT_MS)
        assert page.get_by_text("hung, nothing happened for 600 s").count()
        assert page.locator("#nobody").is_visible()
        page.get_by_role("button", name="try rep-0 again").click()
        until(lambda: page.locator("tr.state-waiting").count() == 3)
        assert len(library.jobs.list("waiting")) == 3
