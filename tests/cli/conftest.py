"""A small library of hand-made reps, and the command."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

sys.path.insert(0, str(Path(__file__).parents[1] / "library"))

from made_reps import rep

from tagger.cli import main
from tagger.football.types import Situation
from tagger.library import Library

Run = Callable[..., Result]


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library folder with three reps."""
    folder = tmp_path_factory.mktemp("shelf") / "library"
    with Library.open(folder) as library:
        library.save_rep(rep("rep-001", "cover-3", Situation(1, 10.0, "left", "team", "11", "cover-3 sky", 70.0)))
        library.save_rep(rep("rep-002", "cover-1", Situation(3, 2.0, "right", "team", "12", "cover-1", 15.0)))
        library.save_rep(rep("rep-003", "cover-3", Situation(3, 9.0, "middle", "seven-on-seven", "10", "cover-4", 40.0)))
    return folder


@pytest.fixture
def run(shelf: Path) -> Run:
    """Run the command in this process with the small library."""

    def call(*arguments: str | Path) -> Result:
        return CliRunner().invoke(main, [str(a) for a in arguments], env={"DEEPTHIRD_LIBRARY": str(shelf), "COLUMNS": "160"})

    return call
