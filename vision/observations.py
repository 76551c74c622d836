"""All boxes of a clip in one table, placed on the ground: what tracking works on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.boxes import covered_share, iou
from vision.ground import Ground, place
from vision.tracking_settings import TrackingSettings
from vision.types import Detections, FloatArray, IntArray, foot_of


@dataclass(frozen=True)
class Observations:
    """D boxes in K frames. `frame` (D,) is the row of `time_s` (K,), sorted. `position` (D, 2) yd on the ground with `covariance`
    (D, 2, 2); `height_yd` (D,) the box's height by the picture's scale there; `covered` (D,) the share that nearer people
    hide; `appearance` (D, A) in units of its own noise."""

    frame_index: IntArray
    time_s: FloatArray
    frame: IntArray
    xyxy: FloatArray
    confidence: FloatArray
    appearance: FloatArray
    position: FloatArray
    covariance: FloatArray
    height_yd: FloatArray
    covered: FloatArray

    def __len__(self) -> int:
        return len(self.frame)

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
    sigma = np.stack([np.hypot(settings.foot_x_sigma, 0.5 * settings.hidden_foot_sigma * covered),
                      np.hypot(settings.foot_y_sigma, settings.hidden_foot_sigma * covered)], axis=1) * height[:, None]
    covariance_px = np.eye(2) * (sigma**2)[:, None, :]
    position, covariance, scale = place(ground.ground_from_image[row], foot_of(xyxy), covariance_px, ground.sigma_yd[row])
    looks = _looks(detections, appearance, counts)
    return Observations(
        frame_index=np.array([d.frame_index for d in detections]),
        time_s=np.array([d.time_s for d in detections], dtype=np.float64),
        frame=frame, xyxy=xyxy, confidence=confidence, appearance=looks, position=position, covariance=covariance,
        height_yd=height / scale, covered=covered,
    )


def _looks(detections: Sequence[Detections], appearance: Sequence[FloatArray] | None, counts: list[int]) -> FloatArray:
    """Appearance in units of its own noise: the robust spread between boxes of neighbouring frames that surely are one person."""
    if appearance is None or not sum(counts):
        return np.zeros((sum(counts), 0))
    if [len(a) for a in appearance] != counts:
        raise ValueError("appearance: wanted one row for every detection of every frame")
    looks = np.concatenate(appearance).astype(np.float64)
    differences = [np.zeros((0, looks.shape[1]))]
    for before, after, a, b in zip(detections, detections[1:], appearance, appearance[1:], strict=False):
        overlap = iou(before.xyxy, after.xyxy)
        pairs = np.argwhere(overlap > 0.7)
        differences.append(b[pairs[:, 1]] - a[pairs[:, 0]])
    noise = np.nanmedian(np.abs(np.concatenate(differences)), axis=0) * 1.4826 / np.sqrt(2) if sum(map(len, differences)) else 1.0
    noise = np.where(np.asarray(noise) > 1e-6, noise, np.maximum(looks.std(axis=0), 1e-6))
    scaled: FloatArray = looks / noise
    return scaled
