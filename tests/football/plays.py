"""Hand-built plays in the play frame: eleven against eleven, every man on a path of straight legs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from homography.field import WIDTH_YD
from tagger.football.types import PlayTracks, Situation

MIDDLE = WIDTH_YD / 2
SNAP_S = 3.0
END_S = 7.0
RATE_HZ = 15
Path = Sequence[tuple[float, float, float]]
"""(seconds after the snap, downfield, across from the middle); straight between, still before and after."""

LINE: dict[str, Path] = {f"O{i + 1}": [(0, -0.5, (i - 2) * 1.5), (1.2, -2.5, (i - 2) * 1.8)] for i in range(5)}
PASSER: dict[str, Path] = {"O6": [(0, -5.0, 0), (1.6, -8.5, 0), (1.8, -8.5, 0), (3.2, -7.0, 0.5)]}
FOUR_VERTICALS: dict[str, Path] = {
    "O7": [(0, -0.5, -20), (0.1, -0.5, -20), (3.5, 24, -20)], "O8": [(0, -1.2, -9), (0.1, -1.2, -9), (3.5, 22, -8)],
    "O9": [(0, -1.2, 9), (0.1, -1.2, 9), (3.5, 22, 8)], "O10": [(0, -0.5, 20), (0.1, -0.5, 20), (3.5, 24, 20)],
    "O11": [(0, -5.0, 2.5), (0.2, -5, 2.5), (2.0, -1.0, 6)],
}
RUSH: dict[str, Path] = {
    f"D{i + 1}": [(0, 0.8, x), (0.2, 0.8, x), (2.2, -4.5, x * 0.7)] for i, x in enumerate((-5, -1.5, 1.5, 5))}
COVER_3: dict[str, Path] = {
    "D5": [(0, 7, -18), (0.3, 7, -18), (3.5, 27, -18)], "D6": [(0, 13, 0), (0.3, 13, 0), (3.5, 28, 0)],
    "D7": [(0, 7, 18), (0.3, 7, 18), (3.5, 27, 18)], "D8": [(0, 5, -8), (0.5, 5, -8), (2.4, 9, -14), (4, 9, -14)],
    "D9": [(0, 4.5, -2), (0.5, 4.5, -2), (2.3, 9, -5), (4, 9, -5)], "D10": [(0, 4.5, 2), (0.5, 4.5, 2), (2.3, 9, 5), (4, 9, 5)],
    "D11": [(0, 9, 9), (0.3, 9, 9), (2.3, 9, 14), (4, 9, 14)],
}
PRESS_MAN: dict[str, Path] = {
    "D5": [(0, 1.5, -19.5), (0.3, 1.5, -19.5), (3.7, 23, -19.6)], "D6": [(0, 1.5, -8.5), (0.3, 1.5, -8.5), (3.7, 21, -7.8)],
    "D7": [(0, 1.5, 8.5), (0.3, 1.5, 8.5), (3.7, 21, 7.8)], "D8": [(0, 1.5, 19.5), (0.3, 1.5, 19.5), (3.7, 23, 19.6)],
    "D9": [(0, 4, 3), (0.4, 4, 3), (2.2, 0.5, 5.5)], "D10": [(0, 3, -3), (0.2, 3, -3), (2.2, -5, -1)],
    "D11": [(0, 3, 1), (0.2, 3, 1), (2.2, -5, 1)],
}


def build(*groups: Mapping[str, Path], situation: Situation | None = None, snap_s: float | None = SNAP_S) -> PlayTracks:
    """The play of some groups of men."""
    men = {name: path for group in groups for name, path in group.items()}
    time_s = np.arange(0, END_S, 1 / RATE_HZ)
    xy = np.empty((len(men), len(time_s), 2))
    for i, path in enumerate(men.values()):
        at, down, across = np.array(path, dtype=float).T
        xy[i, :, 0], xy[i, :, 1] = np.interp(time_s - SNAP_S, at, down), np.interp(time_s - SNAP_S, at, across) + MIDDLE
    side = np.array(["offense" if name.startswith("O") else "defense" for name in men])
    shape = xy.shape[:2]
    return PlayTracks(time_s, tuple(men), side, xy, np.full(shape, 0.1), np.full(shape, np.nan), (None,) * len(men),
                      snap_s=snap_s, situation=situation or Situation())


def cover_3(**given: object) -> PlayTracks:
    """Four verticals against spot-dropping cover-3 with a four-man rush."""
    return build(LINE, PASSER, FOUR_VERTICALS, RUSH, COVER_3, **given)  # type: ignore[arg-type]


def cover_0(**given: object) -> PlayTracks:
    """Four verticals against man all over and six rushers."""
    return build(LINE, PASSER, FOUR_VERTICALS, RUSH, PRESS_MAN, **given)  # type: ignore[arg-type]
