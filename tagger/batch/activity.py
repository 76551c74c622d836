"""The people of a recording, looked for a few times a second, and how the camera turned between two looks. One pass over small
pictures; of each look a few dozen boxes are kept, some 3 MB for an hour of film."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from homography.motion import LEAST_INLIERS, BackgroundMotion
from tagger.batch.camera_off import WATCHED_PER_S, CameraWatch
from vision.detector import load_detector
from vision.types import FloatArray
from vision.video import probe, read_frames

LOOKS_PER_S = 4.0
HEIGHT_PX = 432
LEAST_LOOK_PX, MOST_LOOK_PX, STEP_PX = 768, 1280, 128
"""Longer side for the network, some 30 to 80 ms of a core; every new size costs the runtime a plan."""
TALL_PX = 40.0
"""The median person as the network should see him: of smaller ones it misses half, and a play hardly shows."""
TALL_MEMORY = 0.95
"""Of one look in the next, for how tall people are."""
LEAST_CONFIDENCE = 0.35
"""Of a box that is followed: in a crowd unsure ones come and go, and look like people who move."""
BORDER_PX = 2.0
"""Whoever touches the picture's border is seen in part, so where his middle is says nothing."""
IDLE_LOOKS, IDLE_EVERY = 80, 4
"""After twenty seconds without anybody, as when a camera was forgotten, only one look in four is had until somebody comes."""
TELL_EVERY = 20

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Activity:
    """One row a look, T in all. `time_s` (T,) of the film's clock; `people`: T arrays (N, 4) of boxes, px of the small picture;
    `now_from_before` (T, 3, 3) where the background of the look before is in this one, NaN where that is not known (the first
    look, after a cut, in a swing too fast to follow); `cut` (T,): the camera was off since the look before. `start_s`, `end_s`:
    what the film holds."""

    time_s: Array
    people: list[FloatArray]
    now_from_before: Array
    cut: npt.NDArray[np.bool_]
    start_s: float
    end_s: float


def measure(path: Path, tell: Callable[[float, str], None] | None = None, weights: Path | None = None, device: str = "cpu",
            threads: int | None = 1) -> Activity:
    """Look through a film. Raises FileNotFoundError or ValueError with one line if it, or the detector, cannot be read."""
    info = probe(path)
    detector = load_detector(weights, device, MOST_LOOK_PX, threads, LEAST_CONFIDENCE)
    watched = max(1, round((info.rate_hz or 30.0) / WATCHED_PER_S))
    every = max(1, round((info.rate_hz or 30.0) / watched / LOOKS_PER_S))
    background, camera = BackgroundMotion(), CameraWatch()
    rows: list[tuple[float, FloatArray, Array]] = []
    tall_px, nobody_for = float("nan"), 0
    for number, frame in enumerate(read_frames(path, HEIGHT_PX, watched)):
        camera.see(frame.bgr)
        if number % every:
            continue
        idle = nobody_for >= IDLE_LOOKS and nobody_for % IDLE_EVERY
        boxes = np.zeros((0, 4), dtype=np.float32) if idle else detector.detect(
            frame.index, frame.time_s, frame.bgr, look_size(tall_px, frame.bgr.shape[1])).xyxy
        nobody_for = 0 if len(boxes) else nobody_for + 1
        if len(boxes):
            here = float(np.median(boxes[:, 3] - boxes[:, 1]))
            tall_px = here if np.isnan(tall_px) else TALL_MEMORY * tall_px + (1 - TALL_MEMORY) * here
        grey = np.asarray(cv2.cvtColor(frame.bgr, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
        rows.append((frame.time_s, _whole(boxes, frame.bgr.shape), _camera_motion(background, grey, boxes)))
        if tell is not None and info.duration_s and len(rows) % TELL_EVERY == 0:
            tell(min(1.0, (frame.time_s - info.start_s) / info.duration_s), "looking for reps")
    time_s, people, motion = zip(*rows, strict=True)
    cut = np.zeros(len(rows) + 1, dtype=np.bool_)
    cut[-(-np.flatnonzero(camera.cuts()) // every)] = True  # one between two looks is before the second
    return Activity(np.array(time_s), list(people), np.array(motion), cut[:-1], time_s[0],
                    max(time_s[-1], info.start_s + info.duration_s))


def look_size(tall_px: float, width_px: int) -> int:
    """Longer side for the network where people are so tall (NaN: not known yet) in a picture so wide."""
    wanted = MOST_LOOK_PX if np.isnan(tall_px) else TALL_PX / tall_px * width_px
    return int(np.clip(np.ceil(wanted / STEP_PX) * STEP_PX, LEAST_LOOK_PX, MOST_LOOK_PX))


def _whole(boxes: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    inside = (boxes[:, :2] >= BORDER_PX).all(axis=1) & (boxes[:, 2:] <= np.array(shape[1::-1]) - BORDER_PX).all(axis=1)
    return boxes[inside]


def _camera_motion(background: BackgroundMotion, grey: npt.NDArray[np.uint8], boxes: FloatArray) -> Array:
    """(3, 3) now_from_before; NaN if it is not known."""
    # It is made for pictures of half the size, and speaks of the whole ones.
    before, after = background.step(grey, 2.0 * boxes + 1.0)
    found = cv2.findHomography((before - 1.0) / 2.0, (after - 1.0) / 2.0)[0] if len(after) >= LEAST_INLIERS else None
    return np.full((3, 3), np.nan) if found is None else np.asarray(found, dtype=np.float64)
