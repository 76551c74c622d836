"""All boxes of a clip in one table, placed on the ground: what tracking works on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from vision.boxes import covered_feet, covered_share
from vision.ground import Ground, place
from vision.looks import discriminate
from vision.tracking_settings import TrackingSettings
from vision.types import Detections, FloatArray, IntArray, foot_of

LEAST_CLARITY = 0.3
"""Of a man wholly covered by others' boxes: his own shirt still shows more often than not."""


@dataclass(frozen=True)
class Observations:
    """D boxes in K frames. `frame` (D,) is the row of `time_s` (K,), sorted. `position` (D, 2) yd on the ground with
    `covariance` (D, 2, 2), of which `box_covariance` (D, 2, 2) is the box's own error; `height_yd` (D,) the box's height by the
    picture's scale there; `covered` (D,) the share that nearer people hide; `appearance` (D, A) in units of one person's spread.
    """

    frame_index: IntArray
    time_s: FloatArray
    frame: IntArray
    xyxy: FloatArray
    confidence: FloatArray
    appearance: FloatArray
    position: FloatArray
    covariance: FloatArray
    box_covariance: FloatArray
    height_yd: FloatArray
    covered: FloatArray

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
            row_of_frame: dict[int, int], settings: TrackingSettings) -> Observations:
    """Put `detections` on the ground; `row_of_frame` finds a frame index's row in `ground`."""
    counts = [len(d) for d in detections]
    frame = np.repeat(np.arange(len(detections)), counts)
    xyxy = np.concatenate([d.xyxy for d in detections]).astype(np.float64).reshape(-1, 4)
    confidence = np.concatenate([d.confidence for d in detections]).astype(np.float64)
    covered = np.concatenate([covered_share(d.xyxy.astype(np.float64)) for d in detections])
    row = np.array([row_of_frame[d.frame_index] for d in detections])[frame]
    height = np.maximum(xyxy[:, 3] - xyxy[:, 1], 1.0)
    feet_covered = np.concatenate([covered_feet(d.xyxy.astype(np.float64)) for d in detections])
    sigma = height[:, None] * _foot_sigma(confidence, feet_covered, settings)
    covariance_px = np.eye(2) * (sigma**2)[:, None, :]
    position, exact, scale = place(ground.ground_from_image[row], foot_of(xyxy), covariance_px)
    covariance = exact + np.eye(2) * (settings.jitter_share * ground.sigma_yd[row, None, None]) ** 2
    looks = np.zeros((len(frame), 0)) if appearance is None else discriminate(detections, appearance)
    return Observations(
        frame_index=np.array([d.frame_index for d in detections]),
        time_s=np.array([d.time_s for d in detections], dtype=np.float64),
        frame=frame, xyxy=xyxy, confidence=confidence, appearance=looks, position=position,
        covariance=covariance, box_covariance=exact,
        height_yd=height / scale, covered=covered,
    )


def _foot_sigma(confidence: FloatArray, feet_covered: FloatArray, settings: TrackingSettings) -> FloatArray:
    """(D, 2) standard deviation of the feet across and along the picture's height, in shares of the box's height. Sideways a
    covered man is told by his head and shoulders; where he ends below is a guess."""
    doubt = 1 - confidence
    across = settings.middle_sigma + settings.doubtful_middle_sigma * doubt
    along = settings.foot_sigma + doubt * (settings.doubtful_foot_sigma + settings.covered_foot_sigma * feet_covered)
    return np.stack([across, along], axis=1)
