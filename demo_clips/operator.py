"""The man behind the camera: frames everybody before the snap, then follows the ball, late, with overshoot, jerks and shake."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.camera import Camera, Mount
from demo_clips.motion import RepMotion

Array = npt.NDArray[Any]
_RATE_HZ = 60.0


@dataclass(frozen=True)
class Habits:
    """One operator. `late_s` is his reaction time; `stiffness_rad_s` and `damping` how he turns (below 1 he overshoots);
    `margin` the share of the picture that everybody fills; `ball_share` how much he follows the ball rather than all;
    `shake_px` the hand's or the stand's tremor; `jerks_per_s` sudden corrections; `sway_rad` a lift's slow swing."""

    late_s: float
    stiffness_rad_s: float
    damping: float
    margin: float
    ball_share: float
    zoom_in: float
    shake_px: float
    jerks_per_s: float
    sway_rad: float


def random_habits(rng: np.random.Generator) -> Habits:
    return Habits(
        late_s=float(rng.uniform(0.12, 0.5)),
        stiffness_rad_s=float(rng.uniform(2.2, 5.0)),
        damping=float(rng.uniform(0.5, 1.0)),
        margin=float(rng.uniform(0.45, 0.85)),
        ball_share=float(rng.uniform(0.3, 0.75)),
        zoom_in=float(np.clip(rng.normal(1.12, 0.12), 0.9, 1.5)),
        shake_px=float(rng.choice([0.05, rng.uniform(0.1, 0.5), rng.uniform(0.5, 1.4)], p=[0.35, 0.45, 0.2])),
        jerks_per_s=float(rng.choice([0.0, rng.uniform(0.05, 0.4)], p=[0.4, 0.6])),
        sway_rad=float(rng.choice([0.0, rng.uniform(0.0005, 0.003)])),
    )


def _seen_from(mount: Mount, points: Array) -> tuple[Array, Array]:
    """Azimuths and elevations (...,) of points (..., 3)."""
    local = points - mount.centre_yd
    return np.arctan2(local[..., 1], local[..., 0]), np.arctan2(local[..., 2], np.hypot(local[..., 0], local[..., 1]))


def _wishes(motion: RepMotion, mount: Mount, habits: Habits, times: Array, size_px: tuple[int, int]) -> Array:
    """(T, 3) pan, tilt and log focal length that the operator would like at each time if he had no lag."""
    playing = [i for i, a in enumerate(motion.actors) if a.side in ("offense", "defense")]
    rows = np.clip(
        np.round(np.interp(times, motion.time_s, np.arange(len(motion.time_s)))).astype(int), 0, len(motion.time_s) - 1
    )
    bodies = motion.xy_yd[playing][:, rows].transpose(1, 0, 2)
    azimuth, elevation = _seen_from(mount, np.concatenate([bodies, np.full((*bodies.shape[:2], 1), 0.9)], axis=2))
    low, high = np.array([azimuth.min(1), elevation.min(1)]), np.array([azimuth.max(1), elevation.max(1)])
    middle, spread = (low + high) / 2, high - low
    ball = motion.ball_xyz_yd[rows] * (1.0, 1.0, 0.3)
    ball_azimuth, ball_elevation = _seen_from(mount, ball)
    before = times < motion.snap_s
    share = np.where(before, 0.0, habits.ball_share * np.clip((times - motion.snap_s) / 1.0, 0, 1))
    pan = middle[0] * (1 - share) + ball_azimuth * share
    tilt = middle[1] * (1 - 0.6 * share) + ball_elevation * 0.6 * share
    width, height = size_px
    wide = habits.margin * width / 2 / np.tan(np.clip(spread[0] / 2, 0.02, 1.3))
    tall = habits.margin * height / 2 / np.tan(np.clip(spread[1] / 2, 0.02, 1.3))
    focal = np.minimum(wide, tall * 1.06)
    at_snap = focal[before][-1] if before.any() else focal[0]
    progress = np.clip((times - motion.snap_s) / 3.0, 0, 1)
    focal = np.where(before, focal, at_snap * (1 + (habits.zoom_in - 1) * progress))
    least, most = (width / 2 / np.tan(angle / 2) for angle in mount.horizontal_field_rad[::-1])
    return np.stack([pan, tilt, np.log(np.clip(focal, least, most))], axis=1)


def _follow(wishes: Array, habits: Habits, rng: np.random.Generator) -> Array:
    """The wishes as carried out: late, through a damped spring, with sudden corrections."""
    step = 1.0 / _RATE_HZ
    late = int(habits.late_s * _RATE_HZ)
    goal = np.concatenate([np.repeat(wishes[:1], late, axis=0), wishes])[: len(wishes)]
    jerk = np.cumsum((rng.random((len(goal), 2)) < habits.jerks_per_s * step) * rng.normal(0, 0.02, (len(goal), 2)), axis=0)
    goal = goal + np.column_stack([jerk - jerk.mean(0), np.zeros(len(goal))])
    state, speed = goal[0].copy(), np.zeros(3)
    stiff = np.array([habits.stiffness_rad_s, habits.stiffness_rad_s, habits.stiffness_rad_s * 0.4])
    damping = np.array([habits.damping, habits.damping, 1.0])
    out = np.empty_like(goal)
    for i, target in enumerate(goal):
        speed += step * (stiff**2 * (target - state) - 2 * damping * stiff * speed)
        state = state + step * speed
        out[i] = state
    return np.asarray(out)


def film(
    motion: RepMotion, mount: Mount, habits: Habits, time_s: Array, size_px: tuple[int, int], rng: np.random.Generator
) -> list[Camera]:
    """One camera for each of the times."""
    fine = np.arange(0.0, float(time_s[-1]) + 2 / _RATE_HZ, 1 / _RATE_HZ)
    path = _follow(_wishes(motion, mount, habits, fine, size_px), habits, rng)
    tremor = rng.normal(0, 1, (len(fine) + 6, 3))
    tremor = (tremor[:-6] + tremor[1:-5] + tremor[2:-4]) / 3**0.5 * habits.shake_px / np.exp(path[:, 2:3])
    swing = habits.sway_rad * np.stack(
        [
            np.sin(fine * 1.9 + rng.uniform(0, 6)),
            0.6 * np.sin(fine * 1.3 + rng.uniform(0, 6)),
            0.5 * np.sin(fine * 0.9 + rng.uniform(0, 6)),
        ],
        axis=1,
    )
    angles = np.column_stack([path[:, :2], np.full(len(fine), mount.roll_rad)]) + tremor * (1, 1, 0.5) + swing
    pan, tilt, roll, focal = (np.interp(time_s, fine, column) for column in (*angles.T, np.exp(path[:, 2])))
    return [
        Camera(mount.centre_yd, float(p), float(t), float(r), float(f), size_px, mount.distortion)
        for p, t, r, f in zip(pan, tilt, roll, focal, strict=True)
    ]
