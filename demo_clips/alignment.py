"""How the defense lines up: fronts, boxes, overhangs, corners and safeties for a shell that it wants to show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_clips.formations import Formation
from demo_clips.people import Person, draw_number, make_person
from demo_clips.setting import Setting
from homography.field import WIDTH_YD

# front: tackles, edges, linebackers, nickels; weight by the number of wide receivers
FRONTS: dict[str, tuple[int, int, int, int]] = {
    "4-2-5": (2, 2, 2, 1),
    "4-3": (2, 2, 3, 0),
    "3-4": (3, 2, 2, 0),
    "3-3-5": (3, 0, 3, 1),
    "2-4-5": (2, 2, 2, 1),
    "4-1-6": (2, 2, 1, 2),
    "seven": (0, 0, 2, 1),
}


@dataclass
class Stance:
    """Habits of this defense on this rep."""

    corner_depth: dict[int, float]  # by side
    corner_shade: dict[int, float]  # yards inside (+) or outside (-) of #1
    safety_depth: float
    free_depth: float
    box_depth: float
    overhang_depth: float
    stagger: float  # one safety deeper than the other, half the difference
    apex: float  # 0 on the box, 1 on the slot


def draw_people(rng: np.random.Generator, formation: Formation, setting: Setting) -> tuple[str, list[Person]]:
    """Pick a front that fits the offense's personnel and make its men; slots name their places."""
    wide = sum(p.role == "wr" for p in formation.people)
    names = ["4-2-5", "4-3", "3-4", "3-3-5", "2-4-5", "4-1-6"]
    by_wide = {2: [2.0, 5.0, 4.0, 1.0, 1.0, 0.0], 3: [6.0, 2.0, 1.5, 2.5, 3.0, 0.7], 4: [5.0, 0.0, 0.0, 3.0, 3.0, 2.5]}
    weights = np.array(by_wide[min(max(wide, 2), 4)])
    front = "seven" if setting.period == "seven-on-seven" else str(rng.choice(names, p=weights / weights.sum()))
    tackles, edges, backers, nickels = FRONTS[front]
    roles: list[tuple[str, str]] = []
    roles += [("edge", "edge-left"), ("edge", "edge-right")][:edges]
    roles += [
        ("tackle", s)
        for s in {2: ("tackle-left", "tackle-right"), 3: ("tackle-left", "nose", "tackle-right")}.get(tackles, ())
    ]
    roles += [("linebacker", s) for s in {1: ("mike",), 2: ("mike", "will"), 3: ("sam", "mike", "will")}[backers]]
    roles += [("nickel", s) for s in ("nickel", "dime")[:nickels]]
    roles += [("corner", "corner-left"), ("corner", "corner-right"), ("safety", "safety-left"), ("safety", "safety-right")]
    people, taken = [], set[int]()
    for k, (role, slot) in enumerate(roles):
        people.append(make_person(rng, f"D{k + 1}", role, slot, draw_number(rng, role, taken), setting.level))
    return front, people


def draw_stance(rng: np.random.Generator, setting: Setting, press: float) -> Stance:
    """Depths and shades of the day; `press` is the chance that a corner walks up."""
    depth = {
        s: float(rng.uniform(1.1, 2.0)) if rng.random() < press else float(np.clip(rng.normal(7.1, 1.5), 4.0, 10.5))
        for s in (-1, 1)
    }
    shade = {s: float(rng.choice([-0.9, 0.2, 0.9], p=[0.35, 0.2, 0.45])) + float(rng.normal(0, 0.2)) for s in (-1, 1)}
    deeper = 0.12 * max(setting.distance_yd - 10, -4)
    return Stance(
        depth,
        shade,
        float(np.clip(rng.normal(12.4, 2.0), 8.4, 18)) + deeper,
        float(np.clip(rng.normal(14.8, 2.2), 9.0, 20)) + deeper,
        float(np.clip(rng.normal(3.9, 0.7), 2.4, 6)),
        float(np.clip(rng.normal(3.7, 1.5), 1.3, 7.0)),
        float(rng.normal(0.0, 1.1)),
        float(rng.uniform(0.35, 0.95)),
    )


def receiver_spots(formation: Formation, xy: list[tuple[float, float]], ball: float) -> dict[int, list[tuple[float, float]]]:
    """Receivers' places by side from outside in, given everyone's current places."""
    out: dict[int, list[tuple[float, float]]] = {-1: [], 1: []}
    for i, p in enumerate(formation.people):
        if p.role in ("wr", "te") and xy[i][0] > -3.4:
            out[-1 if xy[i][1] < ball else 1].append(xy[i])
    return {s: sorted(spots, key=lambda q: -s * q[1]) for s, spots in out.items()}


def _front_spots(people: list[Person], ball: float, te_sides: set[int], strong: int) -> dict[int, tuple[float, float]]:
    edges = [i for i, p in enumerate(people) if p.role == "edge"]
    tackles = [i for i, p in enumerate(people) if p.role == "tackle"]
    spots = {}
    for i, side in zip(edges, (-1, 1), strict=False):
        wide = 5.3 if side in te_sides else 3.9
        spots[i] = (0.7, ball + side * wide)
    places = {2: (-1.5, 0.9), 3: (-2.9, 0.0, 2.9)}.get(len(tackles), ())
    if len(tackles) == 2 and strong > 0:
        places = (-0.9, 1.5)
    if len(tackles) == 3 and not edges:
        places = (-3.2, 0.3 * strong, 3.2)
    for i, offset in zip(tackles, places, strict=False):
        spots[i] = (0.6, ball + offset)
    return spots


