"""The effective reading of a rep: the coach's word laid over the automatic one.

Nothing is overwritten: the automatic reading and the log of corrections are kept, and this pure function makes of them
what the library's rows, the searches and the pages show. A new tagging changes only its first argument.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from tagger.football.types import Defender, Event, Formation, Interval, Reading, Situation
from tagger.library.records import REVIEW_STATES, Correction

SITUATION_FIELDS = frozenset(f.name for f in fields(Situation))
TIME_FIELDS = frozenset({"snap_s", "release_s", "end_s"})
PROBABILITY_FIELDS = frozenset({"family", "shell", "play_kind"})
COUNT_FIELDS = frozenset({"rush_count", "box_count"})
FORMATION_FIELDS = frozenset({"set_name", "strength", "backs", "likely_releases", "features"})
LAY_FIELDS = frozenset({"direction", "ball_xy_yd"})
REP_FIELDS = (SITUATION_FIELDS | TIME_FIELDS | PROBABILITY_FIELDS | COUNT_FIELDS | FORMATION_FIELDS | LAY_FIELDS
              | {"variant", "review_state"})
DEFENDER_FIELDS = frozenset({"assignment", "slot", "number"})
PLAYER_FIELDS = frozenset({"side", "number"})
CLIP_FIELDS = frozenset({"boxes", "swap", "join", "anchors", "snap_s"})
EVENT_FIELDS = frozenset({"confirmed", "wrong", "added"})
SAME_EVENT_S = 0.5
"""Events of one kind and man whose times overlap after widening by this much are the same event, tagged anew."""

COACH_WHY = "the coach says so"


@dataclass(frozen=True)
class Effective:
    """A rep as it stands after the corrections. `verdicts` runs beside `reading.events`; `by_coach` names the rep's fields
    and "defender:<player_id>" subjects that the coach set; `coach_intervals` holds those intervals that are his."""

    reading: Reading
    situation: Situation
    verdicts: tuple[str, ...]
    numbers: dict[str, str] = field(default_factory=dict)
    by_coach: frozenset[str] = frozenset()
    coach_intervals: frozenset[tuple[str, Interval]] = frozenset()
    review_state: str = "new"


def standing(corrections: Iterable[Correction]) -> list[Correction]:
    """The corrections that hold, oldest first: neither undone nor themselves the taking back of another."""
    log = list(corrections)
    undone: set[int] = set()
    for correction in reversed(log):  # newest first, so that undoing an undo brings the first one back
        if correction.undoes is not None and correction.correction_id not in undone:
            undone.add(correction.undoes)
    return [c for c in log if c.undoes is None and c.correction_id not in undone]


def effective(automatic: Reading, script: Situation, corrections: Iterable[Correction],
              numbers: Mapping[str, str] | None = None) -> Effective:
    """Lay the corrections (oldest first) over the automatic reading, the script's situation and the shirt `numbers` (by player)
    that were read on film."""
    state = Effective(automatic, script, ("open",) * len(automatic.events), dict(numbers or {}))
    for correction in standing(corrections):
        if correction.subject == "rep":
            state = _rep(state, correction)
        elif correction.subject.startswith("defender:"):
            state = _defender(state, correction.subject.removeprefix("defender:"), correction)
        elif correction.subject.startswith("player:") and correction.field == "number":
            player = correction.subject.removeprefix("player:")
            state = replace(state, numbers={**state.numbers, player: str(correction.after)})
        elif correction.subject == "event":
            state = _event(state, correction)
        if state.review_state == "new":
            state = replace(state, review_state="corrected")
    return state


def _rep(state: Effective, correction: Correction) -> Effective:
    name, value, reading = correction.field, correction.after, state.reading
    if name == "review_state":
        return replace(state, review_state=str(value))
    if name in SITUATION_FIELDS:
        state = replace(state, situation=replace(state.situation, **{name: value}))
    elif name in PROBABILITY_FIELDS:
        certain: dict[str, Any] = {name: {} if value is None else {str(value): 1.0}}
        if name != "play_kind":
            certain[f"{name}_why"] = correction.reason or COACH_WHY
        state = replace(state, reading=replace(reading, **certain))
    elif name in LAY_FIELDS:
        pass  # how the play lies on the field: the reading knows it only once it is read anew
    elif name in FORMATION_FIELDS:
        empty = Formation("", "balanced", 0, {}, (), 0, 0.0, "")
        said: Any = tuple(value) if name == "features" else value
        told = replace(reading.formation or empty, confidence=1.0, why=correction.reason or COACH_WHY, **{name: said})
        state = replace(state, reading=replace(reading, formation=told))
    else:
        state = replace(state, reading=replace(reading, **{name: value}))
    return replace(state, by_coach=state.by_coach | {name})


def _defender(state: Effective, player_id: str, correction: Correction) -> Effective:
    state = replace(state, by_coach=state.by_coach | {correction.subject})
    if correction.field == "number":
        return replace(state, numbers={**state.numbers, player_id: str(correction.after)})
    known = {d.player_id: d for d in state.reading.defenders}
    old = known.get(player_id, Defender(player_id, "", ()))
    if correction.field == "slot":
        new = replace(old, slot=str(correction.after))
    else:
        said = interval_from(correction)
        kept = [piece for interval in old.intervals for piece in _outside(interval, said)]
        intervals = sorted([*kept, said], key=lambda interval: interval.start_s)
        mine = {pair for pair in state.coach_intervals if pair[0] != player_id or pair[1] in intervals}
        state = replace(state, coach_intervals=frozenset(mine | {(player_id, said)}))
        new = replace(old, intervals=tuple(intervals), marginals=_certain(said) if said == intervals[-1] else old.marginals)
    known[player_id] = new
    return replace(state, reading=replace(state.reading, defenders=tuple(known.values())))


def interval_from(correction: Correction) -> Interval:
    """The interval that a correction of an assignment states."""
    value = correction.after
    return Interval(value["assignment"], value.get("area"), float(value["start_s"]), float(value["end_s"]), 1.0,
                    correction.reason or COACH_WHY, value.get("receiver"))


def coach_intervals(corrections: Iterable[Correction]) -> dict[str, tuple[Interval, ...]]:
    """Player -> the intervals that standing corrections state of him, oldest first; a later word cuts an earlier one."""
    told: dict[str, tuple[Interval, ...]] = {}
    for correction in corrections:
        kind, _, player = correction.subject.partition(":")
        if (kind, correction.field) == ("defender", "assignment"):
            said = interval_from(correction)
            told[player] = (*(piece for interval in told.get(player, ()) for piece in _outside(interval, said)), said)
    return told


def _certain(said: Interval) -> dict[str, float]:
    return {said.assignment if said.area is None else f"{said.assignment}:{said.area}": 1.0}


def _outside(interval: Interval, said: Interval) -> Sequence[Interval]:
    """What is left of `interval` outside the coach's."""
    before = replace(interval, end_s=min(interval.end_s, said.start_s))
    after = replace(interval, start_s=max(interval.start_s, said.end_s))
    return [piece for piece in (before, after) if piece.end_s > piece.start_s]


