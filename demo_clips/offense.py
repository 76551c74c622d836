"""Gives every man of the offense his part in the call, and his way to his spot before the snap."""

from __future__ import annotations

from typing import Any

import numpy as np

from demo_clips.blocking import PassBlock, StalkBlock
from demo_clips.ground import AIM_YD, STEP_YD, RunBlock, ScreenRelease, ToHandoff
from demo_clips.passer import Passer
from demo_clips.people import LINE, Person
from demo_clips.plan import Plan
from demo_clips.presnap import GoesInMotion, Waits
from demo_clips.receiving import RunRoute


def _line_brain(i: int, p: Person, plan: Plan, react: float) -> Any:
    call, slot = plan.call, LINE.index(p.role) - 2
    block = PassBlock(i, p.y, slot, react)
    if call.name == "back screen" and slot * call.run_side >= 0:
        return ScreenRelease(i, block, 1.15 + 0.1 * abs(slot), call.run_side)
    return block


def run_aim_y(plan: Plan) -> float:
    """Where the runner aims across the field."""
    return plan.setting.ball_y_yd + plan.call.run_side * AIM_YD.get(plan.call.name, 0.0)


def offense_brains(plan: Plan, rng: np.random.Generator) -> dict[int, Any]:
    """Brain by index of the offense; the passer's knows the routes."""
    call, ball = plan.call, plan.setting.ball_y_yd
    brains: dict[int, Any] = {}
    for i, p in enumerate(plan.formation.people):
        react = float(np.clip(rng.normal(0.15, 0.06), 0.03, 0.35))
        if p.role == "qb":
            brains[i] = Passer(i, call, rng, react)
        elif call.kind == "run" and i == call.runner:
            back = -float(call.run_side) if call.name == "counter" else 0.0
            brains[i] = ToHandoff(i, react, run_aim_y(plan), 0.6 if call.name == "draw" else 0.0, back)
        elif call.kind == "run" and (p.role in LINE or (p.x > -8 and abs(p.y - ball) < 6.5)):
            brains[i] = RunBlock(i, react, call.run_side * STEP_YD[call.name])
        elif p.role in LINE:
            brains[i] = _line_brain(i, p, plan, react)
        elif i in call.routes and call.routes[i].ending != "block":
            pressed = any(abs(x - p.x) < 3.6 and abs(y - p.y) < 1.8 for x, y in plan.final.values())
            fight_s = float(rng.uniform(0.1, 0.45)) if pressed else 0.0
            brains[i] = RunRoute(i, call.routes[i], react, fight_s, 0.93 + 0.04 * float(rng.random()))
            brains[i].release_side = float(rng.choice([-1.0, 1.0]))
        else:
            brains[i] = StalkBlock(i, react, i in call.protect, float(rng.uniform(1.2, 3.0)) * float(rng.choice([-1.0, 1.0])))
    passer = next(b for b in brains.values() if isinstance(b, Passer))
    passer.runners = {i: b for i, b in brains.items() if isinstance(b, RunRoute)}
    return brains


def offense_before(plan: Plan, rng: np.random.Generator) -> dict[int, Any]:
    """What the offense does before the snap: stand, shift, go in motion."""
    before: dict[int, Any] = {}
    for i, p in enumerate(plan.formation.people):
        move = next((m for m in plan.formation.moves if m.person == i), None)
        if move is not None:
            before[i] = GoesInMotion(i, move.path, move.kind in ("jet", "orbit"))
        else:
            before[i] = Waits(i, [(-99.0, p.x, p.y, 3.0)], 0.0 if p.role in (*LINE, "qb") else 0.03, float(rng.uniform(0, 6)))
    return before
