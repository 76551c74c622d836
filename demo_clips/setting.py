"""Where and when a simulated rep is played, and the way from the play frame to the field frame.

Everything in the simulator lives in the play frame: x yards past the line of scrimmage (downfield), y yards from the
offense's left sideline; angles 0 downfield, growing toward the offense's right. Yards, seconds, radians.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.field import END_ZONE_YD, LENGTH_YD, LEVELS, WIDTH_YD

MIDDLE_YD = WIDTH_YD / 2.0


@dataclass(frozen=True)
class Setting:
    """The situation of one rep. `ball_y_yd` in the play frame; `direction` +1 if the offense attacks +x of the field."""

    level: str
    period: str
    down: int
    distance_yd: int
    yards_to_goal: int
    hash_side: str
    ball_y_yd: float
    direction: int

    @property
    def back_line_x(self) -> float:
        """The end line that the offense attacks, play frame."""
        return self.yards_to_goal + END_ZONE_YD

    @property
    def goal_x(self) -> float:
        """The goal line that the offense attacks, play frame."""
        return float(self.yards_to_goal)

    @property
    def numbers_yd(self) -> float:
        """Distance of the numbers from the sideline; high school and college often paint them at about 8 yd."""
        return LEVELS[self.level].number_centre_yd or 8.0

    def room_yd(self, out: float) -> float:
        """Yards from the ball to the sideline on the side `out` (-1 left, +1 right)."""
        return self.ball_y_yd if out < 0 else WIDTH_YD - self.ball_y_yd

    def to_field(self, xy_yd: npt.NDArray[np.floating[Any]]) -> npt.NDArray[np.floating[Any]]:
        """Play frame (..., 2) to field frame (..., 2)."""
        goal_line = LENGTH_YD - END_ZONE_YD if self.direction > 0 else END_ZONE_YD
        x = goal_line - self.direction * (self.yards_to_goal - xy_yd[..., 0])
        y = WIDTH_YD - xy_yd[..., 1] if self.direction > 0 else xy_yd[..., 1]
        return np.asarray(np.stack([x, y], axis=-1))

    def to_field_angle(self, angle_rad: npt.NDArray[np.floating[Any]]) -> npt.NDArray[np.floating[Any]]:
        """Play frame direction to field frame direction, in -pi..pi."""
        turned = -angle_rad if self.direction > 0 else np.pi - angle_rad
        return np.asarray(np.mod(turned + np.pi, 2.0 * np.pi) - np.pi)


def _ball_y(rng: np.random.Generator, level: str, hash_side: str) -> float:
    hash_yd = LEVELS[level].hash_yd
    if hash_side == "middle":
        half_gap = max(MIDDLE_YD - hash_yd - 0.6, 0.0)
        return float(MIDDLE_YD + rng.uniform(-0.7, 0.7) * half_gap)
    return hash_yd if hash_side == "left" else WIDTH_YD - hash_yd


def draw_setting(rng: np.random.Generator, level: str | None, period: str | None) -> Setting:
    """Draw level, period, down, distance, spot, hash and direction. Raises ValueError for an unknown level or period."""
    level = level or str(rng.choice(list(LEVELS), p=[0.35, 0.35, 0.3]))
    if level not in LEVELS:
        raise ValueError(f"level: {level!r}, wanted one of {', '.join(LEVELS)}")
    period = period or str(rng.choice(["team", "seven-on-seven"], p=[0.8, 0.2]))
    if period not in ("team", "seven-on-seven"):
        raise ValueError(f"period: {period!r}, wanted team or seven-on-seven")
    yards_to_goal = int(rng.integers(3, 25)) if rng.random() < 0.16 else int(rng.integers(25, 96))
    down = int(rng.choice([1, 2, 3, 4], p=[0.42, 0.3, 0.25, 0.03]))
    distance = 10 if down == 1 else int(np.clip(round(rng.gamma(3.2, 2.2)), 1, 20))
    hash_side = str(rng.choice(["left", "middle", "right"], p=[0.37, 0.26, 0.37]))
    return Setting(
        level,
        period,
        down,
        min(distance, yards_to_goal),
        yards_to_goal,
        hash_side,
        _ball_y(rng, level, hash_side),
        int(rng.choice([-1, 1])),
    )
