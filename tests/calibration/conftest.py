"""The simulated library, filled once."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from simulated_library import fill

from tagger.library.store import Library


@pytest.fixture(scope="session")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library folder with reps that a coach has finished, just enough to learn from."""
    home = tmp_path_factory.mktemp("finished")
    with Library.open(home / "library") as library:
        fill(library, home / "film", seed=9401, count=26)
    return home / "library"


@pytest.fixture
def own_copy(finished: Path, tmp_path: Path) -> Path:
    """The same, for a test of its own."""
    return Path(shutil.copytree(finished, tmp_path / "library"))
