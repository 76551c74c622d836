"""What the machine sees at one moment of a clip, or in a still picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from homography import FrameEvidence, Observer, solve_clip, solve_still
from homography.clicked import solve_clicked
from homography.clicks import Click, click
from homography.types import FieldView
from homography.yard_numbers import read_yard_lines
from tagger.options import ClipError, TagOptions
from tagger.people import link
from tagger.watching import HALF_FRAME_S, readable, shot_of, silent, watch
from vision.detector import load_detector
from vision.eye import Eye, Look
from vision.outfits import Wardrobe, dress
from vision.sights import CropReader
from vision.tracker import track
from vision.types import Detections, Tracks
from vision.video import Frame, probe

STILL_SUFFIXES = {".jpg", ".jpeg", ".png", ".webp", ".bmp", ".tif", ".tiff"}


@dataclass(frozen=True)
class MarkedSpot:
    """A person's word: the mark of these `words` (see `homography.marks`) lies at `xy_px` of the picture that is shown at
    `time_s` (None: at the moment that is inspected)."""

    words: str
    xy_px: tuple[float, float]
    time_s: float | None = None


@dataclass(frozen=True)
class Inspection:
    """What the machine saw at one moment: the picture, its boxes and the field model of that frame (row `row` of `view`), found
    by the `clicks` if there are any."""

    frame_bgr: np.ndarray
    time_s: float
    detections: Detections
    tracks: Tracks
    view: FieldView
    row: int
    clicks: tuple[Click, ...] = ()


def inspect_frame(path: Path, at_s: float, options: TagOptions | None = None, marked: Sequence[MarkedSpot] = ()) -> Inspection:
    """What the machine sees at one moment of a clip, or in a still picture; the field by a person's marked spots if there are
    any. Raises ClipError as `tag_clip` does, where the clip ends before `at_s`, and where the spots give no field."""
    options = options or TagOptions()
    if path.suffix.lower() in STILL_SUFFIXES:
        return _inspect_still(path, options, marked)
    with readable():
        watched, wanted = watch(probe(path), options, silent, {}, keep_at_s=at_s)
    if wanted is None:
        raise ClipError(f"{path}: ends at {watched.evidence[-1].time_s:.1f} s, before {at_s:.1f} s: choose an earlier moment")
    with readable():
        clicks = _clicks(marked, watched.evidence, wanted.time_s)
        solve = partial(solve_clicked, clicks=clicks) if clicks else solve_clip
        view = read_yard_lines(solve(watched.evidence, level=options.level), watched.stills)
    tracks, _ = link(shot_of(watched, view), view, watched.sights)
    row = int(np.searchsorted(view.frame_index, wanted.index))
    return Inspection(wanted.bgr, wanted.time_s, _look(wanted, options).found, tracks, view, row, clicks)


def _look(frame: Frame, options: TagOptions) -> Look:
    """At one picture for itself: while tagging it may have been passed over."""
    detector = load_detector(options.detector_weights(), options.device, threads=options.threads)
    return Eye(detector, CropReader(options.threads)).see(frame)[0]


def _clicks(marked: Sequence[MarkedSpot], evidence: Sequence[FrameEvidence], at_s: float) -> tuple[Click, ...]:
    """Marked spots as clicks in the frames that are shown at their times."""
    times = np.array([frame.time_s for frame in evidence])
    asked = [at_s if spot.time_s is None else spot.time_s for spot in marked]
    rows = np.minimum(np.searchsorted(times, np.array(asked) - HALF_FRAME_S), len(evidence) - 1)
    return tuple(click(spot.words, spot.xy_px, evidence[row].frame_index) for spot, row in zip(marked, rows, strict=True))


def _inspect_still(path: Path, options: TagOptions, marked: Sequence[MarkedSpot]) -> Inspection:
    if not path.is_file():
        raise ClipError(f"{path}: no such file")
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        raise ClipError(f"{path}: not a picture that can be read (JPEG or PNG)")
    bgr = np.asarray(picture, dtype=np.uint8)
    with readable():
        look = _look(Frame(0, 0.0, bgr), options)
        found = look.found
        clicks = tuple(click(spot.words, spot.xy_px, 0) for spot in marked)
        view = solve_still(bgr, found.xyxy, options.level)
        if clicks:
            view = solve_clicked([Observer().observe(0, 0.0, bgr, found.xyxy)], clicks, level=options.level)
    size_px = (bgr.shape[1], bgr.shape[0])
    tracks, = dress([Wardrobe(track([found], size_px, appearance=[look.worn]), [found], [look.worn], [look.sight])])
    return Inspection(bgr, 0.0, found, tracks, view, 0, clicks)