def _event(state: Effective, correction: Correction) -> Effective:
    said = event_from(correction)
    events, verdicts = list(state.reading.events), list(state.verdicts)
    same = [i for i, event in enumerate(events) if same_event(event, said)]
    if correction.field == "wrong":
        events = [event for i, event in enumerate(events) if i not in same]
        verdicts = [verdict for i, verdict in enumerate(verdicts) if i not in same]
    elif same:
        verdicts[same[0]] = "confirmed"
        events[same[0]] = replace(events[same[0]], confidence=1.0)
    else:
        events.append(replace(said, confidence=1.0))
        verdicts.append("added")
    return replace(state, reading=replace(state.reading, events=tuple(events)), verdicts=tuple(verdicts))


def event_from(correction: Correction) -> Event:
    """The event that a correction speaks of."""
    value = correction.after
    margin = value.get("margin_yd")
    return Event(value["kind"], value.get("player_id"), value.get("against"), float(value["start_s"]), float(value["end_s"]),
                 None if margin is None else float(margin), 1.0, correction.reason or COACH_WHY)


def same_event(event: Event, said: Event) -> bool:
    """True for events of one kind and man whose times meet, give or take SAME_EVENT_S."""
    apart_s = max(event.start_s, said.start_s) - min(event.end_s, said.end_s)
    return event.kind == said.kind and event.player_id == said.player_id and apart_s <= SAME_EVENT_S


__all__ = ["CLIP_FIELDS", "DEFENDER_FIELDS", "EVENT_FIELDS", "PLAYER_FIELDS", "REP_FIELDS", "REVIEW_STATES", "Effective",
           "coach_intervals", "effective", "event_from", "interval_from", "same_event", "standing"]
