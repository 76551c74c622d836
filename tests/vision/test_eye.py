"""Looking as often as people move: half as often while they wait, and nothing of the start missed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.eye import Eye, waiting
from vision.sights import CropReader
from vision.types import Detections
from vision.video import Frame

MEN, RATE_HZ, TALL = 22, 15.0, 60.0
FEET = np.column_stack([100 + 45.0 * np.arange(MEN), 300 + 40.0 * (np.arange(MEN) % 3)])


def boxes(feet: np.ndarray, index: int, time_s: float) -> Detections:
    xyxy = np.column_stack([feet - [12, TALL], feet + np.array([12, 0])]).astype(np.float32)
    return Detections(index, time_s, xyxy, np.full(len(feet), 0.9, np.float32), np.zeros(len(feet), np.int64))


Y, X = np.mgrid[0:480, 0:1280]
PICTURE = np.stack([X % 256, X // 256, Y // 2], axis=2).astype(np.uint8)
"""Every pixel tells where it is, so that a part of the picture tells which part."""


class Film:
    """A detector that knows where the men of a made-up film are: they stand until `start` and then run to both sides."""

    image_size_px = 640

    def __init__(self, start: int) -> None:
        self.start = start

    def detect(self, frame_index: int, time_s: float, bgr: np.ndarray, image_size_px: int | None = None) -> Detections:
        ran = 9.0 * max(0, frame_index - self.start) * (-1.0) ** np.arange(MEN)
        low = [int(bgr[0, 0, 0]) + 256 * int(bgr[0, 0, 1]), 2 * int(bgr[0, 0, 2])]
        return boxes(FEET + np.column_stack([ran, 0 * ran]) - low, frame_index, time_s)


@pytest.fixture(scope="module")
def reader() -> CropReader:
    return CropReader(threads=1)


@pytest.mark.parametrize("start", [12, 13, 40])
def test_waiting_men_are_seen_half_as_often_and_their_start_in_every_picture(reader: CropReader, start: int) -> None:
    eye = Eye(Film(start), reader)
    seen = [look.frame.index for k in range(20) for look in eye.see(Frame(k, k / RATE_HZ, PICTURE))]
    seen += [look.frame.index for look in eye.last()]
    assert seen == sorted(set(seen)), "in the order of time, none twice"
    assert set(range(start, 20)) <= set(seen), "from the start on every picture"
    assert len([k for k in seen if k < min(start, 20)]) <= min(start, 20) / 2 + 3
    assert eye.last() == []


@given(st.floats(-6, 6), st.floats(-8, 8), st.integers(0, 2))
def test_a_turning_camera_and_a_man_in_motion_are_still_waiting(dx: float, dy: float, movers: int) -> None:
    later = FEET + np.array([dx, dy])
    later[:movers, 0] += 25.0
    assert waiting(boxes(FEET, 0, 0.0), boxes(later, 2, 2 / RATE_HZ))


def test_men_who_run_are_not_waiting_nor_is_an_empty_picture() -> None:
    later = FEET.copy()
    later[::2, 0] += 8.0
    assert not waiting(boxes(FEET, 0, 0.0), boxes(later, 2, 2 / RATE_HZ))
    assert not waiting(boxes(FEET[:0], 0, 0.0), boxes(FEET, 2, 2 / RATE_HZ))
    assert waiting(boxes(FEET, 0, 0.0), boxes(FEET, 2, 2 / RATE_HZ))
