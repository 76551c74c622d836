"""Each defender's rep: his assignment with its reason, and what he was doing, phase by phase."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.optimize import linear_sum_assignment

from homography.field import LEVELS, WIDTH_YD
from tagger.football.coverage import Coverage
from tagger.football.scene import STEP_S, Scene
from tagger.football.types import Defender, Interval, Phase
from tagger.football.vocabulary import DEEP_ASSIGNMENTS
from vision.types import FloatArray

MOVING_YD_S = 1.6
STANDING_YD_S = 1.2
PURSUIT_S = 1.0
LEAST_CHANCE = 1e-3


def read_defenders(scene: Scene, coverage: Coverage, slots: tuple[str, ...], release_s: float | None, end_s: float,
                   graded: bool, kind: str) -> tuple[Defender, ...]:
    """One entry per defender, in the scene's order. `release_s`, `end_s` after the snap; ungraded reps get rush or run-fit
    for those who certainly did that, and no coverage assignment."""
    out = []
    every = [_marginals(coverage.roles[int(row)]) for row in scene.defense]
    men = share_receivers(every)
    for k, row in enumerate(scene.defense):
        marginals = every[k]
        intervals = (_intervals(scene, int(row), marginals, men.get(k), end_s) if graded or kind == "run"
                     else _rush_only(scene, int(row), marginals, end_s))
        if kind == "run":
            intervals = tuple(_as_run_fit(i) for i in intervals)
        assignment = intervals[0].assignment if intervals else None
        phases = read_phases(scene, int(row), assignment, release_s, end_s)
        out.append(Defender(scene.play.player_id[row], slots[k], intervals, phases,
                            {r: round(p, 4) for r, p in marginals.items() if p > 0.005}))
    return tuple(out)


def _marginals(chances: Mapping[str, float]) -> dict[str, float]:
    """Chances of the roles, the likeliest first, summing to 1."""
    total = sum(chances.values())
    return {role: p / total for role, p in sorted(chances.items(), key=lambda item: -item[1])} if total else {}


def _word(marginals: Mapping[str, float]) -> str:
    """The likeliest assignment, wherever its area is and whoever its man."""
    words: dict[str, float] = {}
    for role, p in marginals.items():
        words[role.partition(":")[0]] = words.get(role.partition(":")[0], 0.0) + p
    return max(words, key=lambda w: words[w], default="")


def share_receivers(every: Sequence[Mapping[str, float]]) -> dict[int, str]:
    """The role of everybody who is in man: no two have one receiver while another fits them nearly as well."""
    in_man = [k for k, marginals in enumerate(every) if _word(marginals) == "man"]
    roles = sorted({role for k in in_man for role in every[k] if role.startswith("man:")})
    chance = np.array([[every[k].get(role, 0.0) for role in roles] for k in in_man]).reshape(len(in_man), len(roles))
    shared = zip(*linear_sum_assignment(-np.log(chance + LEAST_CHANCE)), strict=True)
    return {in_man[i]: roles[j] for i, j in shared if chance[i, j] > LEAST_CHANCE}


def _intervals(scene: Scene, row: int, marginals: Mapping[str, float], man: str | None, end_s: float) -> tuple[Interval, ...]:
    if not marginals:
        return ()
    word = _word(marginals)
    role = man or next(role for role in marginals if role.partition(":")[0] == word)
    rest = role.partition(":")[2]
    area = None if word in ("man", "rush") else rest
    receiver = rest if word == "man" else None
    in_word = sum(p for one, p in marginals.items() if one.partition(":")[0] == word)
    confidence = marginals[role] if word in DEEP_ASSIGNMENTS else in_word
    return (Interval(word, area, round(scene.snap_s, 3), round(scene.snap_s + end_s, 3), round(float(min(confidence, 1.0)), 3),
                     _why(scene, row, word, receiver), receiver),)


def _rush_only(scene: Scene, row: int, marginals: Mapping[str, float], end_s: float) -> tuple[Interval, ...]:
    if next(iter(marginals), "") != "rush":
        return ()
    return _intervals(scene, row, {"rush": marginals["rush"]}, None, end_s)


def _as_run_fit(interval: Interval) -> Interval:
    return Interval("run-fit", None, interval.start_s, interval.end_s, interval.confidence,
                    "the rep is a run: he fits it, no zone grade")


def _why(scene: Scene, row: int, word: str, receiver: str | None) -> str:
    """One line in a coach's words, from his numbers."""
    at = scene.at(2.5)
    depth = scene.xy[row, at, 0] - scene.line_yd
    when = f"{min(2.5, scene.last_s):.1f} s after the snap"
    if word == "rush":
        return (f"{-depth:.0f} yd behind the line {when}" if depth < -0.5
                else f"engaged at the line, {abs(depth):.1f} yd off it {when}")
    if receiver is not None:
        man = scene.play.player_id.index(receiver)
        gap = np.linalg.norm(scene.xy[row] - scene.xy[man], axis=1)[scene.at(0.8) : at + 1]
        return f"on {receiver}: {gap.mean():.1f} yd from him on average and {gap[-1]:.1f} yd at {min(2.5, scene.last_s):.1f} s"
    back, across = scene.xy[row, at] - scene.xy[row, scene.snap]
    moves = [f"dropped {back:.0f} yd" if back > 0 else f"came up {-back:.0f} yd"] if abs(back) >= 1 else []
    moves += [f"went {abs(across):.0f} yd to the {'left' if across < 0 else 'right'}"] if abs(across) >= 1 else []
    return f"{depth:.0f} yd deep, {_where(scene, row, at)} {when}; {' and '.join(moves) or 'kept his place'}"


