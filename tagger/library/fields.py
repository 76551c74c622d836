"""What reps can be searched by: each field's name, where it stands, its kind and its words."""

from __future__ import annotations

from dataclasses import dataclass

from tagger.football.vocabulary import (
    AREAS,
    ASSIGNMENTS,
    EVENT_KINDS,
    FAMILIES,
    MOTION_ANSWERS,
    PERIODS,
    PLAY_KINDS,
    SHELLS,
    UNKNOWN,
)
from tagger.library.records import REVIEW_STATES

REP, DEFENDER, ASSIGNMENT, EVENT, FEATURE, MOTION, ABSTENTION = (
    "rep", "player", "assignment", "event", "feature", "motion", "abstention")


@dataclass(frozen=True)
class SearchField:
    """One searchable field. `table` and `column` are this program's own names; `kind` is "word", "text" (any words, `*` for
    any characters), "number" or "flag"; `words` are the trade's, empty where they come from the film itself. Columns that
    stand in several tables of one group (slot, number) name the same thing in each."""

    name: str
    table: str
    column: str
    kind: str
    help: str
    words: tuple[str, ...] = ()


def _fields(*rows: SearchField) -> dict[str, SearchField]:
    return {row.name: row for row in rows}


FIELDS = _fields(
    SearchField("rep", REP, "name", "text", "the rep's name"),
    SearchField("down", REP, "down", "number", "1 to 4"),
    SearchField("distance", REP, "distance_yd", "number", "yards to gain"),
    SearchField("to-goal", REP, "yards_to_goal", "number", "yards to the goal line"),
    SearchField("zone", REP, "field_zone", "word", "part of the field", ("goal-line", "red", "plus", "minus", "backed-up")),
    SearchField("hash", REP, "hash", "word", "where the ball lies", ("left", "middle", "right")),
    SearchField("period", REP, "period", "word", "period of practice", PERIODS),
    SearchField("personnel", REP, "personnel", "text", "as the script says"),
    SearchField("call", REP, "call", "text", "the called coverage, as the script says"),
    SearchField("play", REP, "play_kind", "word", "kind of play", PLAY_KINDS),
    SearchField("set", REP, "set_name", "text", "receivers a side, as 3x1"),
    SearchField("strength", REP, "strength", "word", "strong side", ("left", "right", "balanced")),
    SearchField("backs", REP, "backs", "number", "backs behind the line"),
    SearchField("releases", REP, "likely_releases", "number", "likely releases"),
    SearchField("rushers", REP, "rush_count", "number", "how many rushed"),
    SearchField("box", REP, "box_count", "number", "defenders in the box"),
    SearchField("shell", REP, "shell", "word", "shell at the snap", SHELLS),
    SearchField("family", REP, "family", "word", "coverage family", (*FAMILIES, UNKNOWN)),
    SearchField("variant", REP, "variant", "text", "variant of the family, as sky or buzz"),
    SearchField("disguised", REP, "disguised", "flag", "another structure shown than played"),
    SearchField("confidence", REP, "family_confidence", "number", "probability of the family, 0 to 1"),
    SearchField("source", REP, "family_source", "word", "who says the family", ("auto", "coach")),
    SearchField("review", REP, "review_state", "word", "state of the review", REVIEW_STATES),
    SearchField("feature", FEATURE, "feature", "text", "feature of the formation, as bunch or bunch-left"),
    SearchField("motion", MOTION, "kind", "word", "a man who moved before the snap", ("motion", "shift")),
    SearchField("answer", MOTION, "answer", "word", "what the defense did with the motion", MOTION_ANSWERS),
    SearchField("slot", DEFENDER, "slot", "text", "a defender's place before the snap"),
    SearchField("number", DEFENDER, "number", "text", "a defender's number"),
    SearchField("player", DEFENDER, "player_id", "text", "a defender's id in the rep"),
    SearchField("assignment", ASSIGNMENT, "assignment", "word", "what a defender did", ASSIGNMENTS),
    SearchField("area", ASSIGNMENT, "area", "word", "where he did it, the offense's left and right", AREAS),
    SearchField("sure", ASSIGNMENT, "confidence", "number", "probability of the assignment, 0 to 1"),
    SearchField("event", EVENT, "kind", "word", "something to stop the film for", EVENT_KINDS),
    SearchField("margin", EVENT, "margin_yd", "number", "yards by which the event happened"),
    SearchField("verdict", EVENT, "verdict", "word", "the coach's word on the event", ("open", "confirmed", "added")),
    SearchField("abstained", ABSTENTION, "what", "text", "a question that the machine left open"),
)

GROUPS: dict[str, tuple[str, ...]] = {
    "defender": ("slot", "number", "player", "assignment", "area", "sure"),
    "event": ("event", "margin", "verdict", "slot", "number", "player"),
    "motion": ("motion", "answer"),
}
"""Fields that speak of one and the same man or event inside `group(...)`, and the table that has them all."""
GROUP_TABLES = {"defender": ASSIGNMENT, "event": EVENT, "motion": MOTION}
