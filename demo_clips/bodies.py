"""What bodies can do: limits of speed, acceleration and turning, the slow backpedal, and not standing in one another."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.floating[Any]]

STEP_S = 1.0 / 30.0
MAX_ACCEL_YD_S2 = 9.0
RESPONSE_S = 0.14  # how fast the legs follow the will
BODY_YD = 0.75  # two bodies closer than this push each other apart


def speed_share(off_angle_rad: Array, back_share: Array) -> Array:
    """Share of the top speed that is left when running `off_angle_rad` away from where the torso looks."""
    ramp = np.clip((np.abs(off_angle_rad) - 0.9) / (np.pi - 0.9), 0.0, 1.0)
    return 1.0 - (1.0 - back_share) * ramp**0.7


class Bodies:
    """All players' bodies, advanced together. `pos`, `vel` (N, 2) play frame; `face` (N,) torso."""

    def __init__(self, pos: Array, face: Array, top: Array, accel: Array, back_share: Array, turn: Array, mass: Array) -> None:
        self.pos, self.face = pos.astype(float), face.astype(float)
        self.vel = np.zeros_like(self.pos)
        self.top, self.accel, self.back_share, self.turn, self.mass = top, accel, back_share, turn, mass
        n = len(pos)
        self._upper = np.triu_indices(n, 1)

    def _push(self) -> Array:
        """Acceleration (N, 2) that keeps bodies apart."""
        i, j = self._upper
        gap = self.pos[i] - self.pos[j]
        near = (np.abs(gap[:, 0]) < BODY_YD) & (np.abs(gap[:, 1]) < BODY_YD)
        out = np.zeros_like(self.pos)
        if not near.any():
            return out
        i, j, gap = i[near], j[near], gap[near]
        distance = np.maximum(np.hypot(gap[:, 0], gap[:, 1]), 0.05)
        along = gap / distance[:, None]
        closing = -np.einsum("ij,ij->i", self.vel[i] - self.vel[j], along)
        force = np.where(distance < BODY_YD, 26.0 * (BODY_YD - distance) + 3.0 * np.maximum(closing, 0.0), 0.0)
        share = self.mass[j] / (self.mass[i] + self.mass[j])
        np.add.at(out, i, along * (2.0 * force * share)[:, None])
        np.add.at(out, j, -along * (2.0 * force * (1.0 - share))[:, None])
        return out

    def step(self, want: Array, want_face: Array) -> None:
        """Advance by STEP_S toward the wanted velocities (N, 2) and torso directions (N,), within the limits."""
        speed_want = np.hypot(want[:, 0], want[:, 1])
        heading = np.arctan2(want[:, 1], want[:, 0])
        off = np.mod(heading - self.face + np.pi, 2.0 * np.pi) - np.pi
        limit = self.top * speed_share(off, self.back_share)
        want = want * np.minimum(1.0, limit / np.maximum(speed_want, 1e-6))[:, None]
        speed = np.hypot(self.vel[:, 0], self.vel[:, 1])
        along = self.vel / np.maximum(speed, 1e-6)[:, None]
        change = (want - self.vel) / RESPONSE_S
        forward = np.einsum("ij,ij->i", change, along)
        side = change - forward[:, None] * along
        side_size = np.hypot(side[:, 0], side[:, 1])
        gain = np.clip(self.accel * (1.08 - speed / self.top), 0.4, None)
        forward = np.clip(forward, -1.05 * self.accel, gain)
        side *= np.minimum(1.0, self.accel / np.maximum(side_size, 1e-6))[:, None]
        total = forward[:, None] * along + side
        slow = speed < 0.4
        total[slow] = change[slow]
        size = np.hypot(total[:, 0], total[:, 1])
        total *= np.minimum(1.0, self.accel / np.maximum(size, 1e-6))[:, None]
        push = self._push()
        strength = np.hypot(push[:, 0], push[:, 1])
        touch = strength > 0.5
        if touch.any():  # nobody steers into the man he leans on
            normal = push[touch] / strength[touch, None]
            into = np.minimum(np.einsum("ij,ij->i", total[touch], normal), 0.0)
            total[touch] -= into[:, None] * normal * np.minimum(strength[touch] / 4.0, 1.0)[:, None]
        total += push
        size = np.hypot(total[:, 0], total[:, 1])
        total *= np.minimum(1.0, MAX_ACCEL_YD_S2 / np.maximum(size, 1e-6))[:, None]
        self.vel += total * STEP_S
        self.pos += self.vel * STEP_S
        turn = np.mod(want_face - self.face + np.pi, 2.0 * np.pi) - np.pi
        self.face = np.mod(self.face + np.clip(turn * 0.35, -self.turn * STEP_S, self.turn * STEP_S) + np.pi, 2.0 * np.pi) - np.pi
