"""Random people for training frames: formations, piles, drills, lines of waiting men, sideline crowds, a few strays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.kits_design import SKINS, Kit, dress_individually, official_kit, plain_kit, random_colour, random_kit
from demo_clips.motion import POSES
from demo_clips.skeleton import ANGLES, COLUMN, attitude, joints
from demo_clips.wardrobe import Wardrobe, points_of
from homography.field import WIDTH_YD

Array = npt.NDArray[Any]
P = {name: i for i, name in enumerate(POSES)}


@dataclass
class Crowd:
    """People being gathered: where, which way, in what attitude, in which outfit ("a", "b", "official", "plain", ...)."""

    xy: list[tuple[float, float]]
    torso: list[float]
    pose: list[int]
    kit: list[str]

    def add(self, x: float, y: float, torso: float, pose: str, kit: str) -> None:
        self.xy.append((x, y))
        self.torso.append(torso)
        self.pose.append(P[pose])
        self.kit.append(kit)


def formation(crowd: Crowd, rng: np.random.Generator, x: float, y: float, way: float, live: bool) -> None:
    """Two elevens about the ball; `live` scatters them as a play under way does."""
    ahead = 0.0 if way > 0 else np.pi
    for i in range(5):
        crowd.add(x - way * 0.7, y + (i - 2) * 1.15, ahead, "three-point" if rng.random() < 0.6 else "two-point", "a")
    for i in range(int(rng.integers(3, 6))):
        crowd.add(
            x + way * 0.8,
            y + (i - 1.8) * rng.uniform(1.2, 2.0),
            ahead + np.pi,
            "three-point" if rng.random() < 0.7 else "two-point",
            "b",
        )
    depth = float(rng.choice([1.0, 4.5, 5.5]))
    crowd.add(x - way * depth, y, ahead, "under-center" if depth < 2 else "two-point", "red" if rng.random() < 0.12 else "a")
    for _ in range(int(rng.integers(4, 6))):
        wide = float(rng.choice([-1, 1]) * rng.uniform(3, 22))
        crowd.add(
            x - way * rng.uniform(0.5, 6.5),
            float(np.clip(y + wide, 2, WIDTH_YD - 2)),
            ahead,
            "two-point" if rng.random() < 0.8 else "stand",
            "a",
        )
    for _ in range(int(rng.integers(6, 8))):
        crowd.add(
            x + way * rng.uniform(1, 15), float(np.clip(y + rng.normal(0, 10), 2, WIDTH_YD - 2)), ahead + np.pi, "two-point", "b"
        )
    if live:
        moves = ("run", "run", "run", "backpedal", "shuffle", "block", "block", "throw", "catch", "dive", "ground", "point")
        for i in range(len(crowd.xy)):
            spread = 1.5 if crowd.pose[i] == P["three-point"] else 5.0
            crowd.xy[i] = (crowd.xy[i][0] + float(rng.normal(0, spread)), crowd.xy[i][1] + float(rng.normal(0, spread)))
            crowd.torso[i] += float(rng.normal(0, 1.2))
            crowd.pose[i] = P[str(rng.choice(moves))]


def clash(crowd: Crowd, rng: np.random.Generator, x: float, y: float, way: float) -> None:
    """Both lines after the snap: pairs of men who lean on each other, some two on one, backers and a passer close behind."""
    ahead, depth = (0.0 if way > 0 else np.pi), float(rng.uniform(0.0, 4.0))
    gap = float(rng.uniform(0.9, 1.7))
    for i in range(int(rng.integers(4, 8))):
        bow = 0.25 * (i - 2.5) ** 2 * depth / 4
        cx, cy = x - way * (depth - bow) + float(rng.normal(0, 0.5)), y + (i - 2.5) * gap + float(rng.normal(0, 0.25))
        turn = float(rng.normal(0, 0.5))
        crowd.add(cx, cy, ahead + turn, str(rng.choice(["block", "block", "two-point", "shuffle", "backpedal"])), "a")
        for _ in range(int(rng.choice([0, 1, 1, 1, 2]))):
            reach = float(rng.uniform(0.45, 1.1))
            crowd.add(
                cx + way * reach * np.cos(turn) + float(rng.normal(0, 0.1)),
                cy + reach * np.sin(turn) + float(rng.normal(0, 0.25)),
                ahead + np.pi + turn + float(rng.normal(0, 0.3)),
                str(rng.choice(["block", "block", "run", "two-point", "dive"])),
                "b",
            )
    for _ in range(int(rng.integers(1, 4))):
        back = depth + float(rng.uniform(1, 5))
        crowd.add(x - way * back, y + float(rng.normal(0, 2)), ahead, str(rng.choice(["throw", "run", "two-point"])), "a")


def pile(crowd: Crowd, rng: np.random.Generator, x: float, y: float) -> None:
    for _ in range(int(rng.integers(3, 12))):
        crowd.add(
            x + float(rng.normal(0, 0.9)),
            y + float(rng.normal(0, 0.9)),
            float(rng.uniform(0, 6.3)),
            str(rng.choice(["ground", "dive", "block", "block", "run", "two-point", "kneel"])),
            str(rng.choice(["a", "b"])),
        )


def line_of_men(crowd: Crowd, rng: np.random.Generator, x: float, y: float, kits: tuple[str, ...]) -> None:
    """Men side by side: a drill, a huddle's edge, those who wait."""
    turn, gap, facing = float(rng.uniform(0, 3.14)), float(rng.uniform(0.6, 2.2)), float(rng.uniform(0, 6.3))
    pose = str(rng.choice(["stand", "stand", "two-point", "kneel", "three-point", "walk", "backpedal"]))
    for i in range(int(rng.integers(3, 14))):
        crowd.add(
            x + i * gap * np.cos(turn) + float(rng.normal(0, 0.15)),
            y + i * gap * np.sin(turn) + float(rng.normal(0, 0.15)),
            facing + float(rng.normal(0, 0.3)),
            pose if rng.random() < 0.8 else "stand",
            str(rng.choice(kits)),
        )


