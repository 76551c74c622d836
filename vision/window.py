"""Where in the picture to look for people, and how closely: the network's pixels are spent where they are.

From the end zone the players are small and fill a third of the picture; from the sideline they are large and fill most of it.
The first picture and one each second are looked at whole; between, the part that held people before is looked at alone, enlarged
or reduced until the players are as tall as the network finds them well, at a bounded cost.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from vision.detector import Detector
from vision.types import Detections, FloatArray

WHOLE_EVERY_S = 1.0
"""How long a man who has come from outside may wait until he is looked for."""
WHOLE_SIZE_PX = 1280
"""Longer side of a whole picture for the network."""
LEAST_CONFIDENCE = 0.3
"""Of people who are kept in the window."""
MARGIN = 0.8
"""Room around the people, in heights of the median player: more than anybody covers between two looks."""
MOST_PIXELS = 960 * 544
"""What one look may cost."""
TALL_PX = 60.0
"""Median player as the network should see him; taller ones are found no better, only slower."""
MOST_ENLARGED = 2.0
STEP_PX = 64
"""Longer sides for the network are multiples of this: every new size costs the runtime a plan."""
BORDER_PX = 2.0


class Window:
    """Looks for people through one clip. Pictures must come in the order of time."""

    def __init__(self, detector: Detector) -> None:
        self._detector = detector
        self._whole_at_s: float | None = None
        self._people: FloatArray = np.zeros((0, 4))

    def detect(self, frame_index: int, time_s: float, bgr: npt.NDArray[np.uint8]) -> Detections:
        """As `Detector.detect`: people in `bgr`, boxes in its pixels."""
        whole = self._whole_at_s is None or not len(self._people) or time_s - self._whole_at_s >= WHOLE_EVERY_S
        if whole:
            self._whole_at_s = time_s
            found = self._detector.detect(frame_index, time_s, bgr, WHOLE_SIZE_PX)
        else:
            found = self._look_closely(frame_index, time_s, bgr)
        self._people = found.xyxy[found.confidence >= LEAST_CONFIDENCE].astype(float)
        return found

    def _look_closely(self, frame_index: int, time_s: float, bgr: npt.NDArray[np.uint8]) -> Detections:
        height, width = bgr.shape[:2]
        tall = float(np.median(self._people[:, 3] - self._people[:, 1]))
        low = np.floor(np.maximum(self._people[:, :2].min(axis=0) - MARGIN * tall, 0)).astype(int)
        high = np.ceil(np.minimum(self._people[:, 2:].max(axis=0) + MARGIN * tall, [width, height])).astype(int)
        size = high - low
        scale = min(float(np.sqrt(MOST_PIXELS / size.prod())), TALL_PX / tall, MOST_ENLARGED)
        asked = max(STEP_PX, int(size.max() * scale) // STEP_PX * STEP_PX)
        found = self._detector.detect(frame_index, time_s, np.ascontiguousarray(bgr[low[1]:high[1], low[0]:high[0]]), asked)
        # Whoever is cut by a border that is not the picture's is seen in part only: the next whole look finds him.
        inner_low, inner_high = low > 0, high < [width, height]
        cut = ((found.xyxy[:, :2] < BORDER_PX) & inner_low) | ((found.xyxy[:, 2:] > size - BORDER_PX) & inner_high)
        kept = ~cut.any(axis=1)
        shifted = found.xyxy[kept] + np.tile(low, 2).astype(np.float32)
        return Detections(frame_index, time_s, shifted, found.confidence[kept], found.class_id[kept])
