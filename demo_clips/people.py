"""Who plays: bodies that differ by position, by level and from man to man."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

# Top speed yd/s, acceleration yd/s^2, height yd: round values for grown players; measured marginals stay below them.
PHYSIQUE: dict[str, tuple[float, float, float]] = {
    "qb": (8.2, 6.0, 2.07),
    "rb": (9.4, 6.8, 1.95),
    "wr": (9.6, 6.6, 2.02),
    "te": (8.7, 6.4, 2.12),
    "lt": (6.6, 4.9, 2.13),
    "lg": (6.4, 4.8, 2.1),
    "c": (6.4, 4.8, 2.09),
    "rg": (6.4, 4.8, 2.1),
    "rt": (6.6, 4.9, 2.13),
    "corner": (9.6, 6.9, 1.98),
    "safety": (9.3, 7.0, 2.0),
    "nickel": (9.4, 7.2, 1.97),
    "linebacker": (8.7, 6.7, 2.05),
    "edge": (8.2, 6.3, 2.1),
    "tackle": (6.9, 5.3, 2.1),
}
LEVEL_SPEED = {"high-school": 0.92, "college": 0.97, "pro": 1.0}
LINE = ("lt", "lg", "c", "rg", "rt")


@dataclass
class Person:
    """One player. `react_s` is his own reading delay, `skill` in -2..2, `slot` his place in the trade's words."""

    player_id: str
    side: str
    role: str
    slot: str
    number: int
    height_yd: float
    top_yd_s: float
    accel_yd_s2: float
    react_s: float
    skill: float
    x: float = 0.0
    y: float = 0.0
    tags: dict[str, float] = field(default_factory=dict)

    @property
    def eligible(self) -> bool:
        return self.role in ("wr", "te", "rb")


def make_person(rng: np.random.Generator, player_id: str, role: str, slot: str, number: int, level: str) -> Person:
    """Draw one man's body and temperament."""
    top, accel, height = PHYSIQUE[role]
    skill = float(np.clip(rng.normal(0.0, 0.8), -2.0, 2.0))
    pace = LEVEL_SPEED[level] * (1.0 + 0.025 * skill + rng.normal(0.0, 0.015))
    return Person(
        player_id,
        "offense" if player_id[0] == "O" else "defense",
        role,
        slot,
        number,
        height * float(rng.normal(0.98 if level == "high-school" else 1.0, 0.015)),
        float(min(top * pace, 10.1)),
        float(min(accel * (0.5 + 0.5 * pace) * rng.normal(1.0, 0.04), 8.0)),
        float(np.clip(rng.normal(0.27 - 0.03 * skill, 0.05), 0.14, 0.5)),
        skill,
    )


NUMBERS = {
    "qb": (1, 19),
    "rb": (20, 49),
    "wr": (1, 19),
    "te": (80, 89),
    "line": (50, 79),
    "corner": (20, 39),
    "safety": (20, 49),
    "nickel": (20, 39),
    "linebacker": (40, 59),
    "edge": (90, 99),
    "tackle": (90, 99),
}


def draw_number(rng: np.random.Generator, role: str, taken: set[int]) -> int:
    """A shirt number that fits the role and is free on that side."""
    low, high = NUMBERS.get(role, NUMBERS["line"])
    free = [n for n in range(low, high + 1) if n not in taken] or [n for n in range(1, 100) if n not in taken]
    number = int(rng.choice(free))
    taken.add(number)
    return number
