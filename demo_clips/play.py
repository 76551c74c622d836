"""`make_rep`: one practice rep, simulated, with its exact truth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from demo_clips.bystanders import draw_bystanders
from demo_clips.motion import Actor, RepMotion
from demo_clips.plan import draw_plan
from demo_clips.rep import Played, Rep
from demo_clips.truth import write_truth

OPTIONS = ("family", "period", "level", "play_kind")


def simulate(seed: int, index: int, options: Mapping[str, Any] | None = None) -> tuple[Played, np.random.Generator]:
    """The rep in the play frame, and the generator for what still has to be drawn. Raises ValueError for unknown options."""
    options = options or {}
    for name in options:
        if name not in OPTIONS:
            raise ValueError(f"option {name!r}: unknown, wanted one of {', '.join(OPTIONS)}")
    rng = np.random.default_rng([seed, index])
    plan = draw_plan(rng, options)
    return Rep(plan, rng).play(), rng


def make_rep(seed: int, index: int, options: Mapping[str, Any] | None = None) -> tuple[RepMotion, dict[str, Any]]:
    """Simulate rep `index` of `seed`: everybody's motion in the field frame, and the truth (all but its clips).

    `options` may force `family`, `play_kind` (pass, run, screen, quick), `period` (team, seven-on-seven) or `level`.
    The same seed and index give the same rep. Raises ValueError for unknown options or values.
    """
    played, rng = simulate(seed, index, options)
    setting = played.plan.setting
    time_s = played.time_s - played.time_s[0]
    offense_kit, defense_kit = [("home", "pinnie"), ("home", "away"), ("away", "home")][int(rng.choice(3, p=[0.35, 0.4, 0.25]))]
    actors = [
        Actor(
            p.player_id,
            p.side,
            p.role,
            p.slot,
            p.number,
            ("red" if p.role == "qb" and setting.period == "seven-on-seven" else offense_kit)
            if p.side == "offense"
            else defense_kit,
            p.height_yd,
        )
        for p in played.people
    ]
    front = played.xy[[p.side == "offense" for p in played.people], :, 0].max(axis=0)
    others, xy, face, pose = draw_bystanders(rng, setting, time_s, np.maximum(front - 8.0, 0.0), offense_kit)
    motion = RepMotion(
        setting.level,
        time_s,
        float(-played.time_s[0]),
        float(played.end_s - played.time_s[0]),
        (*actors, *others),
        setting.to_field(np.concatenate([played.xy, xy])),
        setting.to_field_angle(np.concatenate([played.face, face])),
        np.concatenate([played.pose, pose]),
        _ball_in_field(played),
    )
    return motion, write_truth(played, motion, seed, index)


def _ball_in_field(played: Played) -> Any:
    return np.concatenate([played.plan.setting.to_field(played.ball[:, :2]), played.ball[:, 2:]], axis=1)
