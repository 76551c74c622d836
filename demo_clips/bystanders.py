"""Who else stands on a practice field: officials, coaches, the next men up, people on the sidelines."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from demo_clips.motion import POSES, Actor
from demo_clips.setting import Setting
from homography.field import WIDTH_YD

Float = npt.NDArray[np.float64]


def draw_bystanders(
    rng: np.random.Generator, setting: Setting, time_s: Float, run_from_x: Float, kit: str
) -> tuple[list[Actor], Float, Float, npt.NDArray[np.int64]]:
    """Actors with play-frame tracks (N, T, 2), torso directions (N, T) and poses. `run_from_x` (T,): how far downfield the
    play has come, so that those in the way give ground."""
    ball = setting.ball_y_yd
    spots: list[tuple[str, str, float, float, float]] = []  # role, kit, x, y, give: how much he retreats with the play
    if setting.period == "team" and rng.random() < 0.6:
        spots += [
            ("official", "official", -12.5, ball + 7.0, 0.0),
            ("official", "official", 6.5, ball + float(rng.uniform(-3, 3)), 0.2),
            ("official", "official", 0.3, 0.5, 0.3),
            ("official", "official", 0.3, WIDTH_YD - 0.5, 0.3),
            ("official", "official", 22.0, ball + 3.0, 0.8),
        ]
        spots = [s for s in spots if rng.random() < 0.8]
    for _ in range(int(rng.integers(1, 4))):
        spots.append(("coach", "coach", -float(rng.uniform(13, 18)), ball + float(rng.uniform(-9, 9)), 0.0))
    for _ in range(int(rng.integers(0, 3))):
        spots.append(("coach", "coach", float(rng.uniform(23, 30)), ball + float(rng.uniform(-9, 9)), 0.9))
    side = float(rng.choice([-1.0, 1.0]))
    for k in range(int(rng.integers(2, 9))):
        spots.append(
            (
                "waiting",
                kit,
                -float(rng.uniform(16, 22)) - 0.15 * k,
                ball + side * (4.0 + 1.3 * k) + float(rng.normal(0, 0.4)),
                0.0,
            )
        )
    for y in (-3.2, WIDTH_YD + 3.2):
        for _ in range(int(rng.integers(0, 8))):
            who = "coach" if rng.random() < 0.25 else "waiting"
            spots.append(
                (who, "coach" if who == "coach" else kit, float(rng.uniform(-22, 24)), y + float(rng.normal(0, 0.8)), 0.0)
            )
    spots = [s for s in spots if s[2] < setting.back_line_x + 4]
    n, t = len(spots), len(time_s)
    xy, face = np.zeros((n, t, 2)), np.zeros((n, t))
    give = np.maximum.accumulate(np.maximum(run_from_x, 0.0))
    kernel = np.ones(31) / 31.0
    give = np.convolve(np.pad(give, 15, mode="edge"), kernel, mode="valid")
    actors = []
    for k, (role, dress, x, y, back) in enumerate(spots):
        a, b, c, d = rng.uniform(0, 6.28, 4)
        xy[k, :, 0] = x + back * np.minimum(give, 18.0) + 0.25 * np.sin(0.5 * time_s + a) + 0.05 * np.sin(2.1 * time_s + c)
        xy[k, :, 1] = y + 0.3 * np.sin(0.4 * time_s + b) + 0.05 * np.sin(1.7 * time_s + d)
        face[k] = np.arctan2(ball - xy[k, :, 1], 3.0 - xy[k, :, 0]) + 0.3 * np.sin(0.3 * time_s + c)
        number = int(rng.integers(1, 99)) if role == "waiting" else None
        actors.append(Actor(f"X{k + 1}", "other", role, role, number, dress, float(rng.normal(1.97, 0.06))))
    pose = np.full((n, t), POSES.index("stand"), dtype=np.int64)
    speed = np.linalg.norm(np.diff(xy, axis=1, prepend=xy[:, :1]), axis=-1) * 30.0
    pose[speed > 0.6] = POSES.index("walk")
    pose[speed > 3.0] = POSES.index("backpedal")
    return actors, xy, face, pose
