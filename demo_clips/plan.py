"""One rep as planned by both sides: formation, calls, where the defense stands and what it shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from demo_clips.alignment import Stance, align, draw_people, draw_stance, receiver_spots
from demo_clips.bodies import STEP_S
from demo_clips.concepts import Call, draw_call
from demo_clips.coverages import BASE_SHELL, WEIGHTS, DefenseCall, draw_coverage
from demo_clips.formations import Formation, add_moves, draw_formation
from demo_clips.people import Person
from demo_clips.setting import MIDDLE_YD, Setting, draw_setting
from homography.field import WIDTH_YD
from tagger.football.vocabulary import FAMILIES, PLAY_KINDS

KIND_WEIGHTS = {"pass": 0.75, "run": 0.1, "screen": 0.07, "quick": 0.08}
PRESS = {"cover-1": 0.58, "cover-0": 0.55, "cover-2-man": 0.6, "cover-2": 0.5, "tampa-2": 0.4}  # chance that a corner walks up
Spots = dict[int, tuple[float, float]]


@dataclass
class Plan:
    """Everything decided before the first step. Defensive indices count the defenders only."""

    setting: Setting
    formation: Formation
    call: Call
    front: str
    defenders: list[Person]
    coverage: DefenseCall
    stance: Stance
    shown_shell: str
    shown: Spots  # before the rotation, against the formation before its moves
    shown_after_move: Spots
    final: Spots
    rotate_s: float  # when the defense leaves its disguise, seconds after the snap
    disguised: bool
    start_s: float
    answers: list[str | None] = field(default_factory=list)


def _choose(
    rng: np.random.Generator, weights: Mapping[str, float], forced: str | None, allowed: tuple[str, ...], what: str
) -> str:
    roll = rng.random()
    if forced is not None:
        if forced not in allowed:
            raise ValueError(f"{what}: {forced!r}, wanted one of {', '.join(allowed)}")
        return forced
    names = list(weights)
    edges = np.cumsum(np.array(list(weights.values())))
    return names[int(np.searchsorted(edges / edges[-1], roll, side="right").clip(0, len(names) - 1))]


def _before_moves(formation: Formation) -> list[tuple[float, float]]:
    xy = [(p.x, p.y) for p in formation.people]
    for move in formation.moves:
        xy[move.person] = move.path[0][1:]
    return xy


def _cover_men(
    coverage: DefenseCall,
    spots: Spots,
    formation: Formation,
    xy: list[tuple[float, float]],
    setting: Setting,
    defenders: list[Person],
    rng: np.random.Generator,
) -> Spots:
    """Stand the men of man coverage over their receivers."""
    out = dict(spots)
    for d, job in coverage.jobs.items():
        if job.word != "man" or job.receiver is None or d not in spots:
            continue
        rx, ry = xy[job.receiver]
        inside = 1.0 if ry < setting.ball_y_yd else -1.0
        x, y = spots[d]
        role = defenders[d].role
        if formation.people[job.receiver].role in ("wr", "te") and rx > -3.4:
            if role in ("corner", "nickel"):
                x = min(x, float(rng.uniform(1.0, 2.0))) if job.style == "press" or rng.random() < 0.3 else min(max(x, 3.0), 7.0)
            elif role == "safety":
                x = min(x, float(rng.uniform(2.5, 6.5)))
            else:
                x = min(x, float(rng.uniform(1.3, 4.5)))
            y = ry + inside * job.leverage * 0.7
        elif abs(y - ry) > 4.5:
            y = ry + (4.5 if y > ry else -4.5)
        out[d] = (x, float(np.clip(y, 1.0, WIDTH_YD - 1.0)))
    return _spread(out, defenders)


def _spread(spots: Spots, defenders: list[Person]) -> Spots:
    """Nobody stands in anybody."""
    out = dict(spots)
    for _ in range(6):
        keys = list(out)
        for a_k, a in enumerate(keys):
            for b in keys[a_k + 1 :]:
                (ax, ay), (bx, by) = out[a], out[b]
                if abs(ax - bx) < 1.1 and abs(ay - by) < 1.3:
                    mover = a if defenders[a].role not in ("tackle", "edge") else b
                    other = b if mover == a else a
                    mx, my = out[mover]
                    step = 0.7 if my >= out[other][1] else -0.7
                    out[mover] = (mx + (0.5 if defenders[other].role in ("tackle", "edge") else 0.0), my + step)
    return out


def _shown_shell(rng: np.random.Generator, base: str, family: str) -> tuple[str, bool]:
    if rng.random() > 0.33:
        return base, False
    other = {
        "one-high": {"two-high": 0.9, "zero-high": 0.1},
        "two-high": {"one-high": 0.95, "zero-high": 0.05},
        "zero-high": {"two-high": 0.4, "one-high": 0.6},
    }[base]
    return str(rng.choice(list(other), p=list(other.values()))), True


def _walk_ups(rng: np.random.Generator, coverage: DefenseCall, defenders: list[Person], spots: Spots, setting: Setting) -> Spots:
    """Blitzers creep to the line, and so do some who only threaten."""
    out = dict(spots)
    for d, p in enumerate(defenders):
        if p.role in ("linebacker", "nickel") and setting.period == "team":
            chance = 0.6 if coverage.jobs[d].word == "rush" else {"cover-0": 0.4, "cover-1": 0.3}.get(coverage.family, 0.13)
            if rng.random() < chance:
                x, y = out[d]
                out[d] = (float(rng.uniform(1.0, 1.9)), y if abs(y - setting.ball_y_yd) > 5 else y + float(rng.normal(0, 0.4)))
        if p.role == "safety" and coverage.jobs[d].word == "rush":
            x, y = out[d]
            out[d] = (min(x, float(rng.uniform(2.0, 6.0))), setting.ball_y_yd + float(np.clip(y - setting.ball_y_yd, -7, 7)))
    return _spread(out, defenders)


def _kind_and_family(rng: np.random.Generator, setting: Setting, options: Mapping[str, Any]) -> tuple[str, str]:
    kinds, families = dict(KIND_WEIGHTS), dict(WEIGHTS)
    if setting.period == "seven-on-seven":
        kinds.update(run=0.0, screen=0.0, quick=0.12)
        families["cover-0"] = 0.02
    kind = _choose(rng, kinds, options.get("play_kind"), PLAY_KINDS, "play_kind")
    if setting.period == "seven-on-seven" and kind in ("run", "screen"):
        raise ValueError(f"play_kind: {kind!r} needs both lines, wanted pass or quick in seven-on-seven")
    return kind, _choose(rng, families, options.get("family"), FAMILIES, "family")


def _rotation_s(rng: np.random.Generator, formation: Formation) -> float:
    """When a disguise is left: before, at or after the snap, and not before a motion has declared itself."""
    rotate = float(rng.choice([rng.uniform(-2.4, -0.6), rng.uniform(-0.4, 0.15), rng.uniform(0.15, 0.5)], p=[0.5, 0.32, 0.18]))
    if formation.moves:
        rotate = max(rotate, 0.5 * (formation.moves[0].path[0][0] + formation.moves[0].path[-1][0]))
    return rotate


class _Stands:
    """Where the defense stands for any shell, before and after the offense's moves."""

    def __init__(self, formation: Formation, setting: Setting, defenders: list[Person], stance: Stance) -> None:
        self.formation, self.setting, self.defenders, self.stance = formation, setting, defenders, stance
        ball = setting.ball_y_yd
        self.xy = {"before": _before_moves(formation), "after": [(p.x, p.y) for p in formation.people]}
        self.receivers = {when: receiver_spots(formation, xy, ball) for when, xy in self.xy.items()}
        left, right = (len(self.receivers["before"][s]) for s in (-1, 1))
        self.strong = 1 if right > left else -1 if left > right else formation.strong

    def base(self, shell: str, when: str, down_side: int) -> Spots:
        return align(
            self.defenders, self.formation, self.receivers[when], self.setting, self.stance, shell, down_side, self.strong
        )

    def over_men(self, shell: str, when: str, coverage: DefenseCall, seed: int) -> Spots:
        """With the men of man coverage over their receivers; the same seed gives the same habits."""
        spots = self.base(shell, when, coverage.down_side)
        rng = np.random.default_rng(seed)
        return _cover_men(coverage, spots, self.formation, self.xy[when], self.setting, self.defenders, rng)

    def disguised(self, shell: str, when: str, coverage: DefenseCall, seed: int) -> Spots:
        """As `over_men`, but the safeties stand where the shown shell wants them."""
        spots, high = self.over_men(shell, when, coverage, seed), self.base(shell, when, coverage.down_side)
        for d, p in enumerate(self.defenders):
            if p.role == "safety":
                spots[d] = high[d]
        return _spread(spots, self.defenders)


