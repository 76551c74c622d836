"""A library of invented reps, and a client that speaks as the page does."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))

from invented import add_rep

from tagger.library.store import Library
from tagger.review.app import create_app
from tagger.review.safety import Door

HOST = "127.0.0.1:8423"


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
