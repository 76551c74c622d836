"""The one pass over a clip's film: each frame is decoded once, and only small things are kept of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from homography import FrameEvidence, Observer
from homography.motion import image_motion
from homography.types import FieldView
from homography.yard_numbers import Still
from tagger.options import ClipError, TagOptions
from vision.detector import TRACKED_CONFIDENCE, load_detector
from vision.eye import Eye, Look
from vision.sights import CropReader, Sight
from vision.tracker import Shot
from vision.types import Detections, FloatArray
from vision.video import Frame, VideoInfo, read_frames

DETECTIONS_PER_S = 15.0
"""How often people are looked for: their motion between is smooth, and the detector is the dearest stage."""
KEEP_EVERY_S = 0.12
"""Looks are kept for people's facing and cloth no nearer than this: the next shows the same again."""
MAX_HEIGHT_PX = 1080
"""Larger film is reduced while it is decoded."""
HALF_FRAME_S = 1.0 / 60.0

Progress = Callable[[float, str], None]


@dataclass
class Watched:
    """The small things kept of a clip once its frames are gone: one evidence per frame, boxes and shirts of every n-th."""

    evidence: list[FrameEvidence] = field(default_factory=list)
    detections: list[Detections] = field(default_factory=list)
    looks: list[FloatArray] = field(default_factory=list)
    sights: list[Sight | None] = field(default_factory=list)
    stills: list[Still] = field(default_factory=list)
    sight_s: float = -np.inf

    def add(self, looks: Sequence[Look]) -> None:
        """Keep what looks told, the pictures not."""
        for look in looks:
            keep = look.frame.time_s - self.sight_s >= KEEP_EVERY_S
            self.sight_s = look.frame.time_s if keep else self.sight_s
            self.detections.append(look.found)
            self.looks.append(look.worn)
            self.sights.append(look.sight if keep else None)


def watch(video: VideoInfo, options: TagOptions, tell: Progress, seconds: dict[str, float],
           keep_at_s: float | None = None) -> tuple[Watched, Frame | None]:
    """Stream the film once, keeping the small things, and the frame shown at `keep_at_s` if one is asked for."""
    detector = load_detector(options.detector_weights(), options.device, None, options.threads, TRACKED_CONFIDENCE)
    eye = Eye(detector, CropReader(options.threads), partial(timed, seconds))
    observer, kept, wanted = Observer(), Watched(), None
    every = options.detect_every or max(1, round((video.rate_hz or 30.0) / DETECTIONS_PER_S))
    frames, boxes = read_frames(video.path, MAX_HEIGHT_PX), np.zeros((0, 4), dtype=np.float32)
    while (frame := _next(frames, seconds)) is not None:
        if frame.index % every == 0:
            kept.add(eye.see(frame))
            boxes = kept.detections[-1].xyxy
        with timed(seconds, "registration"):
            kept.evidence.append(observer.observe(frame.index, frame.time_s, frame.bgr, boxes))
        if keep_at_s is not None and wanted is None and frame.time_s >= keep_at_s - HALF_FRAME_S:
            wanted = frame
        if video.duration_s:
            tell(min(0.85, 0.85 * (frame.time_s - video.start_s) / video.duration_s), "watching")
    kept.add(eye.last())
    kept.stills = observer.stills
    return kept, wanted


def _next(frames: Iterator[Frame], seconds: dict[str, float]) -> Frame | None:
    with timed(seconds, "decoding"):
        return next(frames, None)


def shot_of(watched: Watched, view: FieldView) -> Shot:
    times = np.array([evidence.time_s for evidence in watched.evidence])
    return Shot(watched.detections, view.image_size_px, view.frame_index, times, watched.looks, view.field_from_image,
                view.sigma_yd, image_motion(watched.evidence))


@contextmanager
def readable() -> Iterator[None]:
    """Whatever makes a file unreadable becomes a ClipError with the same line."""
    try:
        yield
    except ClipError:
        raise
    except (FileNotFoundError, ValueError) as bad:
        raise ClipError(str(bad)) from bad


@contextmanager
def timed(seconds: dict[str, float], stage: str) -> Iterator[None]:
    start = time.perf_counter()
    try:
        yield
    finally:
        seconds[stage] = seconds.get(stage, 0.0) + time.perf_counter() - start


def silent(_share: float, _what: str) -> None:
    pass
