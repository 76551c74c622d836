"""The bodies as capsules over the joints, and what each of them wears."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.kits_design import Colour, Kit
from demo_clips.skeleton import JOINT, JOINTS

Array = npt.NDArray[Any]

# Further points along a limb: (from, to, share).
_BETWEEN = (
    ("knee_l", "ankle_l", 0.35),
    ("knee_r", "ankle_r", 0.35),
    ("shoulder_l", "elbow_l", 0.72),
    ("shoulder_r", "elbow_r", 0.72),
    ("head", "crown", 0.5),
    ("pelvis", "chest", 0.25),
)
POINT = JOINT | {name: len(JOINTS) + i for i, name in enumerate(("sock_l", "sock_r", "cuff_l", "cuff_r", "brow", "belt"))}

# Capsules: name, ends, radii as shares of the body height, how much `bulk` widens them.
_CAPSULES = (
    ("shoe", "heel_l", "toe_l", 0.024, 0.022, 0.2),
    ("shoe", "heel_r", "toe_r", 0.024, 0.022, 0.2),
    ("shin", "knee_l", "ankle_l", 0.038, 0.026, 0.5),
    ("shin", "knee_r", "ankle_r", 0.038, 0.026, 0.5),
    ("sock", "sock_l", "ankle_l", 0.038, 0.027, 0.5),
    ("sock", "sock_r", "ankle_r", 0.038, 0.027, 0.5),
    ("thigh", "hip_l", "knee_l", 0.066, 0.043, 0.8),
    ("thigh", "hip_r", "knee_r", 0.066, 0.043, 0.8),
    ("hips", "hip_l", "hip_r", 0.069, 0.069, 0.8),
    ("torso", "belt", "chest", 0.08, 0.09, 1.0),
    ("torso", "shoulder_l", "hip_l", 0.058, 0.055, 0.8),
    ("torso", "shoulder_r", "hip_r", 0.058, 0.055, 0.8),
    ("yoke", "shoulder_l", "shoulder_r", 0.066, 0.066, 0.3),
    ("neck", "neck", "head", 0.032, 0.03, 0.3),
    ("head", "head", "crown", 0.066, 0.058, 0.0),
    ("cap", "brow", "crown", 0.054, 0.05, 0.0),
    ("upper_arm", "shoulder_l", "elbow_l", 0.038, 0.032, 0.6),
    ("upper_arm", "shoulder_r", "elbow_r", 0.038, 0.032, 0.6),
    ("sleeve", "shoulder_l", "cuff_l", 0.055, 0.043, 0.5),
    ("sleeve", "shoulder_r", "cuff_r", 0.055, 0.043, 0.5),
    ("forearm", "elbow_l", "wrist_l", 0.031, 0.023, 0.5),
    ("forearm", "elbow_r", "wrist_r", 0.031, 0.023, 0.5),
    ("hand", "wrist_l", "hand_l", 0.022, 0.024, 0.2),
    ("hand", "wrist_r", "hand_r", 0.022, 0.024, 0.2),
)
PARTS = [c[0] for c in _CAPSULES]
PART_START, PART_END = np.array([[POINT[start], POINT[end]] for _, start, end, *_ in _CAPSULES]).T
_RADII = np.array([c[3:5] for c in _CAPSULES])
_BULK = np.array([c[5] for c in _CAPSULES])
_HEAD, _CAP, _YOKE = PARTS.index("head"), PARTS.index("cap"), PARTS.index("yoke")
_SLEEVES = [i for i, name in enumerate(PARTS) if name == "sleeve"]
SHADOW_PARTS = [i for i, name in enumerate(PARTS) if name not in ("cap", "sock", "hand", "neck", "sleeve")]


@dataclass(frozen=True)
class Wardrobe:
    """The cast's bodies and cloth: `height_yd` and `bulk` (N,) (1 = lean), one kit, skin colour and number each."""

    height_yd: Array
    bulk: Array
    kits: tuple[Kit, ...]
    skins: tuple[Colour, ...]
    numbers: tuple[int | None, ...]

    def radii(self) -> Array:
        """(N, capsules, 2) yd."""
        widen = 1.0 + (self.bulk[:, None] - 1.0) * _BULK
        radii = _RADII[None] * self.height_yd[:, None, None] * widen[..., None]
        for n, kit in enumerate(self.kits):
            if not kit.helmet:
                radii[n, _HEAD] *= 0.76
            if not kit.pads:
                radii[n, _YOKE] *= 0.75
                radii[n, _SLEEVES] *= 0.8
            if kit.helmet or kit.cap is None:
                radii[n, _CAP] *= 0.0 if kit.helmet else 0.9
        return np.asarray(radii)

    def colours(self, n: int) -> list[Colour]:
        """Body n's colour per capsule."""
        kit, skin = self.kits[n], self.skins[n]
        sleeve_skin = kit.undershirt or skin
        by_name = {
            "shoe": kit.shoes,
            "shin": skin if kit.shorts else kit.pants if not kit.helmet else skin,
            "sock": kit.socks,
            "thigh": kit.pants,
            "hips": kit.pants,
            "torso": kit.jersey,
            "yoke": kit.jersey,
            "neck": skin,
            "head": kit.shell if kit.helmet else skin,
            "cap": kit.cap or (24, 30, 44),
            "upper_arm": sleeve_skin,
            "sleeve": kit.sleeve,
            "forearm": sleeve_skin,
            "hand": kit.gloves or skin,
        }
        if not kit.helmet and not kit.shorts:
            by_name["sock"] = kit.pants
        return [by_name[name] for name in PARTS]


def points_of(joints: Array) -> Array:
    """(N, points, 3): the joints and the further points along limbs."""
    extra = [joints[:, JOINT[a]] * (1 - s) + joints[:, JOINT[b]] * s for a, b, s in _BETWEEN]
    return np.concatenate([joints, np.stack(extra, axis=1)], axis=1)
