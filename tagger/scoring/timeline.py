"""The timeline: each defender's assignment over time, and the events."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from tagger.scoring.calls import majority, share
from tagger.scoring.predicted import Said
from tagger.scoring.truth import Truth

STEP_S = 0.1
CLOSE_S = 0.5
"""Two events of one kind and man no farther apart in time than this are the same."""


@dataclass(frozen=True)
class Matched:
    """A rep, what was said of it, and which of the reading's players is which real one."""

    truth: Truth
    said: Said
    real_of: Mapping[str, str]


@dataclass(frozen=True)
class Moment:
    """A tenth of a second of one real defender: what he did, and what was said (None: nothing)."""

    role: str
    word: str
    area: str | None
    said_word: str | None
    said_area: str | None


def moments(rep: Matched) -> list[Moment]:
    """Every defender's time from the snap to the end of the play, in steps."""
    said = {rep.real_of[d["player_id"]]: d["intervals"] for d in rep.said.reading["defenders"] if d["player_id"] in rep.real_of}
    roles = {p["player_id"]: p["role"] for p in rep.truth.raw["players"]}
    found = []
    for defender in rep.truth.raw["defenders"]:
        player = defender["player_id"]
        for time_s in np.arange(rep.truth.snap_s + STEP_S / 2, rep.truth.end_s, STEP_S):
            true = interval_at(defender["intervals"], time_s)
            if true is not None:
                answer = interval_at(said.get(player, ()), time_s) or {}
                found.append(Moment(roles.get(player, ""), true["assignment"], true.get("area"), answer.get("assignment"),
                                    answer.get("area")))
    return found


def interval_at(intervals: Sequence[Mapping[str, Any]], time_s: float) -> Mapping[str, Any] | None:
    """The interval that holds a time; the later one where two meet."""
    held = [interval for interval in intervals if interval["start_s"] <= time_s <= interval["end_s"]]
    return held[-1] if held else None


def assignment(reps: Sequence[Matched]) -> dict[str, Any]:
    """Share of all defenders' time in gradable reps with the right word (and the right area). A defender who is not in the
    reading counts as wrong all the time. Baselines: the commonest word, and the commonest word of each man's position."""
    found = [moment for rep in reps if rep.truth.gradable for moment in moments(rep)]
    by_word: dict[str, list[bool]] = defaultdict(list)
    for moment in found:
        by_word[moment.word].append(moment.word == moment.said_word)
    by_role: dict[str, list[str]] = defaultdict(list)
    for moment in found:
        by_role[moment.role].append(moment.word)
    return {
        "time_share": share(sum(m.word == m.said_word for m in found), len(found)),
        "time_share_with_area": share(sum((m.word, m.area) == (m.said_word, m.said_area) for m in found), len(found)),
        "answered_share": share(sum(m.said_word is not None for m in found), len(found)),
        "majority": majority([m.word for m in found]),
        "majority_with_area": majority([(m.word, m.area) for m in found]),
        "majority_by_role": share(sum(Counter(words).most_common(1)[0][1] for words in by_role.values()), len(found)),
        "by_word": {word: sum(right) / len(right) for word, right in sorted(by_word.items())},
        "defender_seconds": len(found) * STEP_S,
        "matched_defender_share": _matched_share(reps),
    }


def _matched_share(reps: Sequence[Matched]) -> float | None:
    wanted = [(rep, d["player_id"]) for rep in reps for d in rep.truth.raw["defenders"]]
    there = {(id(rep), real) for rep in reps for name, real in rep.real_of.items() if rep.said.players[name].side == "defense"}
    return share(sum((id(rep), player) in there for rep, player in wanted), len(wanted))


def events(reps: Sequence[Matched]) -> dict[str, Any]:
    """F1 of events: same kind, same man, within half a second; in all and by kind."""
    right: Counter[str] = Counter()
    said: Counter[str] = Counter()
    true: Counter[str] = Counter()
    margins: list[float] = []
    for rep in reps:
        for kind in {e["kind"] for e in [*rep.truth.raw["events"], *rep.said.reading["events"]]}:
            wanted = [e for e in rep.truth.raw["events"] if e["kind"] == kind]
            found = [e for e in rep.said.reading["events"] if e["kind"] == kind]
            hits = _same_events(wanted, found, rep.real_of)
            true[kind] += len(wanted)
            said[kind] += len(found)
            right[kind] += len(hits)
            margins += [abs(a["margin_yd"] - b["margin_yd"]) for a, b in hits
                        if a.get("margin_yd") is not None and b.get("margin_yd") is not None]
    return {
        **_precision_recall(right.total(), said.total(), true.total()),
        "margin_error_median_yd": float(np.median(margins)) if margins else None,
        "by_kind": {kind: {**_precision_recall(right[kind], said[kind], true[kind]), "said": said[kind], "true": true[kind]}
                    for kind in sorted({*said, *true})},
    }


def _same_events(wanted: list[Any], found: list[Any], real_of: Mapping[str, str]) -> list[tuple[Any, Any]]:
    """Pairs of the same event, each used once."""
    if not wanted or not found:
        return []
    apart = np.full((len(wanted), len(found)), 1e6)
    for i, a in enumerate(wanted):
        for j, b in enumerate(found):
            gap_s = max(a["start_s"], b["start_s"]) - min(a["end_s"], b["end_s"])
            same_man = a["player_id"] is None or real_of.get(b["player_id"] or "") == a["player_id"]
            if same_man and gap_s <= CLOSE_S:
                apart[i, j] = abs(a["start_s"] - b["start_s"])
    rows, columns = linear_sum_assignment(apart)
    return [(wanted[i], found[j]) for i, j in zip(rows, columns, strict=True) if apart[i, j] < 1e6]


def _precision_recall(right: int, said: int, true: int) -> dict[str, Any]:
    return {"f1": share(2 * right, said + true), "precision": share(right, said), "recall": share(right, true)}
