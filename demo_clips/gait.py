"""Bodies over one rep: attitudes from poses and travel, smoothed over time, at any moment."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from demo_clips.motion import RepMotion
from demo_clips.skeleton import ANGLES, attitude, gait_phase, joints
from demo_clips.wardrobe import points_of

Array = npt.NDArray[Any]
_BLEND_S = 0.2


class Bodies:
    """Everybody's joints at any time of the rep. `bulk` (N,) widens bodies; small personal differences come from `rng`."""

    def __init__(self, motion: RepMotion, bulk: Array, rng: np.random.Generator) -> None:
        n, t = motion.torso_rad.shape
        self._motion = motion
        self._height = np.array([a.height_yd for a in motion.actors])
        self._bulk = bulk
        step = float(motion.time_s[1] - motion.time_s[0])
        blend = max(1, round(_BLEND_S / step))
        velocity = np.gradient(uniform_filter1d(motion.xy_yd.astype(float), blend, axis=1, mode="nearest"), step, axis=1)
        speed = np.hypot(velocity[..., 0], velocity[..., 1])
        phase = rng.uniform(0, 2 * np.pi, (n, 1)) + np.cumsum(gait_phase(speed * step, speed), axis=1)
        self._torso = np.unwrap(motion.torso_rad, axis=1)
        course = np.where(speed > 0.3, np.arctan2(velocity[..., 1], velocity[..., 0]) - self._torso, 0.0)
        course = (course + np.pi) % (2 * np.pi) - np.pi
        flat = attitude(motion.pose.ravel(), phase.ravel(), speed.ravel(), course.ravel()).reshape(n, t, len(ANGLES))
        personal = rng.normal(0, 0.05, (n, 1, len(ANGLES)))
        personal[..., [ANGLES.index(name) for name in ("lift", "body_pitch", "body_roll", "torso_roll")]] = 0.0
        self._angles = uniform_filter1d(flat + personal, blend, axis=1, mode="nearest")

    def at(self, time_s: float) -> Array:
        """(N, points, 3) at a time of the rep, interpolated linearly."""
        times = self._motion.time_s
        i = int(np.clip(np.searchsorted(times, time_s, side="right") - 1, 0, len(times) - 2))
        share = float(np.clip((time_s - times[i]) / (times[i + 1] - times[i]), 0.0, 1.0))

        def mix(values: Array) -> Array:
            return values[:, i] * (1 - share) + values[:, i + 1] * share

        return points_of(joints(mix(self._angles), self._height, self._bulk, mix(self._motion.xy_yd), mix(self._torso)))
