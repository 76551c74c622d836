"""One made-up rep on film, rendered once for all tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from filmed_scene import Scene, make_scene


@pytest.fixture(scope="session")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    """Sideline, constant rate, long GOP."""
    return make_scene(tmp_path_factory.mktemp("film") / "side.mp4")


@pytest.fixture(scope="session")
def uneven(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    """Sideline, variable frame rate, with sound, clock beginning at 3 s, a keyframe every 5 frames."""
    return make_scene(tmp_path_factory.mktemp("film") / "uneven.mp4", variable=True, sound=True, keyframe_every=5, start_s=3.0)


@pytest.fixture(scope="session")
def behind(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    """The same rep from the end zone."""
    return make_scene(tmp_path_factory.mktemp("film") / "behind.mp4", end_zone=True, start_s=10.0)
