"""Looking at one frame after another, keeping points instead of pictures."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from homography.evidence import FrameEvidence
from homography.lines import Grey, find_ridges
from homography.motion import BackgroundMotion
from homography.turf import far_edge
from homography.yard_numbers import Still

PAINT_EVERY = 20
STILL_EVERY_S, MOST_STILLS = 1.0, 16


class Observer:
    """Watches the frames of one clip in order. The background's motion is taken at each call, the paint at every
    `paint_every`-th (a frame in whose predecessor the motion was lost is always looked at)."""

    def __init__(self, paint_every: int = PAINT_EVERY) -> None:
        self._paint_every = paint_every
        self._calls = 0
        self._before_index: int | None = None
        self._motion = BackgroundMotion()
        self._still_every_s = STILL_EVERY_S
        self.stills: list[Still] = []
        """A few pictures of the clip, spread over it: what is painted on the turf can be read once the camera is known."""
        self._still_s: list[float] = []

    def observe(self, frame_index: int, time_s: float, bgr: npt.NDArray[np.uint8], boxes_xyxy: npt.NDArray[Any]) -> FrameEvidence:
        """Evidence of the next frame. `bgr` (H, W, 3) uint8, `boxes_xyxy` (B, 4) px of the people in it, B may be 0.

        Raises ValueError when the picture is no (H, W, 3) uint8 array."""
        if bgr.ndim != 3 or bgr.shape[2] != 3 or bgr.dtype != np.uint8:
            raise ValueError(f"frame {frame_index}: picture has shape {bgr.shape} and type {bgr.dtype}, wanted (H, W, 3) uint8")
        boxes = np.asarray(boxes_xyxy, dtype=np.float32).reshape(-1, 4)
        grey: Grey = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
        small = cv2.resize(grey, (grey.shape[1] // 2, grey.shape[0] // 2), interpolation=cv2.INTER_AREA)
        half: Grey = np.asarray(small, dtype=np.uint8)
        before, after = self._motion.step(half, boxes)
        ridges = None
        if self._calls % self._paint_every == 0 or not len(after):
            ridges = find_ridges(grey, half, boxes, far_edge(bgr, boxes))
        self._keep_still(Still(frame_index, grey, boxes), time_s)
        self._calls += 1
        evidence = FrameEvidence(frame_index, time_s, (grey.shape[1], grey.shape[0]), ridges,
                                 self._before_index if len(after) else None, before, after, boxes)
        self._before_index = frame_index
        return evidence

    def _keep_still(self, still: Still, time_s: float) -> None:
        if self._still_s and time_s - self._still_s[-1] < self._still_every_s:
            return
        self.stills.append(still)
        self._still_s.append(time_s)
        if len(self.stills) > MOST_STILLS:
            del self.stills[1::2], self._still_s[1::2]
            self._still_every_s *= 2
