"""How often the machine was right on this club's own film: the automatic tags against the coach's word, tag kind by tag kind.

Only reps that a coach has finished count: where he said nothing of a tag there, he let it stand. The queue shows doubtful
reps first, so those reviewed are harder than the rest; the reps drawn by lot (`lot.py`) give the fair figure.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from tagger.football.types import Defender, Formation, Reading
from tagger.football.vocabulary import FAMILIES, UNKNOWN
from tagger.library.reading_json import family_of, likeliest
from tagger.library.records import StoredRep

SNAP_RIGHT_S = 0.2
SAMPLE_STEP_S = 0.1
BIN_EDGES = (0.0, 0.4, 0.6, 0.75, 0.9, 1.0)


@dataclass(frozen=True)
class Share:
    """`right` of `total`, with the 95 % interval that so few cases allow (Wilson, JASA 22, 1927)."""

    right: float
    total: float

    @property
    def value(self) -> float | None:
        return self.right / self.total if self.total else None

    @property
    def interval(self) -> tuple[float, float]:
        if not self.total:
            return 0.0, 1.0
        z, n, p = 1.959964, self.total, self.right / self.total
        middle = (p + z * z / (2 * n)) / (1 + z * z / n)
        half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
        return max(middle - half, 0.0), min(middle + half, 1.0)


@dataclass(frozen=True)
class TagTruth:
    """One tag kind: over all finished reps, and over those drawn by lot. `note` says what counts as right."""

    kind: str
    all_reps: Share
    lot_reps: Share
    note: str


@dataclass(frozen=True)
class CalibrationBin:
    """Families told with a probability between `low` and `high`: how sure the machine was, how often it was right."""

    low: float
    high: float
    mean_confidence: float
    share: Share


@dataclass(frozen=True)
class TruthReport:
    """Everything the page shows. `confusion[automatic][coach]` counts reps; `calibration_error` is the expected one."""

    finished: int
    lot_finished: int
    drawn: int
    kinds: tuple[TagTruth, ...]
    families: tuple[str, ...]
    confusion: dict[str, dict[str, int]]
    calibration: tuple[CalibrationBin, ...]
    calibration_error: float | None
    snap_error_s: float | None
    corrections: dict[str, int]


@dataclass
class _Count:
    right: float = 0.0
    total: float = 0.0

    def add(self, right: float, total: float = 1.0) -> None:
        self.right += right
        self.total += total

    def share(self) -> Share:
        return Share(self.right, self.total)


@dataclass
class _Tally:
    counts: dict[tuple[str, bool], _Count] = field(default_factory=dict)

    def add(self, kind: str, lot: bool, right: float, total: float = 1.0) -> None:
        for which in {False, lot}:
            self.counts.setdefault((kind, which), _Count()).add(right, total)

    def truth(self, kind: str, note: str) -> TagTruth:
        every, lot = (self.counts.get((kind, drawn), _Count()).share() for drawn in (False, True))
        return TagTruth(kind, every, lot, note)


def truth_report(reps: Iterable[StoredRep], drawn: Collection[str] = ()) -> TruthReport:
    """The report over the finished ("reviewed") reps among `reps`; the corrections of all of them are counted. `drawn`: the names
    drawn by lot."""
    tally, confusion = _Tally(), {family: Counter[str]() for family in (*FAMILIES, UNKNOWN)}
    told: list[tuple[float, bool]] = []
    snaps: list[float] = []
    corrections: Counter[str] = Counter()
    finished = lot_finished = 0
    for rep in reps:
        tags = [c for c in rep.corrections if c.undoes is None and c.field != "review_state"]
        corrections.update(_kind_of(c.subject, c.field) for c in tags)
        if rep.summary.review_state != "reviewed":
            continue
        lot = rep.summary.name in drawn
        finished, lot_finished = finished + 1, lot_finished + lot
        _add_rep(tally, lot, rep, snaps)
        (machine, confidence), (coach, _) = family_of(rep.automatic), family_of(rep.reading)
        confusion[machine if machine in confusion else UNKNOWN][coach] += 1
        if machine != UNKNOWN:
            told.append((confidence, machine == coach))
    used = tuple(f for f in confusion if confusion[f] or any(f in row for row in confusion.values()))
    return TruthReport(
        finished,
        lot_finished,
        len(drawn),
        _kinds(tally),
        used,
        {a: dict(confusion[a]) for a in used},
        *_calibration(told),
        float(np.median(snaps)) if snaps else None,
        dict(corrections.most_common()),
    )


def _kinds(tally: _Tally) -> tuple[TagTruth, ...]:
    return (
        tally.truth("coverage family", "the family called, `unknown` counted as an answer"),
        tally.truth("shell", "safeties at the snap"),
        tally.truth("formation", "receivers a side, the fuller side first"),
        tally.truth("strength", "left, right or balanced"),
        tally.truth("formation features", "features that both name, of all that one of them names"),
        tally.truth("snap", f"within {SNAP_RIGHT_S:g} s"),
        tally.truth("assignment", "share of the defenders' time with the right word and area"),
        tally.truth("event told", "told events that the coach let stand"),
        tally.truth("event found", "the coach's events that the machine had told"),
    )


def _kind_of(subject: str, name: str) -> str:
    if subject == "event":
        return "event"
    return name.replace("_", " ")


def _add_rep(tally: _Tally, lot: bool, rep: StoredRep, snaps: list[float]) -> None:
    machine, coach = rep.automatic, rep.reading
    tally.add("coverage family", lot, family_of(machine)[0] == family_of(coach)[0])
    if coach.shell:
        tally.add("shell", lot, _word(machine.shell) == _word(coach.shell))
    if coach.formation is not None:
        _add_formation(tally, lot, machine.formation, coach.formation)
    if coach.snap_s is not None:
        apart_s = math.inf if machine.snap_s is None else abs(machine.snap_s - coach.snap_s)
        tally.add("snap", lot, apart_s <= SNAP_RIGHT_S)
        if math.isfinite(apart_s):
            snaps.append(apart_s)
    tally.add("assignment", lot, *agreement_s(machine, coach))
    stood = sum(verdict != "added" for verdict in rep.verdicts)
    if machine.events:
        tally.add("event told", lot, min(stood, len(machine.events)), len(machine.events))
    if rep.verdicts:
        tally.add("event found", lot, stood, len(rep.verdicts))


def _add_formation(tally: _Tally, lot: bool, machine: Formation | None, coach: Formation) -> None:
    tally.add("formation", lot, machine is not None and _fuller_first(machine.set_name) == _fuller_first(coach.set_name))
    tally.add("strength", lot, machine is not None and machine.strength == coach.strength)
    told, true = set(machine.features if machine else ()), set(coach.features)
    if told | true:
        tally.add("formation features", lot, len(told & true), len(told | true))


def _fuller_first(set_name: str) -> list[str]:
    return sorted(set_name.split("x"), reverse=True)


def _word(probabilities: object) -> str | None:
    found = likeliest(probabilities) if isinstance(probabilities, dict) else None
    return found[0] if found else None


def agreement_s(machine: Reading, coach: Reading) -> tuple[float, float]:
    """(seconds in which the machine's word for a defender is the coach's, seconds in which the coach has one)."""
    mine = {d.player_id: d for d in machine.defenders}
    same = total = 0.0
    for defender in coach.defenders:
        other = mine.get(defender.player_id)
        for interval in defender.intervals:
            ticks = np.arange(interval.start_s + SAMPLE_STEP_S / 2, interval.end_s, SAMPLE_STEP_S)
            total += len(ticks) * SAMPLE_STEP_S
            said = (interval.assignment, interval.area)
            same += SAMPLE_STEP_S * sum(_at(other, float(t)) == said for t in ticks)
    return same, total


def _at(defender: Defender | None, time_s: float) -> tuple[str, str | None] | None:
    for interval in reversed(defender.intervals if defender else ()):
        if interval.start_s <= time_s <= interval.end_s:
            return interval.assignment, interval.area
    return None


def _calibration(told: Sequence[tuple[float, bool]]) -> tuple[tuple[CalibrationBin, ...], float | None]:
    """Bins of the family's confidence, and the expected calibration error over them."""
    bins, error = [], 0.0
    for low, high in pairwise(BIN_EDGES):
        inside = [(p, right) for p, right in told if low <= p < high or (high == 1.0 and p >= 1.0)]
        if not inside:
            continue
        mean = sum(p for p, _ in inside) / len(inside)
        share = Share(sum(right for _, right in inside), len(inside))
        bins.append(CalibrationBin(low, high, mean, share))
        error += len(inside) / len(told) * abs(mean - share.right / share.total)
    return tuple(bins), error if told else None