def sideline_crowd(crowd: Crowd, rng: np.random.Generator, x: float, far: bool) -> None:
    y = WIDTH_YD + 1.0 if far else -1.0
    sign = 1.0 if far else -1.0
    for _ in range(int(rng.integers(6, 40))):
        crowd.add(
            x + float(rng.normal(0, 12)),
            y + sign * abs(float(rng.normal(0.5, 1.8))),
            -np.pi / 2 * sign + float(rng.normal(0, 0.6)),
            str(rng.choice(["stand", "stand", "stand", "walk", "kneel", "point"])),
            str(rng.choice(["a", "a", "a", "b", "plain", "plain"])),
        )


def strays(crowd: Crowd, rng: np.random.Generator, x: float, y: float, count: int, spread: float) -> None:
    for _ in range(count):
        kit = str(rng.choice(["official", "plain", "a", "b", "pinnie", "other"], p=[0.22, 0.24, 0.2, 0.2, 0.07, 0.07]))
        pose = (
            str(rng.choice(POSES))
            if kit in ("a", "b", "other", "pinnie")
            else str(rng.choice(["stand", "walk", "point", "run", "kneel"]))
        )
        crowd.add(x + float(rng.normal(0, spread)), y + float(rng.normal(0, spread)), float(rng.uniform(0, 6.3)), pose, kit)


def random_crowd(rng: np.random.Generator, x: float, y: float, spread: float) -> Crowd:
    """A scene about (x, y) yd, `spread` yd of it in the picture."""
    crowd = Crowd([], [], [], [])
    kind = rng.choice(
        ["formation", "live", "clash", "piles", "drill", "few", "mixture", "empty"],
        p=[0.24, 0.22, 0.2, 0.07, 0.07, 0.05, 0.13, 0.02],
    )
    if kind in ("formation", "live", "mixture"):
        formation(crowd, rng, x, float(np.clip(y, 18, 36)), float(rng.choice([-1, 1])), bool(kind != "formation"))
    if kind == "clash":
        middle = float(np.clip(y, 16, 38))
        clash(crowd, rng, x, middle, float(rng.choice([-1, 1])))
        for _ in range(int(rng.integers(8, 14))):
            crowd.add(
                x + float(rng.normal(0, 9)), float(np.clip(rng.normal(middle, 11), 1, WIDTH_YD - 1)), float(rng.uniform(0, 6.3)),
                str(rng.choice(["run", "run", "backpedal", "shuffle", "two-point"])), str(rng.choice(["a", "b"])),
            )
    if kind in ("piles", "mixture"):
        for _ in range(int(rng.integers(1, 4))):
            pile(crowd, rng, x + float(rng.normal(0, spread / 4)), y + float(rng.normal(0, spread / 4)))
    if kind in ("drill", "mixture"):
        for _ in range(int(rng.integers(1, 6))):
            line_of_men(
                crowd, rng, x + float(rng.normal(0, spread / 3)), y + float(rng.normal(0, spread / 3)), ("a", "b", "a", "pinnie")
            )
    if kind != "empty":
        strays(crowd, rng, x, y, int(rng.integers(1, 9)), spread / 3)
        if rng.random() < 0.45:
            sideline_crowd(crowd, rng, x, far=True)
        if rng.random() < 0.2:
            sideline_crowd(crowd, rng, x, far=False)
    return crowd


