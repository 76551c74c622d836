"""The people of a film looked at as often as they move: where they are, how their boxes fit, what they wear.

While they stand and wait every second picture would show the same again. It is held back, and looked at after all if the next one
shows that they have begun to move, so that nothing of the snap is missed.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from vision.boxes import iou
from vision.detector import Detector
from vision.kits import describe
from vision.looks import appearance
from vision.outlines import tightened
from vision.sights import CropReader, Sight
from vision.types import Detections, FloatArray, foot_of
from vision.video import Frame
from vision.window import Window

READ_EVERY_S = 0.39
"""How often shirts' numbers are read: more often they show the same again."""
SURE = 0.5
"""Confidence of people who are asked whether they move."""
STILL_HEIGHTS_S = 0.5
"""Of a man's height a second: slower ones stand or shuffle."""
STILL_SHARE = 0.85
"""So many of them stand where all are waiting: one may go in motion, coaches walk about."""
SAME_IOU = 0.3


@dataclass(frozen=True)
class Look:
    """One picture's people: their boxes, what the looks at each told, and what they wear (N, 24) as `vision.looks.appearance` has
    it."""

    frame: Frame
    found: Detections
    sight: Sight
    worn: FloatArray


class Eye:
    """Looks at one film, picture by picture in the order of time. `timed` wraps the stages "detection", "looks" and "kits"."""

    def __init__(self, detector: Detector, reader: CropReader,
                 timed: Callable[[str], AbstractContextManager[None]] = lambda _stage: nullcontext()) -> None:
        self._window, self._reader, self._timed = Window(detector), reader, timed
        self._held: Frame | None = None
        self._before: Detections | None = None
        self._calm, self._read_s = False, -np.inf

    def see(self, frame: Frame) -> list[Look]:
        """The looks that this picture led to, in the order of time: none while it is held back, or its and the held one's."""
        if self._calm and self._held is None:
            self._held = frame
            return []
        held, self._held = self._held, None
        looks = [self._look(frame)]
        self._calm = self._before is not None and waiting(self._before, looks[0].found)
        self._before = looks[0].found
        return looks if held is None or self._calm else [self._look(held), *looks]

    def last(self) -> list[Look]:
        """The look at a picture that was held back when the film ended."""
        held, self._held = self._held, None
        return [] if held is None else [self._look(held)]

    def _look(self, frame: Frame) -> Look:
        with self._timed("detection"):
            found = self._window.detect(frame.index, frame.time_s, frame.bgr)
        with self._timed("looks"):
            read = frame.time_s - self._read_s >= READ_EVERY_S
            self._read_s = frame.time_s if read else self._read_s
            sight = self._reader.look(frame.bgr, found.xyxy, read)
            found = tightened(found, sight)
        with self._timed("kits"):
            return Look(frame, found, sight, appearance(describe(frame.bgr, found.xyxy), sight))


def waiting(before: Detections, now: Detections) -> bool:
    """True where nearly everybody stands as he stood, but for what the camera moved them all."""
    one, two = (found.xyxy[found.confidence >= SURE].astype(np.float64) for found in (before, now))
    if not len(one) or not len(two):
        return False
    count, overlap = max(len(one), len(two)), iou(one, two)
    row, column = linear_sum_assignment(-overlap)
    same = overlap[row, column] >= SAME_IOU
    if not same.any():
        return False
    one, two = one[row[same]], two[column[same]]
    step = foot_of(two) - foot_of(one)
    own = np.abs(step - np.median(step, axis=0)).max(axis=1)
    still = own < STILL_HEIGHTS_S * (two[:, 3] - two[:, 1]) * (now.time_s - before.time_s)
    return bool(still.sum() >= STILL_SHARE * count)
