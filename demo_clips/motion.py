"""What the simulator hands to the renderer: everybody on the field over one rep, in the field frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from vision.types import check_array

POSES = (
    "stand", "two-point", "three-point", "under-center", "walk", "run", "backpedal", "shuffle", "block", "throw", "catch",
    "dive", "ground", "kneel", "point",
)
"""Body attitudes, indices of `RepMotion.pose`."""


@dataclass(frozen=True)
class Actor:
    """One person in the scene. `kit` names who dresses him: home, away, pinnie, red (no contact), official, coach, plain."""

    player_id: str
    side: str
    role: str
    slot: str
    number: int | None
    kit: str
    height_yd: float


@dataclass(frozen=True)
class RepMotion:
    """One rep in motion on a uniform time base.

    `time_s` (T,); `xy_yd` (N, T, 2) field frame; `torso_rad` (N, T) field frame, 0 = +x growing toward +y; `pose` (N, T)
    indices into POSES; `ball_xyz_yd` (T, 3), z up. Raises ValueError on other shapes.
    """

    level: str
    time_s: npt.NDArray[np.floating[Any]]
    snap_s: float
    end_s: float
    actors: tuple[Actor, ...]
    xy_yd: npt.NDArray[np.floating[Any]]
    torso_rad: npt.NDArray[np.floating[Any]]
    pose: npt.NDArray[np.integer[Any]]
    ball_xyz_yd: npt.NDArray[np.floating[Any]]

    def __post_init__(self) -> None:
        n, t = len(self.actors), len(self.time_s)
        check_array("xy_yd", self.xy_yd, (n, t, 2), "f")
        check_array("torso_rad", self.torso_rad, (n, t), "f")
        check_array("pose", self.pose, (n, t), "iu")
        check_array("ball_xyz_yd", self.ball_xyz_yd, (t, 3), "f")