def wardrobe_for(crowd: Crowd, rng: np.random.Generator) -> Wardrobe:
    """Outfits, bodies and numbers of a crowd: two random teams, officials, coaches, strangers."""
    light = bool(rng.random() < 0.5)
    first, second = (
        random_kit(rng, light if rng.random() < 0.75 else None),
        random_kit(rng, not light if rng.random() < 0.75 else None),
    )
    coach = random_colour(rng)
    bare_heads = rng.random() < 0.05
    kits: list[Kit] = []
    for name in crowd.kit:
        if name == "official":
            kits.append(official_kit())
        elif name == "plain":
            kits.append(plain_kit(rng, coach if rng.random() < 0.5 else None))
        else:
            base = {"a": first, "b": second, "other": random_kit(rng)}.get(name, first)
            if name in ("pinnie", "red"):
                colour = (60, 220, 215) if name == "pinnie" else (40, 40, 205)
                base = replace(base, jersey=colour, number=None if name == "pinnie" else base.number)
            if bare_heads or rng.random() < 0.03:
                base = replace(base, helmet=False)
            kits.append(dress_individually(base, rng))
    n = len(kits)
    return Wardrobe(
        rng.normal(2.03, 0.09, n).clip(1.7, 2.25),
        np.clip(rng.normal(1.08, 0.16, n), 0.85, 1.5),
        tuple(kits),
        tuple(SKINS[i] for i in rng.integers(0, len(SKINS), n)),
        tuple(int(k) for k in rng.integers(1, 100, n)),
    )


def stand_up(crowd: Crowd, wardrobe: Wardrobe, rng: np.random.Generator) -> Array:
    """(N, points, 3) bodies in random gait phases, each limb a little off the book."""
    n = len(crowd.xy)
    pose = np.array(crowd.pose, dtype=int)
    moving = np.isin(pose, [P["run"], P["backpedal"], P["shuffle"], P["walk"]])
    speed = np.where(moving, np.where(pose == P["walk"], 1.5, rng.uniform(1.5, 8.5, n)), 0.0)
    course = np.where(pose == P["backpedal"], np.pi, np.where(pose == P["shuffle"], np.pi / 2, rng.normal(0, 0.5, n)))
    angles = attitude(pose, rng.uniform(0, 2 * np.pi, n), speed, course)
    angles += rng.normal(0, 1, (n, len(ANGLES))) * 0.14
    angles[:, COLUMN["head_yaw"]] += rng.normal(0, 0.5, n)
    angles[:, COLUMN["lift"]] = np.maximum(angles[:, COLUMN["lift"]], 0) * (rng.random(n) < 0.2)
    spread = rng.random(n) < 0.12
    for name in ("arm_pitch_l", "arm_pitch_r", "arm_out_l", "arm_out_r"):
        angles[spread, COLUMN[name]] += rng.uniform(-0.3, 1.3, int(spread.sum()))
    down = angles[:, COLUMN["body_pitch"]] > 0.5
    angles[:, COLUMN["body_roll"]] += down * rng.uniform(-1.5, 1.5, n)
    xy = np.array(crowd.xy, dtype=float).reshape(-1, 2)
    return points_of(joints(angles, wardrobe.height_yd, wardrobe.bulk, xy, np.array(crowd.torso, dtype=float)))
