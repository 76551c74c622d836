"""Mistakes on purpose: busts, late rotations, lost leverage, slow breaks, missed adjustments. All are recorded."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from demo_clips.coverages import Job
from demo_clips.deep import DeepZone
from demo_clips.man import ManCover
from demo_clips.under import UnderZone
from demo_clips.zones import Zone

SHARE = 0.27  # reps in which somebody errs
# kind -> weight; the small ones are common, the busts rare
KINDS = {
    "slow-break": 0.22,
    "late-drop": 0.17,
    "flat-footed": 0.16,
    "wrong-leverage": 0.12,
    "late-rotation": 0.1,
    "jumps-short": 0.09,
    "wrong-zone": 0.05,
    "locks-on": 0.05,
    "lost-man": 0.04,
}


def make_mistakes(
    rng: np.random.Generator,
    brains: dict[int, Any],
    words: dict[int, list[tuple[float, Job]]],
    throw_react: dict[int, float],
    rotators: list[int],
) -> dict[int, list[dict[str, Any]]]:
    """Spoil one man's rep (seldom two) by changing his brain in place. Returns what was done, by man."""
    done: dict[int, list[dict[str, Any]]] = {}
    if rng.random() > SHARE:
        return done
    for _ in range(1 + int(rng.random() < 0.15)):
        fits = {kind: [i for i in words if i not in done and _fits(kind, brains[i], i in rotators)] for kind in KINDS}
        open_kinds = [kind for kind in KINDS if fits[kind]]
        weights = np.array([KINDS[kind] for kind in open_kinds])
        kind = str(rng.choice(open_kinds, p=weights / weights.sum()))
        i = int(rng.choice(fits[kind]))
        start = _spoil(rng, kind, i, brains, words, throw_react)
        done[i] = [{"kind": kind, "start_s": start}]
    return done


def _fits(kind: str, brain: Any, rotates: bool) -> bool:
    zone, deep = isinstance(brain, Zone), isinstance(brain, DeepZone)
    return {
        "slow-break": zone,
        "late-drop": isinstance(brain, UnderZone),
        "flat-footed": deep or isinstance(brain, ManCover),
        "wrong-leverage": isinstance(brain, ManCover) or (deep and brain.side != 0),
        "late-rotation": zone and rotates,
        "jumps-short": isinstance(brain, UnderZone),
        "wrong-zone": isinstance(brain, UnderZone),
        "locks-on": isinstance(brain, UnderZone),
        "lost-man": isinstance(brain, ManCover),
    }[kind]


def _spoil(
    rng: np.random.Generator,
    kind: str,
    i: int,
    brains: dict[int, Any],
    words: dict[int, list[tuple[float, Job]]],
    throw_react: dict[int, float],
) -> float:
    brain, job = brains[i], words[i][0][1]
    if kind == "slow-break":
        throw_react[i] += float(rng.uniform(0.25, 0.5))
    elif kind == "late-drop":
        brain.slow_start_s = float(rng.uniform(0.7, 1.2))
    elif kind == "flat-footed":
        brain.slow_start_s = float(rng.uniform(0.6, 1.1))
        brain.delay_s += 0.2
        if isinstance(brain, DeepZone):
            brain.landmark_shift = (-float(rng.uniform(2.0, 5.0)), 0.0)
            brain.skill = -3.5
    elif kind == "wrong-leverage":
        if isinstance(brain, DeepZone):  # he lines up and stays on the wrong side of the routes
            away = brain.side if job.word != "deep-half" else -brain.side
            brain.landmark_shift = (0.0, away * float(rng.uniform(3.0, 5.0)))
            brain.lever_flip = -1.0
            brain.delay_s += 0.12
        else:
            brain.job = replace(job, leverage=-1.6 if job.leverage > 0 else 1.6)
    elif kind == "late-rotation":
        brain.slow_start_s = float(rng.uniform(0.6, 1.2))
    elif kind == "jumps-short":
        brain.landmark_shift = (-float(rng.uniform(3.0, 4.5)), 2.5 * brain.side)
    elif kind == "wrong-zone":
        other = {
            "curl-flat": "hook-curl",
            "hook-curl": "curl-flat",
            "flat": "hook-curl",
            "middle-hook": "hook-curl",
        }.get(job.word, "middle-hook")
        area = job.area if job.area in ("left", "right") else str(rng.choice(["left", "right"]))
        new = Job(other, area if other != "middle-hook" else "middle", style=job.style)
        brains[i] = UnderZone(i, new, brain.delay_s, brain.skill, brain.wander, brain.corner)
        words[i] = [(0.0, new)]
    elif kind == "locks-on":
        brain.lock = True
    elif kind == "lost-man":
        new = Job("hook-curl", str(rng.choice(["left", "right"])), style="spot")
        brains[i] = UnderZone(i, new, brain.delay_s, brain.skill, (0.0, 0.0), False)
        words[i] = [(0.0, new)]
    return 0.0
