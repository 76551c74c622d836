"""All boxes of a clip in one table, placed on the ground: what tracking works on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from vision.boxes import covered_feet, covered_share
from vision.ground import Ground, place
from vision.looks import discriminate
from vision.outlines import sigma_of_sides
from vision.tracking_settings import TrackingSettings
from vision.types import BoolArray, Detections, FloatArray, IntArray

TICK_S = 1e-4

LEAST_CLARITY = 0.3
"""Of a man wholly covered by others' boxes: his own shirt still shows more often than not."""


@dataclass(frozen=True)
class Observations:
    """D boxes in K frames of one or more views. `frame` (D,) is the row of `time_s` (K,), sorted; `view` (K,) whose frame it is.
    `position` (D, 2) yd on the ground with `covariance` (D, 2, 2), of which `box_covariance` (D, 2, 2) is the box's own error;
    `side_sigma_px` (D, 4) that of its sides; `height_yd` (D,) its height by the picture's scale there; `covered` (D,) the share
    that nearer people hide; `border` (D,) True at the picture's edge; `appearance` (D, A) in units of one person's spread."""

    view: IntArray
    frame_index: IntArray
    time_s: FloatArray
    frame: IntArray
    xyxy: FloatArray
    confidence: FloatArray
    appearance: FloatArray
    position: FloatArray
    covariance: FloatArray
    box_covariance: FloatArray
    side_sigma_px: FloatArray
    height_yd: FloatArray
    covered: FloatArray
    border: BoolArray

    def __len__(self) -> int:
        return len(self.frame)

    @property
    def clarity(self) -> FloatArray:
        """(D,) how far a box's colours are that man's own, 0..1: doubtful boxes and covered ones show others too."""
        clear: FloatArray = LEAST_CLARITY + (1 - LEAST_CLARITY) * (1 - self.covered).clip(0, 1) * self.confidence**2
        return clear

    def reversed(self) -> Observations:
        """The same seen with time running backward."""
        rows = {item.name: getattr(self, item.name)[::-1] for item in fields(self)}
        rows["frame"] = len(self.time_s) - 1 - rows["frame"]
        rows["time_s"], rows["frame_index"] = -rows["time_s"], -rows["frame_index"]
        return Observations(**rows)

    def of_frame(self, k: int) -> slice:
        """The rows of frame k."""
        low, high = np.searchsorted(self.frame, [k, k + 1])
        return slice(int(low), int(high))


def observe(detections: Sequence[Detections], appearance: Sequence[FloatArray] | None, ground: Ground,
            row_of_frame: dict[int, int], image_size_px: tuple[int, int], settings: TrackingSettings) -> Observations:
    """Put `detections` of one view on the ground, with their `appearance` (N, A) for each frame; `row_of_frame` finds a frame
    index's row in `ground`."""
    counts = [len(d) for d in detections]
    frame = np.repeat(np.arange(len(detections)), counts)
    xyxy = np.concatenate([d.xyxy for d in detections]).astype(np.float64).reshape(-1, 4)
    confidence = np.concatenate([d.confidence for d in detections]).astype(np.float64)
    covered = np.concatenate([covered_share(d.xyxy.astype(np.float64)) for d in detections])
    row = np.array([row_of_frame[d.frame_index] for d in detections])[frame]
    height = np.maximum(xyxy[:, 3] - xyxy[:, 1], 1.0)
    fits = [_fit(d, settings) for d in detections]
    ground_px, ground_sigma, side_sigma = (np.concatenate(part) for part in zip(*fits, strict=True))
    covariance_px = np.eye(2) * (ground_sigma**2)[:, None, :]
    position, exact, scale = place(ground.ground_from_image[row], ground_px, covariance_px)
    covariance = exact + np.eye(2) * (settings.jitter_share * ground.sigma_yd[row, None, None]) ** 2
    looks = np.zeros((len(frame), 0)) if appearance is None else discriminate(detections, appearance)
    return Observations(
        view=np.zeros(len(detections), dtype=np.int64), frame_index=np.array([d.frame_index for d in detections]),
        time_s=np.array([d.time_s for d in detections], dtype=np.float64),
        frame=frame, xyxy=xyxy, confidence=confidence, appearance=looks, position=position,
        covariance=covariance, box_covariance=exact, side_sigma_px=side_sigma,
        height_yd=height / scale, covered=covered, border=_at_border(xyxy, image_size_px),
    )


def _at_border(xyxy: FloatArray, image_size_px: tuple[int, int]) -> BoolArray:
    """(D,) True where a box is within half its height of the picture's edge."""
    near = 0.5 * (xyxy[:, 3] - xyxy[:, 1])
    width, height = image_size_px
    left, top, right, bottom = xyxy.T
    return np.asarray((left < near) | (top < near) | (right > width - near) | (bottom > height - near))


def gather(views: Sequence[Observations]) -> Observations:
    """The boxes of several views in one table, their frames taking turns in order of time; each view keeps its number. Frames of
    the same moment are set TICK_S apart, since time must grow."""
    if len(views) == 1:
        return views[0]
    number = np.repeat(np.arange(len(views)), [len(one.time_s) for one in views])
    time_s = np.concatenate([one.time_s for one in views])
    order = np.argsort(time_s, kind="stable")
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    grown = np.maximum.accumulate(time_s[order] - TICK_S * np.arange(len(order))) + TICK_S * np.arange(len(order))
    starts = np.cumsum([0, *(len(one.time_s) for one in views)])
    frame = np.concatenate([place[start + one.frame] for start, one in zip(starts[:-1], views, strict=True)])
    rows = np.argsort(frame, kind="stable")
    columns = {item.name: np.concatenate([getattr(one, item.name) for one in views])[rows] for item in fields(Observations)
               if item.name not in ("view", "frame_index", "time_s", "frame")}
    return Observations(
        view=number[order], frame_index=np.concatenate([one.frame_index for one in views])[order], time_s=grown,
        frame=frame[rows], **columns)


def _fit(found: Detections, settings: TrackingSettings) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where the men stand (N, 2) px, how surely (N, 2), and how surely their boxes' sides are known (N, 4)."""
    if found.outlines is not None:
        told = found.outlines
        return told.ground_px.astype(np.float64), told.ground_sigma_px.astype(np.float64), told.side_sigma_px.astype(np.float64)
    xyxy = found.xyxy.astype(np.float64)
    tall = np.maximum(xyxy[:, 3:] - xyxy[:, 1:2], 1.0)
    foot_sigma = _foot_sigma(found.confidence, covered_feet(xyxy), settings)
    return found.ground_px, tall * foot_sigma, sigma_of_sides(xyxy, found.confidence)


def _foot_sigma(confidence: FloatArray, feet_covered: FloatArray, settings: TrackingSettings) -> FloatArray:
    """(D, 2) standard deviation of the feet across and along the picture's height, in shares of the box's height. Sideways a
    covered man is told by his head and shoulders; where he ends below is a guess."""
    doubt = 1 - confidence
    across = settings.middle_sigma + settings.doubtful_middle_sigma * doubt
    along = settings.foot_sigma + doubt * (settings.doubtful_foot_sigma + settings.covered_foot_sigma * feet_covered)
    return np.stack([across, along], axis=1)
