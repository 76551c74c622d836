"""What the defense calls: who rushes, who is deep, who is underneath, who has whom.

The counts of each family (deep, underneath, man, rush) are common practice of the trade, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from demo_clips.people import Person

WEIGHTS = {
    "cover-0": 0.09,
    "cover-1": 0.19,
    "cover-2": 0.11,
    "tampa-2": 0.09,
    "cover-2-man": 0.09,
    "cover-3": 0.21,
    "cover-4": 0.12,
    "cover-6": 0.1,
}
BASE_SHELL = {"cover-0": "zero-high", "cover-1": "one-high", "cover-3": "one-high"}
RUSH = {  # rush counts and their weights
    "cover-0": {6: 0.8, 5: 0.2},
    "cover-1": {4: 0.6, 5: 0.3, 3: 0.1},
    "cover-2": {4: 0.9, 5: 0.1},
    "tampa-2": {4: 0.85, 3: 0.15},
    "cover-2-man": {4: 0.85, 3: 0.15},
    "cover-3": {4: 0.68, 5: 0.2, 3: 0.12},
    "cover-4": {4: 0.8, 3: 0.2},
    "cover-6": {4: 0.84, 3: 0.08, 5: 0.08},
}
Zone = tuple[str, str]
CF_L, CF_R, H_L, H_R, MID = (
    ("curl-flat", "left"),
    ("curl-flat", "right"),
    ("hook-curl", "left"),
    ("hook-curl", "right"),
    ("middle-hook", "middle"),
)
F_L, F_R = ("flat", "left"), ("flat", "right")


@dataclass
class Job:
    """One defender's call: a word and an area of the trade's vocabulary, or a receiver. `style`: match or spot (zones),
    press, off or trail (man). `leverage`: yards inside (+) or outside (-) of the receiver."""

    word: str
    area: str | None = None
    receiver: int | None = None
    style: str = "spot"
    leverage: float = 0.8


@dataclass
class DefenseCall:
    """The coverage as called. Indices count the defenders only."""

    family: str
    variant: str
    technique: str
    rush: list[int]
    jobs: dict[int, Job] = field(default_factory=dict)
    down_side: int = 1  # the side whose safety plays low when one safety is high


def _pick(rng: np.random.Generator, table: dict[int, float]) -> int:
    keys = list(table)
    return int(rng.choice(keys, p=np.array(list(table.values())) / sum(table.values())))


def _rushers(rng: np.random.Generator, people: list[Person], count: int, free: set[int]) -> list[int]:
    """Who comes: the front, plus or minus backers and edges; sometimes an edge drops and a backer comes for him."""
    front = [i for i, p in enumerate(people) if p.role in ("edge", "tackle")]
    if not front:
        return []
    edges = [i for i in front if people[i].role == "edge" and i in free]
    extra = [i for i in free if people[i].role in ("linebacker", "nickel")] + [i for i in free if people[i].role == "safety"]
    extra.sort(key=lambda i: ({"linebacker": 0.0, "nickel": 0.9, "safety": 1.6}[people[i].role]) + float(rng.random()))
    rush = list(front)
    swap = bool(edges and extra and len(front) <= count and rng.random() < 0.13)
    if swap:
        rush.remove(int(rng.choice(edges)))
    while len(rush) > count:
        outs = [i for i in rush if people[i].role == "edge" and i in free] or rush
        rush.remove(int(rng.choice(outs)))
    while len(rush) < count and extra:
        rush.append(extra.pop(0))
    return sorted(rush)


def _slot(people: list[Person], name: str) -> int:
    return next(i for i, p in enumerate(people) if p.slot == name)


def _name(side: int) -> str:
    return "left" if side < 0 else "right"


def _under_zones(family: str, count: int, quarters_side: int) -> list[Zone]:
    if family in ("cover-2", "tampa-2"):
        return {3: [F_L, MID, F_R], 4: [F_L, H_L, H_R, F_R], 5: [F_L, H_L, MID, H_R, F_R]}[count]
    zones = {2: [H_L, H_R], 3: [CF_L, MID, CF_R], 4: [CF_L, H_L, H_R, CF_R], 5: [CF_L, H_L, MID, H_R, CF_R]}[count]
    if family == "cover-6":
        return [(("flat", a) if w == "curl-flat" and a != _name(quarters_side) else (w, a)) for w, a in zones]
    return zones


def _deep_and_forced(rng: np.random.Generator, family: str, people: list[Person], strong: int, call: DefenseCall) -> None:
    """Give the deep men and the men whose underneath zone the variant fixes."""
    corner = {s: _slot(people, f"corner-{_name(s)}") for s in (-1, 1)}
    safety = {s: _slot(people, f"safety-{_name(s)}") for s in (-1, 1)}
    jobs, technique = call.jobs, call.technique
    if family == "cover-3":
        r = strong if rng.random() < 0.6 else -strong
        call.down_side = r
        jobs[safety[-r]] = Job("deep-third", "middle", style=technique)
        for s in (-1, 1):
            jobs[corner[s]] = Job("deep-third", _name(s), style=technique)
        if call.variant == "cloud":
            jobs[safety[r]] = Job("deep-third", _name(r), style=technique)
            jobs[corner[r]] = Job("curl-flat", _name(r), style=technique)
        elif call.variant == "sky":
            jobs[safety[r]] = Job("curl-flat", _name(r), style=technique)
        elif call.variant == "buzz":
            jobs[safety[r]] = Job("hook-curl", _name(r), style=technique)
    elif family in ("cover-2", "tampa-2"):
        for s in (-1, 1):
            jobs[safety[s]] = Job("deep-half", _name(s), style=technique)
            jobs[corner[s]] = Job("flat", _name(s), style=technique)
        if call.variant == "inverted":
            s = int(rng.choice([-1, 1]))
            jobs[safety[s]], jobs[corner[s]] = jobs[corner[s]], jobs[safety[s]]
        if family == "tampa-2":
            jobs[_slot(people, "mike")] = Job("deep-third", "middle", style="runner")
    elif family == "cover-2-man":
        for s in (-1, 1):
            jobs[safety[s]] = Job("deep-half", _name(s), style="spot")
    elif family == "cover-4":
        for s in (-1, 1):
            jobs[corner[s]] = Job("deep-quarter", f"{_name(s)}-outside", style=technique)
            jobs[safety[s]] = Job("deep-quarter", f"{_name(s)}-inside", style=technique)
    elif family == "cover-6":
        q = call.down_side
        jobs[corner[q]] = Job("deep-quarter", f"{_name(q)}-outside", style=technique)
        jobs[safety[q]] = Job("deep-quarter", f"{_name(q)}-inside", style=technique)
        jobs[safety[-q]] = Job("deep-half", _name(-q), style=technique)
        jobs[corner[-q]] = Job("flat", _name(-q), style=technique)
    elif family == "cover-1":
        r = strong if rng.random() < 0.6 else -strong
        call.down_side = r
        jobs[safety[-r]] = Job("deep-third", "middle", style="free")
        if call.variant == "robber":
            jobs[safety[r]] = Job("robber", "middle")


VARIANTS: dict[str, dict[str, float]] = {
    "cover-3": {"sky": 0.45, "buzz": 0.35, "cloud": 0.2},
    "cover-2": {"hard-flat": 0.9, "inverted": 0.1},
    "cover-1": {"rat": 0.6, "robber": 0.4},
    "cover-4": {"quarters": 1.0},
    "cover-6": {"quarter-quarter-half": 1.0},
    "tampa-2": {"runner": 1.0},
    "cover-2-man": {"trail": 1.0},
    "cover-0": {"pressure": 1.0},
}


def _man_cost(defender: Person, receiver: Person, spot: tuple[float, float]) -> float:
    fit = {
        ("corner", "wr"): 0.0,
        ("corner", "te"): 5.0,
        ("corner", "rb"): 14.0,
        ("nickel", "wr"): 0.0,
        ("nickel", "te"): 2.5,
        ("nickel", "rb"): 6.0,
        ("safety", "wr"): 2.0,
        ("safety", "te"): 0.5,
        ("safety", "rb"): 2.5,
        ("linebacker", "wr"): 7.0,
        ("linebacker", "te"): 2.5,
        ("linebacker", "rb"): 0.0,
        ("edge", "wr"): 20.0,
        ("edge", "te"): 8.0,
        ("edge", "rb"): 6.0,
    }.get((defender.role, receiver.role), 30.0)
    return abs(spot[1] - receiver.y) + 0.4 * abs(spot[0] - 4.0) + fit


def _give_men(
    call: DefenseCall,
    people: list[Person],
    offense: list[Person],
    spots: dict[int, tuple[float, float]],
    free: list[int],
    rng: np.random.Generator,
) -> None:
    targets = [k for k, p in enumerate(offense) if p.eligible]
    if not targets:
        return
    cost = np.array([[_man_cost(people[i], offense[k], spots[i]) for k in targets] for i in free])
    rows, cols = linear_sum_assignment(cost)
    trail = call.family == "cover-2-man"
    for row, col in zip(rows, cols, strict=True):
        style = "trail" if trail else "press" if spots[free[row]][0] < 2.6 else "off"
        leverage = float(rng.normal(0.9, 0.3)) * (1.0 if trail or rng.random() < 0.65 else -1.0)
        call.jobs[free[row]] = Job("man", None, targets[col], style, leverage)
    for i in free:
        if i not in call.jobs:
            spies = people[i].role == "linebacker" and rng.random() < 0.18
            call.jobs[i] = Job("spy") if spies else Job("middle-hook", "middle", style="hole")


def draw_coverage(
    rng: np.random.Generator,
    family: str,
    people: list[Person],
    offense: list[Person],
    spots: dict[int, tuple[float, float]],
    strong: int,
    wide_side: int,
) -> DefenseCall:
    """Draw the variant of `family` and give every defender (index into `people`) his job."""
    variants = VARIANTS[family]
    variant = str(rng.choice(list(variants), p=list(variants.values())))
    call = DefenseCall(family, variant, "match" if rng.random() < 0.6 else "spot", [])
    count = _pick(rng, RUSH[family])
    if family == "cover-3" and count == 5:
        variant = call.variant = "fire-zone"
    call.down_side = (wide_side or strong) if family == "cover-6" and rng.random() < 0.7 else strong
    _deep_and_forced(rng, family, people, strong, call)
    free = {i for i in range(len(people)) if i not in call.jobs}
    if family == "cover-1" and variant == "robber" and count == 5:
        count = 4
    call.rush = _rushers(rng, people, count, free) if any(p.role == "tackle" for p in people) else []
    for i in call.rush:
        call.jobs[i] = Job("rush")
    rest = [i for i in range(len(people)) if i not in call.jobs]
    if family in ("cover-0", "cover-1", "cover-2-man"):
        _give_men(call, people, offense, spots, rest, rng)
        return call
    forced = {(j.word, j.area) for j in call.jobs.values()}
    under = sum(j.word in ("curl-flat", "flat", "hook-curl", "middle-hook") for j in call.jobs.values())
    zones = _under_zones(family, len(rest) + under, call.down_side)
    left = [z for z in zones if z not in forced]
    for i, (word, area) in zip(sorted(rest, key=lambda k: spots[k][1]), left, strict=True):
        call.jobs[i] = Job(word, area, style=call.technique)
    return call
