"""A library of invented reps, and a client that speaks as the page does."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))

from invented import add_rep  # noqa: E402

from tagger.library.store import Library  # noqa: E402
from tagger.review.app import create_app  # noqa: E402
from tagger.review.safety import Door  # noqa: E402

HOST = "127.0.0.1:8423"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A library with three reps whose film is a few bytes."""
    with Library.open(tmp_path / "library") as library:
        for name, confidence, call in (("rep-001", 0.62, "Cover 3 Sky"), ("rep-002", 0.95, "Cover 1"), ("rep-003", 0.97, None)):
            add_rep(library, tmp_path / "film", name, confidence, call, film=False)
    return tmp_path / "library"


@pytest.fixture
def door() -> Door:
    return Door(frozenset({HOST}))


@pytest.fixture
def client(folder: Path, door: Door) -> Iterator[TestClient]:
    headers = {"x-page-token": door.page_token, "origin": f"http://{HOST}"}
    with TestClient(create_app(folder, door), base_url=f"http://{HOST}", headers=headers, follow_redirects=False) as made:
        yield made


@pytest.fixture
def library(folder: Path) -> Iterator[Library]:
    with Library.open(folder) as opened:
        yield opened
