"""Which events and men of a rep a search was about: the cut-up slows down and points there."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from tagger.football.types import Event
from tagger.library import StoredRep
from tagger.library.query import NONE, All, AnyOf, Condition, Not, OneOf, Query

EVENT_FIELDS = ("event", "margin", "verdict")
MAN_FIELDS = ("slot", "number", "player", "assignment", "area", "sure")
COMPARE: dict[str, Callable[[float, float], bool]] = {
    "<": lambda a, b: a < b, "<=": lambda a, b: a <= b, ">": lambda a, b: a > b, ">=": lambda a, b: a >= b,
}


def wanted_events(query: Query, stored: StoredRep) -> tuple[Event, ...]:
    """The rep's events that the search asks for; none if it does not speak of events."""
    asked = [part for part in _asked(query) if _about(part, "event", EVENT_FIELDS)]
    slots = {d.player_id: d.slot for d in stored.reading.defenders}
    found = []
    for event, verdict in zip(stored.reading.events, stored.verdicts, strict=True):
        facts = {"event": event.kind, "margin": event.margin_yd, "verdict": verdict, "player": event.player_id,
                 "slot": slots.get(event.player_id or ""), "number": stored.numbers.get(event.player_id or "")}
        if any(fits(part, facts) for part in asked):
            found.append(event)
    return tuple(found)


def wanted_players(query: Query, stored: StoredRep) -> frozenset[str]:
    """The defenders that the search asks for: those of its events, else those of its slots and assignments; none means all."""
    events = wanted_events(query, stored)
    if events:
        return frozenset(event.player_id for event in events if event.player_id)
    asked = [part for part in _asked(query) if _about(part, "defender", MAN_FIELDS)]
    found = set()
    for defender in stored.reading.defenders:
        for interval in defender.intervals:
            facts = {"slot": defender.slot, "number": stored.numbers.get(defender.player_id), "player": defender.player_id,
                     "assignment": interval.assignment, "area": interval.area, "sure": interval.confidence}
            if any(fits(part, facts) for part in asked):
                found.add(defender.player_id)
    return frozenset(found)


def _asked(query: Query) -> Iterator[Condition | OneOf]:
    """The parts that a rep may be there for; what the search excludes is no reason to point at anything."""
    if isinstance(query, Condition | OneOf):
        yield query
    elif isinstance(query, All | AnyOf):
        for part in query.parts:
            yield from _asked(part)


def _about(part: Condition | OneOf, group: str, fields: tuple[str, ...]) -> bool:
    return part.group == group if isinstance(part, OneOf) else part.field in fields


def fits(query: Query, facts: Mapping[str, Any]) -> bool:
    """Whether one man's or event's facts fit; the same answers as the library's search gives."""
    if isinstance(query, All):
        return all(fits(part, facts) for part in query.parts)
    if isinstance(query, AnyOf):
        return any(fits(part, facts) for part in query.parts)
    if isinstance(query, Not):
        return not fits(query.part, facts)
    if isinstance(query, OneOf):
        return fits(query.part, facts)
    value = facts.get(query.field)
    if query.op == ":":
        return any(_equals(word, value) for word in query.values)
    if value is None:
        return False
    if query.op == "..":
        low, high = query.values
        return (not low or value >= float(low)) and (not high or value <= float(high))
    return COMPARE[query.op](float(value), float(query.values[0]))


def _equals(word: str, value: Any) -> bool:
    if word == NONE:
        return value is None
    if value is None:
        return False
    if isinstance(value, float | int):
        return float(word) == value
    if "*" in word:
        return _like(word.lower(), str(value).lower())
    return word == str(value)


def _like(pattern: str, text: str) -> bool:
    """`*` stands for any characters."""
    first, *rest = pattern.split("*")
    if not text.startswith(first):
        return False
    at = len(first)
    for piece in rest[:-1]:
        at = text.find(piece, at)
        if at < 0:
            return False
        at += len(piece)
    return not rest or (len(text) - at >= len(rest[-1]) and text.endswith(rest[-1]))
