"""A library of invented reps, a client that speaks as the page does, and a browser that shows the page.

The browser tests need a Chromium at /usr/bin/chromium (or at DEEPTHIRD_CHROMIUM).
"""

from __future__ import annotations

import shutil
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))

from browsing import ARGUMENTS, CHROMIUM, HOST
from invented import add_rep

from tagger.library.store import Library
from tagger.review.app import create_app
from tagger.review.safety import Door
from tagger.review.serve import Listening, serve


@pytest.fixture(scope="session")
def pattern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with three reps whose film is a few bytes; made once, copied for each test."""
    home = tmp_path_factory.mktemp("pattern")
    with Library.open(home / "library") as library:
        for name, confidence, call in (("rep-001", 0.62, "Cover 3 Sky"), ("rep-002", 0.95, "Cover 1"), ("rep-003", 0.97, None)):
            add_rep(library, home / "film", name, confidence, call, film=False)
    return home / "library"


@pytest.fixture
def folder(pattern: Path, tmp_path: Path) -> Path:
    """A library of the test's own."""
    return Path(shutil.copytree(pattern, tmp_path / "library"))


@pytest.fixture
def door() -> Door:
    return Door(frozenset({HOST}))


@pytest.fixture
def client(folder: Path, door: Door) -> Iterator[TestClient]:
    headers = {"x-page-token": door.page_token, "origin": f"http://{HOST}"}
    with TestClient(create_app(folder, door), base_url=f"http://{HOST}", headers=headers, follow_redirects=False) as made:
        yield made


@pytest.fixture
def film(library: Library, tmp_path: Path) -> Path:
    """A file of the test's own as the film of clip 1."""
    own = tmp_path / "rep-001-sideline.mp4"
    own.write_bytes(bytes(range(256)) * 4096)
    library.moved(library.rep(1).main_clip.fingerprint, own)
    return own


@pytest.fixture
def library(folder: Path) -> Iterator[Library]:
    with Library.open(folder) as opened:
        yield opened


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
    playwright = pytest.importorskip("playwright.sync_api")
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
            faults.append(message.text)
            if message.type in ("error", "warning") and not any(status in message.text for status in ("409", "422"))
            else None
        ),
    )  # the refusal of a stale or senseless edit is told there too
    made.on("pageerror", lambda error: faults.append(str(error)))
    yield made
    context.close()
    assert not faults
