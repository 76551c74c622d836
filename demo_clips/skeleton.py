"""From a body attitude to joints in the field frame: angles by pose and gait phase, then forward kinematics.

Angles stand in the body's own frame (forward, left, up), absolute to gravity: a hanging limb has pitch 0 and swings forward
with growing pitch; abduction lifts it outward. Lengths are shares of the body height (anthropometric tables, rounded).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.motion import POSES

Array = npt.NDArray[Any]

ANGLES = (
    "torso_pitch",
    "torso_roll",
    "head_pitch",
    "head_yaw",
    "thigh_pitch_l",
    "thigh_pitch_r",
    "thigh_out_l",
    "thigh_out_r",
    "knee_l",
    "knee_r",
    "arm_pitch_l",
    "arm_pitch_r",
    "arm_out_l",
    "arm_out_r",
    "elbow_l",
    "elbow_r",
    "fold_l",
    "fold_r",
    "body_pitch",
    "body_roll",
    "leg_yaw",
    "lift",
)
COLUMN = {name: i for i, name in enumerate(ANGLES)}

JOINTS = (
    "pelvis",
    "chest",
    "neck",
    "head",
    "hip_l",
    "hip_r",
    "knee_l",
    "knee_r",
    "ankle_l",
    "ankle_r",
    "toe_l",
    "toe_r",
    "heel_l",
    "heel_r",
    "shoulder_l",
    "shoulder_r",
    "elbow_l",
    "elbow_r",
    "wrist_l",
    "wrist_r",
    "hand_l",
    "hand_r",
    "face",
    "crown",
)
JOINT = {name: i for i, name in enumerate(JOINTS)}


def _pose(**angles: float | tuple[float, float]) -> Array:
    """One row of ANGLES; a pair names left and right at once, a single number for a limb stands for both."""
    row = np.zeros(len(ANGLES))
    for name, value in angles.items():
        if name in COLUMN:
            row[COLUMN[name]] = value
        else:
            left, right = value if isinstance(value, tuple) else (value, value)
            row[COLUMN[name + "_l"]], row[COLUMN[name + "_r"]] = left, right
    return row


BASE: dict[str, Array] = {
    "stand": _pose(torso_pitch=0.05, thigh_out=0.09, arm_pitch=0.05, arm_out=0.16, elbow=0.25, thigh_pitch=0.03, knee=0.06),
    "two-point": _pose(
        torso_pitch=0.62,
        head_pitch=-0.3,
        thigh_pitch=(0.75, 0.55),
        knee=(0.95, 0.9),
        thigh_out=0.16,
        arm_pitch=0.25,
        arm_out=0.2,
        elbow=0.8,
    ),
    "three-point": _pose(
        torso_pitch=1.38,
        head_pitch=-0.75,
        thigh_pitch=(1.25, 0.75),
        knee=(1.55, 1.5),
        thigh_out=0.22,
        arm_pitch=(0.5, 0.05),
        arm_out=(0.15, 0.05),
        elbow=(1.0, 0.05),
    ),
    "under-center": _pose(
        torso_pitch=0.5,
        head_pitch=-0.3,
        thigh_pitch=0.55,
        knee=0.75,
        thigh_out=0.14,
        arm_pitch=0.55,
        arm_out=0.05,
        elbow=0.5,
        fold=0.25,
    ),
    "walk": _pose(torso_pitch=0.08, thigh_out=0.05, arm_out=0.13, elbow=0.35),
    "run": _pose(torso_pitch=0.25, head_pitch=-0.1, thigh_out=0.03, arm_out=0.14, elbow=1.45, fold=0.25),
    "backpedal": _pose(torso_pitch=0.5, head_pitch=-0.25, thigh_pitch=0.45, knee=0.85, thigh_out=0.08, arm_out=0.2, elbow=1.3),
    "shuffle": _pose(torso_pitch=0.42, head_pitch=-0.2, thigh_pitch=0.5, knee=0.85, thigh_out=0.2, arm_out=0.35, elbow=1.1),
    "block": _pose(
        torso_pitch=0.42,
        head_pitch=-0.2,
        thigh_pitch=(0.75, 0.35),
        knee=(0.9, 0.75),
        thigh_out=0.22,
        arm_pitch=1.05,
        arm_out=0.2,
        elbow=0.7,
        fold=0.15,
    ),
    "throw": _pose(
        torso_pitch=0.1,
        torso_roll=0.15,
        thigh_pitch=(0.45, -0.2),
        knee=(0.3, 0.35),
        thigh_out=0.15,
        arm_pitch=(1.0, -0.4),
        arm_out=(0.3, 1.5),
        elbow=(0.5, 1.7),
    ),
    "catch": _pose(
        torso_pitch=0.15,
        head_pitch=0.15,
        thigh_pitch=(0.4, 0.1),
        knee=(0.5, 0.3),
        arm_pitch=2.1,
        arm_out=0.15,
        elbow=0.35,
        fold=0.2,
    ),
    "dive": _pose(
        torso_pitch=0.2,
        head_pitch=0.3,
        thigh_pitch=(0.2, -0.2),
        knee=(0.4, 0.6),
        arm_pitch=2.6,
        arm_out=0.3,
        elbow=0.25,
        body_pitch=1.25,
        thigh_out=0.12,
    ),
    "ground": _pose(
        torso_pitch=0.25,
        thigh_pitch=(0.7, 0.2),
        knee=(1.2, 0.5),
        arm_pitch=(1.2, 0.5),
        arm_out=(0.5, 0.7),
        elbow=(0.8, 0.5),
        body_pitch=1.5,
        body_roll=0.4,
        thigh_out=0.15,
    ),
    "kneel": _pose(
        torso_pitch=0.12, thigh_pitch=(1.45, -0.1), knee=(1.5, 1.55), thigh_out=0.12, arm_pitch=0.4, arm_out=0.15, elbow=1.0
    ),
    "point": _pose(torso_pitch=0.08, thigh_out=0.1, arm_pitch=(1.5, 0.1), arm_out=(0.3, 0.15), elbow=(0.1, 0.3)),
}
BASE_TABLE = np.stack([BASE[name] for name in POSES])
RUN, WALK, BACKPEDAL = (POSES.index(name) for name in ("run", "walk", "backpedal"))
_MOVING_FEET = np.isin(
    np.arange(len(POSES)), [POSES.index(p) for p in ("run", "walk", "backpedal", "shuffle", "block", "catch", "throw")]
)


def attitude(pose: npt.NDArray[np.integer[Any]], phase: Array, speed_yd_s: Array, course_rad: Array) -> Array:
    """(M, len(ANGLES)) for M bodies: the pose's own angles, then the legs' cycle.

    `phase` is the gait phase in rad, `course_rad` the direction of travel relative to the torso (0 = forward).
    """
    angles = BASE_TABLE[pose].copy()
    speed = np.clip(speed_yd_s, 0.0, 9.5)
    moving = np.clip(speed / 0.8, 0.0, 1.0) * _MOVING_FEET[pose]
    running = (pose == RUN) * np.clip((speed - 2.0) / 4.0, 0.0, 1.0)
    sideways = np.abs(np.sin(course_rad)) * (pose != RUN)
    backward = np.cos(course_rad) < -0.5
    swing = moving * (0.3 + 0.42 * running) * np.where(backward, 0.75, 1.0) * (1.0 - 0.75 * sideways)
    turn = np.where(backward, course_rad - np.pi * np.sign(course_rad), course_rad)
    angles[:, COLUMN["leg_yaw"]] = np.clip(turn, -1.1, 1.1) * np.where(pose == RUN, 0.75, 0.25) * moving
    cycle = np.where(backward, -phase, phase)
    for side, offset in (("l", 0.0), ("r", np.pi)):
        wave, lifted = np.sin(cycle + offset), np.cos(cycle + offset)
        angles[:, COLUMN["thigh_pitch_" + side]] += swing * wave + 0.25 * running
        angles[:, COLUMN["knee_" + side]] += moving * ((0.25 + 0.75 * running) * (0.55 + np.maximum(lifted, -0.3)))
        angles[:, COLUMN["thigh_out_" + side]] += 0.22 * sideways * moving * (0.4 + wave)
        free = (pose == RUN) | (pose == WALK) | (pose == BACKPEDAL)
        angles[:, COLUMN["arm_pitch_" + side]] -= free * moving * (0.35 + 0.5 * running) * wave
    angles[:, COLUMN["lift"]] = running * 0.06 * np.abs(np.sin(phase))
    angles[:, COLUMN["torso_pitch"]] += running * 0.1
    return np.asarray(angles)


def gait_phase(step_yd: Array, speed_yd_s: Array) -> Array:
    """Phase in rad that a stretch of `step_yd` adds; strides (two steps) lengthen with speed."""
    return 2.0 * np.pi * step_yd / (1.1 + 0.28 * np.clip(speed_yd_s, 0.0, 9.0))


def _limb(pitch: Array, out: Array, side: float) -> Array:
    """Unit directions (M, 3) of a hanging limb in (forward, left, up)."""
    return np.stack([np.sin(pitch), side * np.sin(out) * np.cos(pitch), -np.cos(pitch) * np.cos(out)], axis=-1)


def _yawed(v: Array, yaw: Array) -> Array:
    c, s = np.cos(yaw), np.sin(yaw)
    return np.stack([c * v[..., 0] - s * v[..., 1], s * v[..., 0] + c * v[..., 1], v[..., 2]], axis=-1)


def joints(angles: Array, height_yd: Array, bulk: Array, xy_yd: Array, torso_rad: Array) -> Array:
    """(M, len(JOINTS), 3) joints in the field frame, the lowest point of each body on the ground (plus `lift`).

    `bulk` scales widths (1 = lean). The pelvis stands over `xy_yd`, so the feet straddle it.
    """
    a = {name: angles[:, i] for i, name in enumerate(ANGLES)}
    h = height_yd[:, None]
    m = len(angles)
    out = np.zeros((m, len(JOINTS), 3))

    def put(name: str, value: Array) -> None:
        out[:, JOINT[name]] = value

    up = np.stack([np.sin(a["torso_pitch"]), np.sin(a["torso_roll"]), np.cos(a["torso_pitch"])], axis=-1)
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    neck = up * 0.30 * h
    head_pitch = a["torso_pitch"] * 0.75 + a["head_pitch"]
    head_up = np.stack([np.sin(head_pitch), up[:, 1], np.cos(head_pitch)], axis=-1)
    face = _yawed(np.stack([np.cos(head_pitch * 0.6), np.zeros(m), -np.sin(head_pitch * 0.6)], axis=-1), a["head_yaw"])
    put("chest", up * 0.2 * h)
    put("neck", neck)
    put("head", neck + head_up * 0.085 * h)
    put("crown", neck + head_up * 0.125 * h)
    put("face", neck + head_up * 0.085 * h + face * 0.055 * h)
    for tag, side in (("l", 1.0), ("r", -1.0)):
        across = np.array([0.0, side, 0.0])
        hip = across * 0.05 * h * bulk[:, None] - np.array([0, 0, 0.02]) * h
        thigh = _yawed(_limb(a["thigh_pitch_" + tag], a["thigh_out_" + tag], side), a["leg_yaw"])
        shin_pitch = a["thigh_pitch_" + tag] - a["knee_" + tag]
        shin = _yawed(_limb(shin_pitch, a["thigh_out_" + tag] * 0.6, side), a["leg_yaw"])
        knee = hip + thigh * 0.245 * h
        ankle = knee + shin * 0.235 * h
        sole = np.clip(shin_pitch * 0.55, -1.3, 0.2)
        foot = _yawed(np.stack([np.cos(sole), np.full(m, side * 0.15), np.sin(sole)], axis=-1), a["leg_yaw"])
        put("hip_" + tag, hip)
        put("knee_" + tag, knee)
        put("ankle_" + tag, ankle)
        drop = shin * 0.025 * h
        put("toe_" + tag, ankle + drop + foot * 0.105 * h)
        put("heel_" + tag, ankle + drop - foot * 0.03 * h)
        shoulder = neck - up * 0.015 * h + across * 0.112 * h * (0.7 + 0.3 * bulk[:, None])
        upper = _limb(a["arm_pitch_" + tag], a["arm_out_" + tag], side)
        lower_pitch = a["arm_pitch_" + tag] + a["elbow_" + tag]
        lower = _limb(lower_pitch, a["arm_out_" + tag] * 0.8 - a["fold_" + tag] * 1.5, side)
        elbow = shoulder + upper * 0.165 * h
        wrist = elbow + lower * 0.14 * h
        put("shoulder_" + tag, shoulder)
        put("elbow_" + tag, elbow)
        put("wrist_" + tag, wrist)
        put("hand_" + tag, wrist + lower * 0.05 * h)
    pitch, roll = a["body_pitch"][:, None], a["body_roll"][:, None]
    f, left, z = out[..., 0], out[..., 1], out[..., 2]
    left, z = np.cos(roll) * left - np.sin(roll) * z, np.sin(roll) * left + np.cos(roll) * z
    f, z = np.cos(pitch) * f + np.sin(pitch) * z, -np.sin(pitch) * f + np.cos(pitch) * z
    lying = np.clip(np.abs(a["body_pitch"]) / 1.2, 0.0, 1.0)
    z = z - z.min(1, keepdims=True) + (0.02 + 0.05 * lying[:, None]) * h + a["lift"][:, None] * h
    c, s = np.cos(torso_rad)[:, None], np.sin(torso_rad)[:, None]
    return np.stack([xy_yd[:, :1] + c * f - s * left, xy_yd[:, 1:] + s * f + c * left, z], axis=-1)
