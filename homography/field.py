"""The field in yards: what is painted where, by level of play.

Field frame: x 0..120 yd from goal-post line to goal-post line (end lines), y 0..53 1/3 yd from the near sideline.
Sources: NFHS Football Rules 1-2 (53 ft 4 in hash marks), NCAA Football Rules 1-2 (60 ft; tops of numbers nine yards
from the sideline, recommended), NFL Rule 1 (70 ft 9 in; bottoms of numbers 12 yd). Values are checked in tests.
"""

from __future__ import annotations

from dataclasses import dataclass

LENGTH_YD = 120.0
END_ZONE_YD = 10.0
WIDTH_YD = 160.0 / 3.0
YARD_LINE_SPACING_YD = 5.0
LINE_WIDTH_YD = 4.0 / 36.0


@dataclass(frozen=True)
class Level:
    """One level of play. `hash_yd`: inbounds line from its nearer sideline. `number_centre_yd`: middle of the painted
    numbers from their nearer sideline, None where no rule fixes it. `number_height_yd`, `number_width_yd`: one digit."""

    name: str
    hash_yd: float
    number_centre_yd: float | None
    number_height_yd: float = 2.0
    number_width_yd: float = 4.0 / 3.0


LEVELS: dict[str, Level] = {
    "high-school": Level("high-school", (53.0 + 4.0 / 12.0) / 3.0, 8.0),
    "college": Level("college", 60.0 / 3.0, 8.0),
    "pro": Level("pro", (70.0 + 9.0 / 12.0) / 3.0, 13.0),
}