def _where(scene: Scene, row: int, at: int) -> str:
    """His place across: by the hashes and the numbers where the sidelines are known, else from the ball."""
    across = float(scene.xy[row, at, 1])
    side, out = ("left", across) if across < WIDTH_YD / 2 else ("right", WIDTH_YD - across)
    if not scene.play.across_known:
        off = across - scene.ball[1]
        return f"{abs(off):.0f} yd {'left' if off < 0 else 'right'} of the ball"
    level = min(LEVELS.values(), key=lambda one: abs(one.hash_yd - scene.hash_yd))
    if out >= level.hash_yd:
        return "between the hashes"
    return f"{'outside the numbers' if out < (level.number_centre_yd or 0.0) else 'between hash and numbers'} on the {side}"


def read_phases(scene: Scene, row: int, assignment: str | None, release_s: float | None, end_s: float) -> tuple[Phase, ...]:
    """aligned, (shifted), read, drop or rush, at-landmark, break, pursuit, from his speed and the throw."""
    speed = np.linalg.norm(scene.velocity[row], axis=1)
    snap, last = scene.snap, scene.at(end_s)
    marks = [("aligned", max(0, snap - round(2.0 / STEP_S)), snap)]
    before = np.flatnonzero(speed[marks[0][1] : snap] > MOVING_YD_S)
    if len(before) >= 4:
        first = marks[0][1] + int(before[0])
        marks = [("aligned", marks[0][1], first), ("shifted", first, snap)]
    go = _first(speed, snap, last, above=MOVING_YD_S)
    marks.append(("read", snap, go))
    thrown = last if release_s is None else min(last, scene.at(release_s))
    if assignment == "rush":
        marks.append(("rush", go, max(go, thrown)))
    else:
        there = _first(speed, go + 3, thrown, above=None)
        marks.append(("drop", go, there))
        marks.append(("at-landmark", there, thrown))
        drive = _first(speed, thrown, last, above=3.0)
        if release_s is not None and drive < last:
            marks.append(("break", drive, min(last, drive + round(PURSUIT_S / STEP_S))))
            thrown = marks[-1][2]
    marks.append(("pursuit", thrown, last))
    times = scene.time_s + scene.snap_s
    marks = [(name, min(a, last), min(b, last)) for name, a, b in marks]
    return tuple(Phase(name, round(float(times[a]), 3), round(float(times[b]), 3)) for name, a, b in marks if b > a)


def _first(speed: FloatArray, start: int, stop: int, above: float | None) -> int:
    """First index in [start, stop) at which he moves faster than `above`, or (None) stands; `stop` if never."""
    window = speed[start:stop]
    hit = np.flatnonzero(window > above if above is not None else window < STANDING_YD_S)
    return start + int(hit[0]) if len(hit) else max(start, stop)