def draw_plan(rng: np.random.Generator, options: Mapping[str, Any]) -> Plan:
    """Draw the whole rep's plan. Options: family, play_kind, period, level. Raises ValueError for unknown values."""
    setting = draw_setting(rng, options.get("level"), options.get("period"))
    kind, family = _kind_and_family(rng, setting, options)
    formation = draw_formation(rng, setting, kind == "run")
    add_moves(rng, formation, setting)
    call = draw_call(rng, formation, setting, kind)
    front, defenders = draw_people(rng, formation, setting)
    stance = draw_stance(rng, setting, PRESS.get(family, 0.33))
    if family in ("cover-2", "tampa-2"):
        stance.corner_depth = {s: min(d, 5.5) for s, d in stance.corner_depth.items()}
    stands = _Stands(formation, setting, defenders, stance)
    base, ball = BASE_SHELL.get(family, "two-high"), setting.ball_y_yd
    wide_side = 0 if abs(ball - MIDDLE_YD) < 2.5 else 1 if ball < MIDDLE_YD else -1
    draft = stands.base(base, "after", formation.strong)
    coverage = draw_coverage(rng, family, defenders, formation.people, draft, formation.strong, wide_side)
    if coverage.variant == "cloud":
        base = "two-high"
    shown_shell, disguised = _shown_shell(rng, base, family)
    seed = int(rng.integers(1 << 30))
    stand = stands.disguised if disguised else stands.over_men
    final = _walk_ups(rng, coverage, defenders, stands.over_men(base, "after", coverage, seed), setting)
    rotate = _rotation_s(rng, formation)
    earliest = min([m.path[0][0] for m in formation.moves], default=-1.0)
    start_s = min(-float(rng.uniform(2.5, 3.2)), earliest - 0.5, rotate - 0.8 if disguised else 0.0)
    longest_s = float(rng.uniform(3.8, 5.5))  # the film of a long shift begins in its midst
    return Plan(
        setting,
        formation,
        call,
        front,
        defenders,
        coverage,
        stance,
        shown_shell,
        stand(shown_shell, "before", coverage, seed),
        stand(shown_shell, "after", coverage, seed),
        final,
        rotate if disguised else -1.2,
        disguised,
        -STEP_S * round(min(-start_s, longest_s) / STEP_S),
    )
