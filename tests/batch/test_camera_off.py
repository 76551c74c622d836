"""Where the camera was off, told from the picture: swings, light and flashes are no cuts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tagger.batch.camera_off import WATCHED_PER_S, CameraWatch
from vision.video import probe, read_frames

CLIPS = Path(__file__).parents[2] / "demo_clips"
Pictures = list[npt.NDArray[Any]]


def cuts(pictures: Pictures) -> list[int]:
    watch = CameraWatch()
    for picture in pictures:
        watch.see(np.clip(picture, 0, 255).astype(np.uint8))
    return np.flatnonzero(watch.cuts()).tolist()


def ground(seed: int) -> npt.NDArray[Any]:
    """Blotches of all sizes, wider than the picture."""
    rng = np.random.default_rng(seed)
    layers = [cv2.resize(rng.normal(120, 30, (180 // size, 640 // size)), (1280, 360), interpolation=cv2.INTER_CUBIC)
              for size in (2, 4, 12)]
    return np.asarray(np.sum(layers, axis=0) - 240.0)


def swing(seed: int, steps_px: list[float], from_px: float = 300.0) -> Pictures:
    """The ground as a camera sees it that turns by so much from frame to frame."""
    over, at_px = ground(seed), from_px + np.cumsum(steps_px)
    return [np.dstack([over[20:340, int(x):int(x) + 568]] * 3) for x in np.clip(at_px, 0, 700)]


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(-45, 45), min_size=6, max_size=14), st.integers(0, 99))
def test_however_the_camera_turns_it_was_on(steps_px: list[float], seed: int) -> None:
    assert cuts(swing(seed, steps_px)) == []


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 12), st.integers(0, 99), st.floats(0, 20))
def test_another_picture_is_a_cut(first: int, seed: int, turns_px: float) -> None:
    before, after = swing(seed, [turns_px] * (first + 1)), swing(seed + 100, [-turns_px] * 8)
    assert cuts(before + after) == [first + 1]


@pytest.mark.parametrize("light", [
    lambda x, i: x * (0.6 if i >= 6 else 1.0),
    lambda x, i: x * (1.0 + 0.05 * i),
    lambda x, i: 255.0 * (x / 255.0) ** (0.6 if i >= 6 else 1.0),
    lambda x, i: 0.3 * x + 170.0 if i == 6 else x,
    lambda x, i: 0.3 * x + 170.0 if i in (6, 7) else x,
    lambda x, i: x * 0.0 + 255.0 if i == 6 else x,
    lambda x, i: x * (1.0 + 0.25 * np.sin(2.1 * i)),
], ids=["a cloud", "the exposure follows", "another curve", "a flash", "a long flash", "all white", "lamps that flicker"])
def test_light_is_no_cut(light: Any) -> None:
    assert cuts([light(np.clip(picture, 1.0, 255.0), i) for i, picture in enumerate(swing(3, [8.0] * 14))]) == []


def test_the_lens_cap() -> None:
    black, seen = [np.zeros((320, 568, 3))] * 6, swing(5, [0.0] * 6)
    assert cuts(black) == []
    assert cuts(black + seen + black) == [6, 12]


def test_where_rendered_clips_are_joined() -> None:
    """Three ready clips of one field after each other: two cuts, no more, for all that the camera follows the plays."""
    pictures, joints = [], []
    for number in (1, 2, 3):
        path = CLIPS / f"rep-{number:03d}" / f"rep-{number:03d}-sideline.mp4"
        every = round((probe(path).rate_hz or 30.0) / WATCHED_PER_S)
        pictures += [frame.bgr for frame in read_frames(path, 180, every)]
        joints.append(len(pictures))
    assert cuts(pictures) == joints[:2]
