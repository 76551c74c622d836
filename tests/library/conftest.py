"""An empty library, and the way to the hand-made reps."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tagger.library import Library

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library.open(tmp_path / "library") as opened:
        yield opened
