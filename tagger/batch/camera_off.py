"""Where the camera was off: a frame that does not lie in the one before, however shifted, though its neighbours lie in theirs.

A swing changes several frames in a row; more or less light changes none, as each picture is compared by its shapes alone; a
flash changes the picture twice.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

WATCHED_PER_S = 12.5
"""Frames; from one to the next even a swing moves the picture by little."""
WIDTH_PX, SHADE_PX = 160, 4.0
"""Of the small picture; shapes larger than this are light and shade."""
MOST_SHIFT = 0.12
"""Of the picture's width and height; with more some place will fit by chance."""
SUDDEN, AROUND = 0.2, 2
"""By how much less a frame is like the one before than so many before it and after it are like theirs."""
FLAT = 0.1
"""Grey levels; a picture without shapes, as a lens cap gives, is like another such."""


class CameraWatch:
    """Sees a film's frames in turn, some `WATCHED_PER_S`, and keeps one small picture and a number a frame."""

    def __init__(self) -> None:
        self._before: npt.NDArray[np.float32] | None = None
        self._likeness: list[float] = []

    def see(self, bgr: npt.NDArray[np.uint8]) -> None:
        """The next frame, (H, W, 3)."""
        height_px = max(8, round(WIDTH_PX * bgr.shape[0] / bgr.shape[1]))
        small = cv2.resize(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), (WIDTH_PX, height_px), interpolation=cv2.INTER_AREA)
        shapes = small.astype(np.float32)
        shapes -= cv2.GaussianBlur(shapes, (0, 0), SHADE_PX)
        self._likeness.append(1.0 if self._before is None else _likeness(self._before, shapes))
        self._before = shapes

    def cuts(self) -> npt.NDArray[np.bool_]:
        """(F,) of the frames seen, whether the camera was off before each; not before the first."""
        like = np.array(self._likeness)
        around = np.pad(like, AROUND, constant_values=1.0)
        others = [around[AROUND + k:AROUND + k + len(like)] for k in range(-AROUND, AROUND + 1) if k]
        sudden: npt.NDArray[np.bool_] = np.min(others, axis=0) - like > SUDDEN
        return sudden


def _likeness(before: npt.NDArray[np.float32], now: npt.NDArray[np.float32]) -> float:
    """Normalised correlation, -1 to 1, of the middle of this picture with the place in the one before where it fits best."""
    margin = [max(1, int(MOST_SHIFT * side)) for side in now.shape]
    middle = now[margin[0]:-margin[0], margin[1]:-margin[1]]
    flat = [bool(shapes.std() < FLAT) for shapes in (before, middle)]
    return float(all(flat)) if any(flat) else float(cv2.matchTemplate(before, middle, cv2.TM_CCOEFF_NORMED).max())
