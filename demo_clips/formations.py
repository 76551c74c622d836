"""How the offense lines up: sets, splits, backfields, and the men who shift or go in motion."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from demo_clips.people import LINE, Person, draw_number, make_person
from demo_clips.setting import MIDDLE_YD, Setting

# name: receivers of the strong side from outside in, of the weak side, backs, weight
SETS: dict[str, tuple[tuple[str, ...], tuple[str, ...], int, float]] = {
    "2x2-open": (("wr", "wr"), ("wr", "wr"), 1, 12),
    "2x2-tight": (("wr", "te"), ("wr", "wr"), 1, 17),
    "2x2-double-tight": (("wr", "te"), ("wr", "te"), 1, 6),
    "3x1-open": (("wr", "wr", "wr"), ("wr",), 1, 12),
    "3x1-tight": (("wr", "wr", "te"), ("wr",), 1, 14),
    "3x1-nub": (("wr", "wr", "wr"), ("te",), 1, 6),
    "3x1-wing": (("wr", "wing", "te"), ("wr",), 1, 4),
    "3x2": (("wr", "wr", "wr"), ("wr", "wr"), 0, 6),
    "3x2-tight": (("wr", "wr", "te"), ("wr", "wr"), 0, 4),
    "4x1": (("wr", "wr", "wr", "wr"), ("wr",), 0, 2),
    "2x1": (("wr", "te"), ("wr",), 2, 12),
    "2x1-open": (("wr", "wr"), ("wr",), 2, 5),
}


@dataclass
class Move:
    """A man who moves before the snap along `path`: (time s before the snap as negative, x, y)."""

    person: int
    kind: str  # shift, across, short, return, jet, orbit
    path: list[tuple[float, float, float]]


@dataclass
class Formation:
    """The eleven (or seven) as they stand at the snap; `sides` lists receivers outside in, left then right."""

    set_name: str
    people: list[Person]
    strong: int  # -1 left, +1 right
    sides: dict[int, list[int]] = field(default_factory=dict)
    backs: list[int] = field(default_factory=list)
    style: str = "spread"
    passer_depth: float = 5.0
    moves: list[Move] = field(default_factory=list)

    def number_sides(self, ball_y: float) -> None:
        """Order the receivers of each side from the sideline inward; backs apart."""
        out: dict[int, list[int]] = {-1: [], 1: []}
        for i, p in enumerate(self.people):
            if p.role in ("wr", "te"):
                out[-1 if p.y < ball_y else 1].append(i)
        self.sides = {s: sorted(m, key=lambda i: -s * self.people[i].y) for s, m in out.items()}
        self.backs = [i for i, p in enumerate(self.people) if p.role == "rb"]


def _side_spots(
    rng: np.random.Generator, kinds: tuple[str, ...], out: int, setting: Setting, style: str
) -> list[tuple[float, float]]:
    """(x, y) for one side's receivers from outside in."""
    ball, room = setting.ball_y_yd, setting.room_yd(out)
    tight = sum(k in ("te", "wing") for k in kinds)
    inner = {0: 3.2, 1: 4.5, 2: 5.9}[tight]
    split = float(np.clip(rng.normal(room - min(setting.numbers_yd, 11.0) + 0.6, 2.2), inner + 3.0, min(room - 4.0, 22.5)))
    if style == "condensed":
        split = min(split, inner + float(rng.uniform(2.2, 5.0)))
    wide = [k for k in kinds if k == "wr"]
    spots: list[tuple[float, float]] = []
    cluster = style in ("bunch", "stack") and len(wide) >= 2
    if cluster:
        split = float(
            np.clip(
                rng.uniform(inner + 4.0, max(inner + 4.0, min(split, 14.0) + 0.1)), inner + 3.2, max(split, inner + 3.3)
            )
        )
    for k, kind in enumerate(kinds):
        if kind == "te":
            spots.append((-1.5, ball + out * float(rng.normal(4.5, 0.12))))
        elif kind == "wing":
            spots.append((-2.4, ball + out * float(rng.normal(5.9, 0.2))))
        elif cluster:
            near = {
                "stack": ((-1.2, 0.0), (-2.9, 0.35), (-2.2, -5.0), (-2.2, -7.0)),
                "bunch": ((-2.2, 0.6), (-1.2, -0.8), (-2.4, -2.1), (-2.2, -5.5)),
            }[style][k]
            spots.append((near[0], ball + out * max(split + near[1], inner + 0.4 * (len(kinds) - k))))
        else:
            share = k / max(len(wide), 1)
            y = inner + (split - inner) * (1.0 - share) + (float(rng.normal(0.0, 0.7)) if k else 0.0)
            if k and len(wide) > 1:
                y = max(y - float(rng.uniform(0.0, 2.0)), inner + 1.3)
            spots.append((-1.2 if (k == 0 and not tight) else -2.1, ball + out * y))
    return spots


def _backfield(rng: np.random.Generator, count: int, passer_depth: float, ball: float) -> list[tuple[float, float]]:
    side = float(rng.choice([-1.0, 1.0]))
    if not count:
        return []
    if passer_depth < 2.0:
        if count == 1:
            return [(-float(rng.normal(7.0, 0.3)), ball + float(rng.normal(0.0, 0.1)))]
        return [(-4.6, ball), (-7.4, ball)] if rng.random() < 0.65 else [(-5.2, ball - 2.2), (-5.2, ball + 2.2)]
    first = (-passer_depth + float(rng.uniform(-0.6, 0.4)), ball + side * float(rng.normal(1.9, 0.25)))
    if passer_depth < 4.5:  # pistol
        first = (-7.2, ball + float(rng.normal(0.0, 0.1)))
    return [first] if count == 1 else [first, (-passer_depth + 0.3, ball - side * 1.9)]