def align(
    people: list[Person],
    formation: Formation,
    receivers: dict[int, list[tuple[float, float]]],
    setting: Setting,
    stance: Stance,
    shell: str,
    down_side: int,
    strong: int,
) -> dict[int, tuple[float, float]]:
    """Where each defender stands for this shell. `down_side`: the side whose safety plays low in a one-high shell."""
    ball = setting.ball_y_yd
    te_sides = {s for s in (-1, 1) if receivers[s] and abs(receivers[s][-1][1] - ball) < 5.2}
    spots = _front_spots(people, ball, te_sides, strong)
    by_slot = {p.slot: i for i, p in enumerate(people)}
    for side, name in ((-1, "corner-left"), (1, "corner-right")):
        men, depth = receivers[side], stance.corner_depth[side]
        if men and abs(men[0][1] - ball) > 6.6:
            spots[by_slot[name]] = (depth, men[0][1] - side * stance.corner_shade[side])
        else:
            edge_y = abs(men[0][1] - ball) if men else 4.0
            spots[by_slot[name]] = (max(depth, 4.5), ball + side * (edge_y + 2.2))
    # Men inside of #1 who need somebody over them, the widest first, the passing strength first.
    need = [(s, y) for s in (strong, -strong) for _, y in receivers[s][1:]]
    need.sort(key=lambda n: (-abs(n[1] - ball) > -7.0, n[0] != strong))
    helpers = [by_slot[n] for n in ("nickel", "dime") if n in by_slot]
    low = {
        "one-high": ["safety-left" if down_side < 0 else "safety-right"],
        "zero-high": ["safety-left", "safety-right"],
    }.get(shell, [])
    left_over = []
    for side, y in need:
        inside = y - ball
        safety = next((n for n in low if (n == "safety-left") == (side < 0)), None)
        if helpers and abs(inside) > 5.2:
            i = helpers.pop(0)
            spots[i] = (stance.overhang_depth, ball + inside * (0.62 + 0.38 * stance.apex))
        elif safety:
            low.remove(safety)
            spots[by_slot[safety]] = (max(5.2, stance.overhang_depth + 1.2), ball + inside * 0.95)
        else:
            left_over.append((side, inside))
    for name in low:
        side = -1 if name == "safety-left" else 1
        spots[by_slot[name]] = (6.0, ball + side * 5.0)
    for k, i in enumerate(helpers):
        spots[i] = (4.2, ball + (strong if k == 0 else -strong) * 5.6)
    _place_backers(people, spots, left_over, ball, stance, strong)
    _place_high(by_slot, spots, receivers, setting, stance, shell, down_side)
    return {i: (x, float(np.clip(y, 1.0, WIDTH_YD - 1.0))) for i, (x, y) in spots.items()}


def _place_backers(
    people: list[Person],
    spots: dict[int, tuple[float, float]],
    left_over: list[tuple[int, float]],
    ball: float,
    stance: Stance,
    strong: int,
) -> None:
    backers = [i for i, p in enumerate(people) if p.role == "linebacker"]
    rows = {1: (0.0,), 2: (1.9 * strong, -2.1 * strong), 3: (4.2 * strong, 0.2 * strong, -3.8 * strong)}
    base = dict(zip(backers, rows.get(len(backers), ()), strict=False))
    for _side, inside in left_over:
        if abs(inside) < 5.2 or not base or (len(base) == 1 and abs(inside) < 9):
            continue
        i = min(base, key=lambda k: abs(base[k] - inside))
        if base[i] * inside < 0 and len(base) > 1:
            continue
        spots[i] = (stance.overhang_depth, ball + inside * (0.45 + 0.45 * stance.apex))
        del base[i]
    for i, y in base.items():
        spots[i] = (stance.box_depth, ball + (y if len(base) > 1 else 0.4 * y))


def _place_high(
    by_slot: dict[str, int],
    spots: dict[int, tuple[float, float]],
    receivers: dict[int, list[tuple[float, float]]],
    setting: Setting,
    stance: Stance,
    shell: str,
    down_side: int,
) -> None:
    ball, middle = setting.ball_y_yd, WIDTH_YD / 2
    if shell == "one-high":
        name = "safety-right" if down_side < 0 else "safety-left"
        spots[by_slot[name]] = (min(stance.free_depth, setting.back_line_x - 2.5), 0.55 * ball + 0.45 * middle)
    if shell == "two-high":
        for side, name in ((-1, "safety-left"), (1, "safety-right")):
            men = receivers[side]
            out = 6.5 if len(men) < 2 else min(max(0.5 * (abs(men[0][1] - ball) + abs(men[1][1] - ball)), 6.0), 11.0)
            y = 0.75 * (ball + side * out) + 0.25 * (middle + side * 9.5)
            spots[by_slot[name]] = (min(stance.safety_depth + side * stance.stagger, setting.back_line_x - 2.5), y)
