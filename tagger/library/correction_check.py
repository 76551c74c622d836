"""Checks a coach's correction before it is logged: the words of the trade, times that make sense."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection
from typing import Any

from tagger.football.vocabulary import (
    AREAS,
    ASSIGNMENTS,
    EVENT_KINDS,
    FAMILIES,
    FORMATION_FEATURES,
    PERIODS,
    PLAY_KINDS,
    SHELLS,
    SIDES,
    UNKNOWN,
)
from tagger.library.effective import (
    CLIP_FIELDS,
    DEFENDER_FIELDS,
    EVENT_FIELDS,
    PLAYER_FIELDS,
    REP_FIELDS,
    REVIEW_STATES,
)
from tagger.library.records import Correction

WORDS: dict[str, tuple[str, ...]] = {
    "family": (*FAMILIES, UNKNOWN),
    "shell": SHELLS,
    "play_kind": PLAY_KINDS,
    "period": PERIODS,
    "hash": ("left", "middle", "right"),
    "strength": ("left", "right", "balanced"),
    "review_state": REVIEW_STATES,
}
MOST_WORDS_SHOWN = 40
NUMBERS = frozenset({"snap_s", "release_s", "end_s", "distance_yd", "yards_to_goal"})
WHOLE_NUMBERS = frozenset({"down", "backs", "likely_releases", "rush_count", "box_count"})
MAY_NOT_BE_NONE = frozenset({"review_state", "strength", "set_name", "backs", "likely_releases", "features"})


def nearest(word: str, words: Collection[str], what: str) -> str:
    """One line that says which words were possible, the nearest ones first."""
    close = difflib.get_close_matches(word, sorted(words), n=3, cutoff=0.5)
    if close:
        return f"{what}: {word!r} is not known; did you mean {', '.join(close)}?"
    shown = list(words)[:MOST_WORDS_SHOWN]
    more = "" if len(words) <= MOST_WORDS_SHOWN else f" and {len(words) - MOST_WORDS_SHOWN} more"
    return f"{what}: {word!r} is not known; known are {', '.join(shown) or 'none yet'}{more}"


def check(correction: Correction) -> None:
    """Raise ValueError with one line unless the correction can be applied."""
    if not correction.who.strip():
        raise ValueError("a correction needs a name: who says so?")
    subject, field, value = correction.subject, correction.field, correction.after
    if subject == "rep":
        _known(field, REP_FIELDS, "field of a rep")
        _check_rep_value(field, value)
    elif subject.startswith("defender:") and len(subject) > len("defender:"):
        _known(field, DEFENDER_FIELDS, "field of a defender")
        if field == "assignment":
            _check_interval(value)
        elif not isinstance(value, str) or not value.strip():
            raise ValueError(f"{field}: {value!r}, wanted some text")
    elif subject.startswith("player:") and len(subject) > len("player:"):
        _known(field, PLAYER_FIELDS, "field of a player")
        if field == "side":
            _known(value, (*SIDES, "other"), "side")
        elif not isinstance(value, str) or not value.strip():
            raise ValueError(f"{field}: {value!r}, wanted some text")
    elif subject.startswith("clip:"):
        _known(field, CLIP_FIELDS, "field of a clip")
        _check_clip_value(field, value)
    elif subject == "event":
        _known(field, EVENT_FIELDS, "verdict on an event")
        _check_event(value)
    else:
        raise ValueError(f"{subject!r} cannot be corrected; a subject is rep, defender:<player>, player:<player>, "
                         "event or clip:<fingerprint>")


def _known(word: Any, words: Collection[str], what: str) -> None:
    if word not in words:
        raise ValueError(nearest(str(word), words, what))


def _check_rep_value(field: str, value: Any) -> None:
    if value is None:
        if field in MAY_NOT_BE_NONE:
            raise ValueError(f"{field}: needs a value")
    elif field == "direction":
        if value not in (1, -1) or isinstance(value, bool):
            raise ValueError(f"direction: {value!r}, wanted 1 (the offense attacks +x) or -1")
    elif field == "ball_xy_yd":
        _check_point(value, "ball_xy_yd")
    elif field == "set_name":
        if not isinstance(value, str) or not re.fullmatch(r"\d\s?x\s?\d", value):
            raise ValueError(f"set_name: {value!r}, wanted receivers a side, as 3x1")
    elif field == "features":
        if not isinstance(value, list) or len(set(map(str, value))) != len(value):
            raise ValueError(f"features: {value!r}, wanted a list of words, each once")
        for word in value:
            _known(word, FORMATION_FEATURES, "feature of a formation")
    elif field in WORDS:
        _known(value, WORDS[field], field)
    elif field in NUMBERS:
        _number(field, value)
    elif field in WHOLE_NUMBERS:
        if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 11:
            raise ValueError(f"{field}: {value!r}, wanted a whole number from 0 to 11")
        if field == "down" and not 1 <= value <= 4:
            raise ValueError(f"down: {value}, wanted 1 to 4")
    elif not isinstance(value, str):
        raise ValueError(f"{field}: {value!r}, wanted some text")


MOST_ANCHORS = 24
MOST_MARK_LETTERS = 40


def _check_clip_value(field: str, value: Any) -> None:
    if field == "boxes":
        _check_boxes(value)
    elif field == "snap_s":
        _number(field, value)
    elif field == "anchors":
        if not isinstance(value, list) or len(value) > MOST_ANCHORS or not all(isinstance(anchor, dict) for anchor in value):
            raise ValueError(f"anchors: wanted up to {MOST_ANCHORS} spots, each an object")
        for anchor in value:
            _number("frame_index", anchor.get("frame_index"))
            _check_point(anchor.get("image_xy_px"), "image_xy_px")
            mark = anchor.get("mark")
            if mark is None:
                _check_point(anchor.get("field_xy_yd"), "field_xy_yd")
            elif not isinstance(mark, str) or not 0 < len(mark) <= MOST_MARK_LETTERS:
                raise ValueError(f"mark: {mark!r}, wanted the words of a mark of the field")
    else:
        if not isinstance(value, dict) or not all(isinstance(value.get(name), str) for name in ("a", "b")):
            raise ValueError(f"{field}: {value!r}, wanted an object with the players a and b")
        if value["a"] == value["b"]:
            raise ValueError(f"{field}: {value['a']} twice; two different men are needed")
        _number("from_s", value.get("from_s", 0))


def _check_point(value: Any, name: str) -> None:
    plain = isinstance(value, list) and len(value) == 2 and all(isinstance(v, int | float) for v in value)
    if not plain or not all(abs(v) < 1e5 for v in value):
        raise ValueError(f"{name}: {value!r}, wanted two numbers")


def _number(field: str, value: Any) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not 0 <= value < 1e6:
        raise ValueError(f"{field}: {value!r}, wanted a number of 0 or more")
    return float(value)


def _check_span(value: Any) -> None:
    if not isinstance(value, dict):
        raise ValueError(f"{value!r}: wanted an object with start_s and end_s")
    start_s, end_s = _number("start_s", value.get("start_s")), _number("end_s", value.get("end_s"))
    if end_s < start_s:
        raise ValueError(f"end_s {end_s:g} lies before start_s {start_s:g}")


def _check_interval(value: Any) -> None:
    _check_span(value)
    if value["end_s"] <= value["start_s"]:
        raise ValueError("an assignment needs some time: end_s must lie after start_s")
    _known(value.get("assignment"), ASSIGNMENTS, "assignment")
    if value.get("area") is not None:
        _known(value["area"], AREAS, "area")


def _check_boxes(value: Any) -> None:
    if not isinstance(value, dict) or not isinstance(value.get("frame_index"), int) or value["frame_index"] < 0:
        raise ValueError("boxes: wanted an object with frame_index and xyxy")
    for box in value.get("xyxy") or ():
        if not isinstance(box, list) or len(box) != 4:
            raise ValueError(f"boxes: {box!r}, wanted [x0, y0, x1, y1]")
        x0, y0, x1, y1 = (_number("box", edge) for edge in box)
        if x1 <= x0 or y1 <= y0:
            raise ValueError(f"boxes: {box!r} has no area")


def _check_event(value: Any) -> None:
    _check_span(value)
    _known(value.get("kind"), EVENT_KINDS, "event")
    if value.get("margin_yd") is not None and not isinstance(value["margin_yd"], int | float):
        raise ValueError(f"margin_yd: {value['margin_yd']!r}, wanted a number")