def draw_formation(rng: np.random.Generator, setting: Setting, run: bool) -> Formation:
    """Draw a set, where everybody stands at the snap, and the bodies."""
    names = list(SETS)
    weights = np.array([SETS[n][3] * (0.25 if run and SETS[n][2] == 0 else 1.0) for n in names])
    if setting.period == "seven-on-seven":
        weights *= np.array([0.3 if "te" in SETS[n][0] + SETS[n][1] or SETS[n][2] == 2 else 1.0 for n in names])
    name = names[int(rng.choice(len(names), p=weights / weights.sum()))]
    strong_kinds, weak_kinds, backs, _ = SETS[name]
    wide_side = 1 if setting.ball_y_yd < MIDDLE_YD else -1
    strong = wide_side if rng.random() < 0.66 else -wide_side
    style = str(rng.choice(["spread", "condensed", "bunch", "stack"], p=[0.68, 0.12, 0.12, 0.08]))
    depth = float(rng.choice([1.25, 4.0, 5.0], p=[0.3, 0.12, 0.58] if backs and setting.period == "team" else [0.0, 0.0, 1.0]))
    ball = setting.ball_y_yd
    spots: list[tuple[str, float, float]] = [("qb", -depth if depth < 2 else -depth + float(rng.normal(0, 0.15)), ball)]
    line = LINE if setting.period == "team" else ("c",)
    for role in line:
        k = LINE.index(role) - 2
        spots.append((role, -0.75 - 0.22 * abs(k), ball + 1.5 * k))
    for kinds, out in ((strong_kinds, strong), (weak_kinds, -strong)):
        side_style = style if out == strong or rng.random() < 0.5 else "spread"
        places = _side_spots(rng, kinds, out, setting, side_style)
        spots += [("te" if k in ("te", "wing") else "wr", x, y) for k, (x, y) in zip(kinds, places, strict=True)]
    spots += [("rb", x, y) for x, y in _backfield(rng, backs, depth, ball)]
    people, taken = [], set[int]()
    for k, (role, x, y) in enumerate(spots):
        person = make_person(rng, f"O{k + 1}", role, role, draw_number(rng, role, taken), setting.level)
        person.x, person.y = x, y
        people.append(person)
    formation = Formation(name, people, strong, style=style, passer_depth=depth)
    formation.number_sides(ball)
    return formation


def add_moves(rng: np.random.Generator, formation: Formation, setting: Setting, chance: float = 0.42) -> None:
    """Let a receiver shift or go in motion to the spot where the formation has him at the snap (jet and orbit: through it)."""
    if rng.random() > chance:
        return
    ball = setting.ball_y_yd
    movers = [i for side in (-1, 1) for k, i in enumerate(formation.sides[side]) if k or len(formation.sides[side]) == 1]
    movers = [i for i in movers if formation.people[i].role == "wr" or formation.people[i].x < -1.9]
    if not movers:
        return
    i = int(rng.choice(movers))
    man = formation.people[i]
    out = 1 if man.y > ball else -1
    kind = str(rng.choice(["shift", "across", "short", "return", "jet", "orbit"], p=[0.18, 0.24, 0.24, 0.1, 0.16, 0.08]))
    if kind in ("jet", "orbit") and formation.passer_depth < 3:
        kind = "short"
    quick_set = float(rng.uniform(0.15, 0.7))
    other = ball - out * float(rng.uniform(5.5, min(13.0, setting.room_yd(-out) - 3.0)))
    if kind in ("jet", "orbit"):
        start = man.y if abs(man.y - ball) > 7 else ball + out * min(10.0, setting.room_yd(out) - 3.0)
        speed = 6.3 if kind == "jet" else 5.2
        depth = -2.6 if kind == "jet" else -formation.passer_depth - 1.8
        end = ball + out * float(rng.uniform(1.5, 3.5))
        lead = abs(start - end) / speed + 0.35
        man.x, man.y = depth, end
        formation.moves.append(Move(i, kind, [(-lead, -2.2, start), (0.0, depth, end)]))
        formation.number_sides(ball)
        return
    if kind == "return":
        turn_y = man.y - out * float(rng.uniform(3.0, 5.0))
        lead = 2.0 * abs(turn_y - man.y) / 4.5 + 0.7
        formation.moves.append(
            Move(
                i,
                kind,
                [(-lead - quick_set, man.x, man.y), (-lead / 2 - quick_set, man.x - 0.4, turn_y), (-quick_set, man.x, man.y)],
            )
        )
        return
    start = (
        other
        if kind in ("across", "shift") and rng.random() < 0.75
        else man.y + float(rng.choice([-1, 1])) * float(rng.uniform(3, 5.5))
    )
    start = float(np.clip(start, 2.0, 51.3))
    if abs(start - ball) < 4.0:
        start = ball + (4.4 if start > ball else -4.4)
    lead = abs(start - man.y) / 4.6 + 0.5
    if kind == "shift":
        lead *= float(rng.uniform(0.85, 1.3))
        quick_set = 1.05 + min(float(rng.exponential(0.6)), 2.0)
    formation.moves.append(Move(i, kind, [(-lead - quick_set, -2.1, start), (-quick_set, man.x, man.y)]))
