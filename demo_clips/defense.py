"""Gives every defender the brain for his job, and his way from what is shown to where he plays."""

from __future__ import annotations

from typing import Any

import numpy as np

from demo_clips.coverages import Job
from demo_clips.deep import DeepZone
from demo_clips.formations import Move
from demo_clips.man import ManCover, Rush, Spy
from demo_clips.people import Person
from demo_clips.plan import Plan
from demo_clips.presnap import Follow, Waits
from demo_clips.under import UnderZone

DEEP_WORDS = ("deep-third", "deep-half", "deep-quarter")
STEP_OVER_YD = 1.2  # less is no bump


def _rush(plan: Plan, rng: np.random.Generator, i: int, p: Person, y: float, late_s: float = 0.0) -> Rush:
    offset = y - plan.setting.ball_y_yd
    win = float(rng.exponential(3.2)) + 1.9 + (9.0 if plan.call.kind == "run" else 0.0)  # on a run he fights for his gap
    return Rush(
        i,
        p.skill,
        win,
        late_s + float(np.clip(rng.normal(0.18, 0.05), 0.08, 0.35)),
        offset,
        p.role == "edge" or abs(offset) >= 3.6,
    )


def _under(plan: Plan, rng: np.random.Generator, i: int, p: Person, job: Job, wander: tuple[float, float]) -> UnderZone:
    zone = UnderZone(i, job, p.react_s, p.skill, wander, p.role == "corner")
    zone.read_s = float(np.clip(rng.normal(0.95 if p.role == "linebacker" else 0.65, 0.22), 0.25, 1.5))
    if p.role != "corner" and rng.random() < 0.3:  # he hangs low: eyes on the back and the passer's feet
        zone.read_s += float(rng.uniform(0.3, 0.8))
        zone.landmark_shift = (-float(rng.uniform(1.0, 3.0)), 0.0)
    zone.pace = float(np.clip(rng.normal(4.4, 0.7), 2.8, 6.2))
    if plan.call.play_action and p.role in ("linebacker", "nickel"):
        zone.bite_s = float(np.clip(rng.normal(0.85, 0.25), 0.3, 1.4))
    return zone


def defense_brains(plan: Plan, rng: np.random.Generator) -> dict[int, Any]:
    """Brain by index among all people."""
    deeper = float(rng.normal(0.0, 1.1))  # how this defense is taught its depths
    brains: dict[int, Any] = {}
    for d, p in enumerate(plan.defenders):
        i, job = d + len(plan.formation.people), plan.coverage.jobs[d]
        wander = deeper + float(rng.normal(0.0, 1.3)), float(rng.normal(0.0, 1.3))
        if job.word == "rush":
            brains[i] = _rush(plan, rng, i, p, plan.final[d][1])
        elif job.word == "man":
            brains[i] = ManCover(i, job, p.react_s, p.skill)
            if (
                p.role in ("linebacker", "safety")
                and plan.setting.period == "team"
                and plan.call.kind == "pass"
                and rng.random() < 0.35
            ):
                brains[i].late_rush = _rush(plan, rng, i, p, plan.final[d][1])
        elif job.word == "spy":
            brains[i] = Spy(i, p.react_s)
        elif job.word in DEEP_WORDS:
            brains[i] = DeepZone(i, job, p.react_s, p.skill, wander, p.role == "corner")
            brains[i].tight = p.role == "corner" and job.style == "match" and bool(rng.random() < 0.6)
            brains[i].pace = float(np.clip(rng.normal(1.14, 0.22), 0.6, 1.7))
        else:
            brains[i] = _under(plan, rng, i, p, job, wander)
    return brains


def defense_before(plan: Plan, rng: np.random.Generator) -> dict[int, Waits]:
    """Before the snap: stand on the shown spot, adjust to motion, rotate."""
    move = plan.formation.moves[0] if plan.formation.moves else None
    before: dict[int, Waits] = {}
    for d, p in enumerate(plan.defenders):
        i = d + len(plan.formation.people)
        spots = [(-99.0, *plan.shown[d], 4.0)]
        if move is not None:
            when = 0.5 * (move.path[0][0] + move.path[-1][0]) + float(rng.uniform(-0.1, 0.35))
            spots.append((when, *plan.shown_after_move[d], 4.2))
        spots.append((max(plan.rotate_s + float(rng.uniform(-0.15, 0.25)), spots[-1][0]), *plan.final[d], 5.4))
        sway = 0.02 if p.role in ("edge", "tackle") else 0.22 if p.role == "linebacker" else 0.12
        before[i] = Waits(i, spots, sway, float(rng.uniform(0, 6)))
    return before


def answer_motion(plan: Plan, rng: np.random.Generator, move: Move, before: dict[int, Any]) -> tuple[str, int | None]:
    """The defense's answer to a man in motion (ran-with, bumped, stayed), and the defender who forgot to adjust, if one did.
    In man his man runs with him; in zone they bump over or stay, and now and then one runs with him to look like man."""
    shift = len(plan.formation.people)
    far = abs(move.path[0][2] - move.path[-1][2])
    follower = next((d for d, j in plan.coverage.jobs.items() if j.word == "man" and j.receiver == move.person), None)
    missed = None
    if follower is not None:
        if far > 5.0 and rng.random() < 0.07:
            missed, follower = follower, None
            before[missed + shift].spots = before[missed + shift].spots[:1]
    elif rng.random() < 0.13 and move.kind in ("across", "jet", "short"):
        near = [
            d
            for d, p in enumerate(plan.defenders)
            if p.role not in ("edge", "tackle") and plan.shown[d][0] < 9.0 and abs(plan.shown[d][1] - move.path[0][2]) < 4.0
        ]
        follower = min(near, key=lambda d: abs(plan.shown[d][1] - move.path[0][2]), default=None)
    if follower is not None and far >= 2.0:
        (_, start_y), (x, y) = plan.shown[follower], plan.shown_after_move[follower]
        begin, end = move.path[0], move.path[-1]
        offset = start_y - begin[2], float(np.clip(y - end[2], -1.5, 1.5))
        depth = min(max(x, 1.6), 6.0)
        before[follower + shift].follow = Follow(move.person, depth, begin[2], end[2], offset, begin[0] + 0.25)
        return "ran-with", missed
    if follower is not None or missed is not None or far < 2.0 or rng.random() < 0.3 or not _adjusts(plan, move):
        _hold(plan, before)
        return "stayed", missed
    return "bumped", missed


def _adjusts(plan: Plan, move: Move) -> bool:
    """Somebody's spot against the formation after the move lies a step farther the way the move goes."""
    way = float(np.sign(move.path[-1][2] - move.path[0][2]))
    return any(way * (plan.shown_after_move[d][1] - plan.shown[d][1]) > STEP_OVER_YD for d in plan.shown)


def _hold(plan: Plan, before: dict[int, Waits]) -> None:
    """Nobody answers the move; the safeties still leave their disguise."""
    for d, p in enumerate(plan.defenders):
        waits = before[d + len(plan.formation.people)]
        waits.spots = waits.spots[:1] + (waits.spots[-1:] if plan.disguised and p.role == "safety" else [])
