"""The options that find reps, one for each search field: the same for every command that takes a choice of reps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from tagger.library import Library
    from tagger.library.query import Query

Command = TypeVar("Command", bound=Callable[..., Any])

OPTIONS: dict[str, str] = {
    "family": "Coverage family, as cover-3.",
    "variant": "Variant of the family, as sky.",
    "shell": "Shell at the snap: zero-high, one-high, two-high.",
    "disguised": "Another structure shown than played: yes or no.",
    "play": "Kind of play: pass, run, screen, quick.",
    "down": "1 to 4.",
    "distance": "Yards to gain, as 7..10.",
    "zone": "Part of the field: goal-line, red, plus, minus, backed-up.",
    "hash": "Where the ball lies: left, middle, right.",
    "period": "Period of practice: team, seven-on-seven, drill.",
    "personnel": "Personnel, as the script says.",
    "call": "Called coverage, as the script says; * for any characters.",
    "set": "Receivers a side, as 3x1.",
    "feature": "Feature of the formation, as bunch or stack-left.",
    "motion": "motion or shift.",
    "answer": "What the defense did with the motion: ran-with, bumped, stayed.",
    "slot": "A defender's place before the snap.",
    "number": "A defender's number.",
    "assignment": "What a defender did, as deep-third.",
    "area": "Where he did it, as middle.",
    "sure": "Probability of his assignment, as 0.7.. .",
    "event": "Something to stop the film for, as leverage-lost-over-top.",
    "margin": "Yards by which the event happened, as 1.. .",
    "confidence": "Probability of the family, as ..0.6 .",
    "review": "State of the review: new, corrected, reviewed, flagged, not-a-rep.",
    "source": "Who says the family: auto or coach.",
}
"""Option -> help. A test keeps these to the library's search fields."""

WHERE_HELP = 'A whole search: "family:cover-3 and not (down:3 or defender(slot:free-safety area:middle))".'
ONE_DEFENDER = ("slot", "number", "assignment", "area", "sure")
ONE_EVENT = ("event", "margin")
WHO = ("slot", "number")
ONE_MOTION = ("motion", "answer")


def filter_options(command: Command) -> Command:
    """Every search field as an option, and --where, --saved. The command gets them as one mapping `filters`."""
    import functools

    names = [*OPTIONS, "where", "saved"]

    @functools.wraps(command)
    def gathered(*args: Any, **kwargs: Any) -> Any:
        filters = {name: kwargs.pop(f"filter_{name}") for name in names}
        return command(*args, filters=filters, **kwargs)

    wrapped: Any = gathered
    wrapped = click.option("--saved", "filter_saved", metavar="NAME", help="A saved search.")(wrapped)
    wrapped = click.option("--where", "filter_where", metavar="SEARCH", multiple=True, help=WHERE_HELP)(wrapped)
    for name, text in reversed(OPTIONS.items()):
        wrapped = click.option(f"--{name}", f"filter_{name}", metavar="VALUE", multiple=True, help=text)(wrapped)
    result: Command = wrapped
    return result


def query_of(filters: Mapping[str, Any], library: Library) -> Query:
    """One query: different options must all hold, one option given twice means either. Options on a man go to one and the same
    man; with --event, --slot and --number name the man of the event."""
    from tagger.library.query import All, OneOf, parse

    given = {name: filters[name] for name in OPTIONS if filters[name]}
    parts: list[Query] = []
    events = {name: given.pop(name) for name in ONE_EVENT if name in given}
    if events:
        events |= {name: given.pop(name) for name in WHO if name in given and not ({"assignment", "area", "sure"} & given.keys())}
        parts.append(OneOf("event", _all(events, "event")))
    for group, names in (("defender", ONE_DEFENDER), ("motion", ONE_MOTION)):
        on_one = {name: given.pop(name) for name in names if name in given}
        if on_one:
            parts.append(OneOf(group, _all(on_one, group)))
    parts.insert(0, _all(given, None))
    parts += [parse(text) for text in filters["where"]]
    if filters["saved"]:
        parts.append(parse(library.saved_search(filters["saved"])))
    return All(tuple(part for part in parts if part != All()))


def _all(values: Mapping[str, tuple[str, ...]], group: str | None) -> Query:
    from tagger.library.query import All, AnyOf, condition

    parts: list[Query] = []
    for name, words in values.items():
        either = tuple(condition(name, *_op_and_value(word), group) for word in words)
        parts.append(either[0] if len(either) == 1 else AnyOf(either))
    return All(tuple(parts))


def _op_and_value(word: str) -> tuple[str, str]:
    for op in ("<=", ">=", "!=", "<", ">", "="):
        if word.startswith(op):
            return op, word[len(op):]
    return ":", word
