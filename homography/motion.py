"""How the background moved between two observed frames: corners followed by pyramidal Lucas-Kanade, people left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from homography.evidence import NO_POINTS, FrameEvidence, widened
from homography.lines import outside_boxes

MOST_CORNERS = 140
FEWEST_CORNERS = 60
LEAST_INLIERS = 10
KEPT_PAIRS = 48
WINDOW = (13, 13)
LEVELS = 3
INLIER_PX = 0.9
MOVING_PX = 0.35
STILL_SHARE = 0.25


class BackgroundMotion:
    """Follows background corners from frame to frame on half-size pictures; keeps one picture, no history."""

    def __init__(self) -> None:
        self._half: npt.NDArray[np.uint8] | None = None
        self._corners = NO_POINTS
        self._size: tuple[int, ...] | None = None

    def step(self, half: npt.NDArray[np.uint8], boxes_xyxy: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
        """(P, 2), (P, 2) full-size px of background points in the frame before and in this one; empty when that fails."""
        boxes_half = boxes_xyxy / 2.0 - 0.5
        before = after = NO_POINTS
        if self._size == half.shape and len(self._corners) >= LEAST_INLIERS:
            before, after = self._follow(half, boxes_half)
        elif self._size != half.shape:
            self._corners = NO_POINTS
        self._half, self._size = half, half.shape
        self._corners = after
        if len(after) < FEWEST_CORNERS:
            self._corners = self._refill(half, boxes_half, after)
        if len(after) < LEAST_INLIERS:
            return NO_POINTS, NO_POINTS
        keep = spread_out(after, half.shape, KEPT_PAIRS)
        # Coordinates count from the picture's corner: the middle of half-size pixel i is at 2 (i + 0.5).
        return before[keep] * 2.0 + 1.0, after[keep] * 2.0 + 1.0

    def _follow(self, half: npt.NDArray[np.uint8], boxes_half: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
        assert self._half is not None
        guess, status, _ = cv2.calcOpticalFlowPyrLK(self._half, half, self._corners, self._corners.copy(), winSize=WINDOW,
                                                    maxLevel=LEVELS,
                                                    criteria=(cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 12, 0.02))
        good = status.ravel().astype(bool) & outside_boxes(guess, boxes_half) & outside_boxes(self._corners, boxes_half)
        # While the background moves, what stands still is painted on the picture: a scoreboard, a mark of the station.
        moved = np.linalg.norm(guess - self._corners, axis=1)
        usual = float(np.median(moved[good])) if good.any() else 0.0
        if usual > MOVING_PX:
            good &= moved > STILL_SHARE * usual
        before, after = self._corners[good], guess[good]
        if len(before) < LEAST_INLIERS:
            return NO_POINTS, NO_POINTS
        _, inlier = cv2.findHomography(before, after, cv2.USAC_MAGSAC, INLIER_PX / 2, maxIters=300)
        if inlier is None or inlier.sum() < max(LEAST_INLIERS, 0.35 * len(before)):
            return NO_POINTS, NO_POINTS
        good = inlier.ravel().astype(bool)
        return before[good], after[good]

    @staticmethod
    def _refill(half: npt.NDArray[np.uint8], boxes_half: npt.NDArray[Any], held: npt.NDArray[Any]) -> npt.NDArray[Any]:
        mask = np.full(half.shape, 255, np.uint8)
        for x0, y0, x1, y1 in np.round(widened(boxes_half)).astype(int):
            cv2.rectangle(mask, (x0, y0), (x1, y1), 0, -1)
        for x, y in np.round(held).astype(int):
            cv2.circle(mask, (x, y), 8, 0, -1)
        corners = cv2.goodFeaturesToTrack(half, MOST_CORNERS - len(held), 0.01, 9, mask=mask, blockSize=5)
        if corners is None:
            return held
        return np.concatenate([held, corners.reshape(-1, 2)]).astype(np.float32)


def spread_out(xy_px: npt.NDArray[Any], shape: tuple[int, ...], most: int) -> npt.NDArray[Any]:
    """Indices of at most `most` points, taken in turn from the cells of a 6 x 4 raster."""
    if len(xy_px) <= most:
        return np.arange(len(xy_px))
    cell = (xy_px[:, 0] * 6 // shape[1]).astype(int) + 6 * (xy_px[:, 1] * 4 // shape[0]).astype(int)
    order = np.argsort(cell, kind="stable")
    starts = np.searchsorted(cell[order], cell[order])
    rank = np.empty(len(cell), dtype=int)
    rank[order] = np.arange(len(cell)) - starts
    return np.argsort(rank, kind="stable")[:most]


def image_motion(evidence: Sequence[FrameEvidence]) -> npt.NDArray[np.float64]:
    """(F, 3, 3): where the background of the frame before stands in this one, `current_from_previous`; NaN after a cut."""
    out = np.full((len(evidence), 3, 3), np.nan)
    for row, frame in enumerate(evidence):
        if len(frame.after_px) >= LEAST_INLIERS:
            matrix, _ = cv2.findHomography(frame.before_px, frame.after_px)
            if matrix is not None:
                out[row] = matrix
    return out
