"""Where a zone is drawn, and how the play frame lies on the field.

The areas are for the eye: they show the structure, they are not what the reading was decided by. Depths and widths:
common practice, no source; the field's own lines are from `homography.field`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from shapely.geometry import Polygon, box

from homography.field import END_ZONE_YD, LENGTH_YD, LEVELS, WIDTH_YD
from vision.types import FloatArray

DEEP_FROM_YD, DEEP_TO_YD = 12.0, 27.0
UNDER_FROM_YD, UNDER_TO_YD = 4.0, 12.0
FLAT_FROM_YD, FLAT_TO_YD = 1.0, 8.0
ROBBER_FROM_YD, ROBBER_TO_YD = 9.0, 16.0
GAP_YD = 0.6
"""Left free around each area, so that neighbours stay apart in black and white too."""
CORNER_YD = 2.0
THIRD_YD, QUARTER_YD, MIDDLE_YD = WIDTH_YD / 3, WIDTH_YD / 4, WIDTH_YD / 2
INSIDE_NUMBERS_YD = 12.0


@dataclass(frozen=True)
class Placement:
    """How a rep's play frame lies on the field: the line of scrimmage at x = `line_x_yd`, the offense attacking +x (`direction`
    1) or -x (-1). Raises ValueError on another direction."""

    line_x_yd: float
    direction: int

    def __post_init__(self) -> None:
        if self.direction not in (1, -1):
            raise ValueError(f"direction: {self.direction}, wanted 1 (the offense attacks +x) or -1")

    def field_from_play(self, play_yd: FloatArray) -> FloatArray:
        """(N, 2) downfield, across -> (N, 2) x, y in the field frame."""
        across = play_yd[:, 1]
        y = WIDTH_YD - across if self.direction == 1 else across
        return np.stack([self.line_x_yd + self.direction * play_yd[:, 0], y], axis=1)

    def play_from_field(self, field_yd: FloatArray) -> FloatArray:
        """(N, 2) x, y in the field frame -> (N, 2) downfield, across."""
        y = field_yd[:, 1]
        across = WIDTH_YD - y if self.direction == 1 else y
        return np.stack([self.direction * (field_yd[:, 0] - self.line_x_yd), across], axis=1)

    @property
    def depth_to_end_line_yd(self) -> float:
        """Yards from the line of scrimmage to the end line that the offense attacks."""
        return LENGTH_YD - self.line_x_yd if self.direction == 1 else self.line_x_yd

    @property
    def yards_to_goal(self) -> float:
        """Yards from the line of scrimmage to the goal line that the offense attacks."""
        return self.depth_to_end_line_yd - END_ZONE_YD


def _bands(hash_yd: float) -> dict[tuple[str, str | None], tuple[float, float, float, float]]:
    """(downfield from, to, across from, to) of the areas on the left and in the middle."""
    hook_inside = min(hash_yd + 3.0, MIDDLE_YD)
    return {
        ("deep-third", "left"): (DEEP_FROM_YD, DEEP_TO_YD, 0, THIRD_YD),
        ("deep-third", "middle"): (DEEP_FROM_YD, DEEP_TO_YD, THIRD_YD, 2 * THIRD_YD),
        ("deep-half", "left"): (DEEP_FROM_YD, DEEP_TO_YD, 0, MIDDLE_YD),
        ("deep-half", "middle"): (DEEP_FROM_YD, DEEP_TO_YD, hash_yd, WIDTH_YD - hash_yd),
        ("deep-quarter", "left-outside"): (DEEP_FROM_YD, DEEP_TO_YD, 0, QUARTER_YD),
        ("deep-quarter", "left-inside"): (DEEP_FROM_YD, DEEP_TO_YD, QUARTER_YD, 2 * QUARTER_YD),
        ("curl-flat", "left"): (UNDER_FROM_YD, UNDER_TO_YD, 1.0, INSIDE_NUMBERS_YD),
        ("hook-curl", "left"): (UNDER_FROM_YD, UNDER_TO_YD, INSIDE_NUMBERS_YD, hook_inside),
        ("middle-hook", "middle"): (UNDER_FROM_YD, UNDER_TO_YD, MIDDLE_YD - 5.0, MIDDLE_YD + 5.0),
        ("flat", "left"): (FLAT_FROM_YD, FLAT_TO_YD, 0.0, INSIDE_NUMBERS_YD - 2.0),
        ("robber", "middle"): (ROBBER_FROM_YD, ROBBER_TO_YD, MIDDLE_YD - 6.0, MIDDLE_YD + 6.0),
    }


@lru_cache(maxsize=256)
def zone_polygon(assignment: str, area: str | None, hash_yd: float | None, depth_yd: float = 60.0) -> Polygon | None:
    """The area of an assignment in the play frame (downfield, across), or None where it has none (man, rush, spy).

    `depth_yd` is how much field there is behind the line of scrimmage; near the goal line the areas are cut there.
    """
    bands = _bands(hash_yd or LEVELS["college"].hash_yd)
    if assignment in ("robber", "middle-hook") and area is None:
        area = "middle"
    band = bands.get((assignment, area))
    if band is None and area is not None and area.startswith("right"):
        mirrored = bands.get((assignment, area.replace("right", "left")))
        band = mirrored and (mirrored[0], mirrored[1], WIDTH_YD - mirrored[3], WIDTH_YD - mirrored[2])
    if not band:
        return None
    near, far, left, right = band
    if far > depth_yd:
        near, far = min(near, max(depth_yd - 6.0, 0.0)), depth_yd
    inner = box(near + CORNER_YD + GAP_YD, left + CORNER_YD + GAP_YD, far - CORNER_YD - GAP_YD, right - CORNER_YD - GAP_YD)
    rounded: Polygon = inner.buffer(CORNER_YD, quad_segs=6)
    return rounded
