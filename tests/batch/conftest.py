"""A folder of small work, and the way to have it done."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "library")]
Film = Callable[[str, str], Path]


@pytest.fixture(autouse=True)
def _children_find_the_small_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Children import `small_work` by its name."""
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(HERE), os.environ.get("PYTHONPATH", "")]))


@pytest.fixture
def film(tmp_path: Path) -> Film:
    """Write a file of small work."""

    def write(name: str, text: str) -> Path:
        path = tmp_path / "film" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    return write
