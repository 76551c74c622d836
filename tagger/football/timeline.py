"""Each defender's rep: his assignment with its reason, and what he was doing, phase by phase."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tagger.football.coverage import Coverage
from tagger.football.scene import STEP_S, Scene
from tagger.football.types import Defender, Interval, Phase
from tagger.football.vocabulary import DEEP_ASSIGNMENTS
from vision.types import FloatArray

MOVING_YD_S = 1.6
STANDING_YD_S = 1.2
PURSUIT_S = 1.0


def read_defenders(scene: Scene, coverage: Coverage, slots: tuple[str, ...], release_s: float | None, end_s: float,
                   graded: bool, kind: str) -> tuple[Defender, ...]:
    """One entry per defender, in the scene's order. `release_s`, `end_s` after the snap; ungraded reps get rush or run-fit
    for those who certainly did that, and no coverage assignment."""
    out = []
    for k, row in enumerate(scene.defense):
        chances = dict(coverage.roles[int(row)])
        total = sum(chances.values())
        marginals = {role: p / total for role, p in sorted(chances.items(), key=lambda item: -item[1])} if total else {}
        intervals = (_intervals(scene, int(row), marginals, end_s) if graded or kind == "run"
                     else _rush_only(scene, int(row), marginals, end_s))
        if kind == "run":
            intervals = tuple(_as_run_fit(i) for i in intervals)
        assignment = intervals[0].assignment if intervals else None
        phases = read_phases(scene, int(row), assignment, release_s, end_s)
        out.append(Defender(scene.play.player_id[row], slots[k], intervals, phases,
                            {r: round(p, 4) for r, p in marginals.items() if p > 0.005}))
    return tuple(out)


def _intervals(scene: Scene, row: int, marginals: Mapping[str, float], end_s: float) -> tuple[Interval, ...]:
    if not marginals:
        return ()
    words: dict[str, float] = {}
    for role, p in marginals.items():
        words[role.partition(":")[0]] = words.get(role.partition(":")[0], 0.0) + p
    role = next(iter(marginals))
    best_word = max(words, key=lambda w: words[w])
    if best_word != role.partition(":")[0]:
        role = next(r for r in marginals if r.partition(":")[0] == best_word)
    word, _, rest = role.partition(":")
    area = None if word in ("man", "rush") else rest
    receiver = rest if word == "man" else None
    confidence = marginals[role] if word in DEEP_ASSIGNMENTS else words[word]
    return (Interval(word, area, round(scene.snap_s, 3), round(scene.snap_s + end_s, 3), round(float(confidence), 3),
                     _why(scene, row, word, receiver), receiver),)


def _rush_only(scene: Scene, row: int, marginals: Mapping[str, float], end_s: float) -> tuple[Interval, ...]:
    if next(iter(marginals), "") != "rush":
        return ()
    return _intervals(scene, row, {"rush": marginals["rush"]}, end_s)


def _as_run_fit(interval: Interval) -> Interval:
    return Interval("run-fit", None, interval.start_s, interval.end_s, interval.confidence,
                    "the rep is a run: he fits it, no zone grade")


def _why(scene: Scene, row: int, word: str, receiver: str | None) -> str:
    """One line in a coach's words, from his numbers."""
    at = scene.at(2.5)
    depth = scene.xy[row, at, 0] - scene.line_yd
    when = min(2.5, scene.last_s)
    if word == "rush":
        return (f"{-depth:.0f} yd behind the line at {when:.1f} s" if depth < -0.5
                else f"engaged at the line, {abs(depth):.1f} yd off it at {when:.1f} s")
    if receiver is not None:
        man = scene.play.player_id.index(receiver)
        gap = np.linalg.norm(scene.xy[row] - scene.xy[man], axis=1)[scene.at(0.8) : at + 1]
        return f"stays with {receiver}: {gap.mean():.1f} yd away on average, {gap[-1]:.1f} yd at {when:.1f} s"
    out = scene.xy[row, at, 1] - scene.ball[1]
    drift = scene.xy[row, at] - scene.xy[row, scene.snap]
    moved = "up" if drift[0] < -1 else "back" if drift[0] > 1 else "little"
    return (f"{depth:.0f} yd deep and {abs(out):.0f} yd {'left' if out < 0 else 'right'} of the ball at {when:.1f} s, "
            f"moved {moved} {abs(drift[0]):.0f} yd and {abs(drift[1]):.0f} yd across since the snap")


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
