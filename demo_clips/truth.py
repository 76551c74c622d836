"""The truth of one rep as written to truth.json: what everybody really did, in the trade's words."""

from __future__ import annotations

from typing import Any

import numpy as np

from demo_clips.events import find_events
from demo_clips.facts import formation_facts, index_at, shell_at
from demo_clips.motion import Actor, RepMotion
from demo_clips.rep import Played

FORMAT = "deepthird-truth/1"


def _intervals(played: Played, i: int, offset: float) -> list[dict[str, Any]]:
    """The man's words tile snap to end."""
    words = played.words[i]
    out = []
    for k, (start, job) in enumerate(words):
        stop = words[k + 1][0] if k + 1 < len(words) else played.end_s
        receiver = played.people[job.receiver].player_id if job.word == "man" and job.receiver is not None else None
        out.append(
            {
                "assignment": job.word,
                "area": job.area,
                "receiver": receiver,
                "start_s": round(start + offset, 3),
                "end_s": round(stop + offset, 3),
            }
        )
    return out


SET_S, SET_YD = 1.0, 1.0
"""Who moves farther than this across in the last second before the snap is in motion, whatever he was to do."""


def _motions(played: Played, offset: float) -> list[dict[str, Any]]:
    """Who moved before the snap, as far as it lies in the rep. A shift is over a second before it (the rule of the game)."""
    out = []
    last = (played.time_s >= -SET_S) & (played.time_s <= 0.0)
    for k, move in enumerate(played.plan.formation.moves):
        i = move.person
        start, end = max(move.path[0][0], float(played.time_s[0])), min(move.path[-1][0], 0.0)
        moving = np.ptp(played.xy[i, last, 1]) > SET_YD
        end = max(end, -SET_S / 2) if moving else end
        y0, y1 = played.xy[i, index_at(played, start), 1], played.xy[i, index_at(played, end), 1]
        out.append(
            {
                "player_id": played.people[i].player_id,
                "kind": "motion" if moving else "shift",
                "style": move.kind,
                "start_s": round(start + offset, 3),
                "end_s": round(end + offset, 3),
                "from_across_yd": round(float(y0), 3),
                "to_across_yd": round(float(y1), 3),
                "answer": played.plan.answers[k] if k < len(played.plan.answers) else None,
            }
        )
    return out


def _rotation(played: Played, offset: float) -> dict[str, Any] | None:
    """The safety who gives up the shown shell, and when he starts."""
    plan = played.plan
    if not plan.disguised:
        return None
    moved = {
        d: np.hypot(
            plan.final[d][0] - plan.shown_after_move[d][0],
            plan.final[d][1] - plan.shown_after_move[d][1],
        )
        for d, p in enumerate(plan.defenders)
        if p.role == "safety"
    }
    d = max(moved, key=lambda k: moved[k])
    if moved[d] < 2.0:
        return None
    return {"player_id": plan.defenders[d].player_id, "start_s": round(max(plan.rotate_s, plan.start_s) + offset, 3)}


def personnel_of(played: Played) -> str:
    """Backs and tight ends, as the trade writes it: 11 is one back, one tight end."""
    roles = [p.role for p in played.plan.formation.people]
    return f"{roles.count('rb')}{roles.count('te')}"


def write_truth(played: Played, motion: RepMotion, seed: int, index: int) -> dict[str, Any]:
    """The whole truth of the rep but its clips. Times in the clip's seconds."""
    plan, setting, offset = played.plan, played.plan.setting, motion.snap_s
    called = plan.coverage.family
    graded = plan.call.kind == "pass"
    rotation = _rotation(played, offset)
    shell = shell_at(played, 0.0)
    shown = shell_at(played, min(plan.rotate_s, 0.0) - 0.15) if rotation else shell
    defenders = [
        {
            "player_id": played.people[i].player_id,
            "slot": played.people[i].slot,
            "intervals": _intervals(played, i, offset),
            "mistakes": [{**m, "start_s": round(m["start_s"] + offset, 3)} for m in played.mistakes.get(i, [])],
        }
        for i in sorted(played.words)
    ]
    return {
        "format": FORMAT,
        "rep": f"rep-{index + 1:03d}",
        "seed": seed,
        "level": setting.level,
        "period": setting.period,
        "situation": {
            "down": setting.down,
            "distance_yd": setting.distance_yd,
            "hash": setting.hash_side,
            "personnel": personnel_of(played),
            "call": called,
            "yards_to_goal": setting.yards_to_goal,
        },
        "snap_s": round(offset, 3),
        "release_s": None if played.release_s is None else round(played.release_s + offset, 3),
        "target": None if played.target is None else played.people[played.target].player_id,
        "end_s": round(played.end_s + offset, 3),
        "play_kind": plan.call.kind,
        "concept": plan.call.name,
        "result": played.result,
        "direction": setting.direction,
        "ball_xy_yd": _rounded(setting.to_field(np.array([0.0, setting.ball_y_yd]))),
        "shell_shown": shown,
        "shell": shell,
        "family": called,
        "called_family": called,
        "variant": plan.coverage.variant,
        "technique": plan.coverage.technique,
        "front": plan.front,
        "gradable": graded,
        "rush_count": sum(any(job.word == "rush" for _, job in words) for words in played.words.values()),
        "disguised": bool(rotation),
        "rotation": rotation,
        "formation": formation_facts(played),
        "motions": _motions(played, offset),
        "players": [_player(a) for a in motion.actors],
        "defenders": defenders,
        "events": find_events(played, offset),
        "tracks": {
            "time_s": _rounded(motion.time_s),
            "player_id": [a.player_id for a in motion.actors],
            "xy_yd": _rounded(motion.xy_yd),
            "facing_rad": _rounded(motion.torso_rad),
        },
    }


def _player(a: Actor) -> dict[str, Any]:
    return {"player_id": a.player_id, "side": a.side, "role": a.role, "slot": a.slot, "number": a.number, "kit": a.kit}


def _rounded(values: Any) -> Any:
    return np.round(np.asarray(values, float), 3).tolist()
