"""Writes a rep's rows: what the tables hold of one effective reading."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

from tagger.football.types import Reading
from tagger.library.effective import Effective
from tagger.library.reading_json import family_of, likeliest

DERIVED_TABLES = ("player", "assignment", "marginal", "phase", "event", "family_probability", "family_at", "feature",
                  "receiver", "motion", "abstention")
DISGUISE_EVENTS = frozenset({"disguise", "late-rotation"})


def insert(connection: sqlite3.Connection, table: str, rows: Iterable[Mapping[str, Any]]) -> None:
    """Insert rows that have one set of columns; the names come from this program, the values are bound."""
    listed = list(rows)
    if listed:
        columns = ", ".join(listed[0])
        marks = ", ".join(f":{name}" for name in listed[0])
        connection.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", listed)


def write_effective(connection: sqlite3.Connection, rep_id: int, state: Effective, automatic: Reading,
                    sides: Mapping[str, str], track_ids: Mapping[str, int]) -> None:
    """Replace every derived row of the rep, inside the caller's transaction."""
    for table in DERIVED_TABLES:
        connection.execute(f"DELETE FROM {table} WHERE rep_id = ?", (rep_id,))
    facts = rep_facts(state, automatic)
    sets = ", ".join(f"{name} = :{name}" for name in facts)
    connection.execute(f"UPDATE rep SET {sets} WHERE rep_id = :rep_id", {**facts, "rep_id": rep_id})
    for table, rows in _derived(state, sides, track_ids).items():
        insert(connection, table, ({"rep_id": rep_id, **row} for row in rows))


def rep_facts(state: Effective, automatic: Reading) -> dict[str, Any]:
    """The columns of `rep` that follow from the reading and the situation."""
    reading, formation = state.reading, state.reading.formation
    family, confidence = family_of(reading)
    shell, kind = likeliest(reading.shell), likeliest(reading.play_kind)
    situation = state.situation
    return {
        "review_state": state.review_state,
        "down": situation.down, "distance_yd": situation.distance_yd, "hash": situation.hash, "period": situation.period,
        "personnel": situation.personnel, "call": situation.call, "yards_to_goal": situation.yards_to_goal,
        "snap_s": reading.snap_s, "release_s": reading.release_s, "end_s": reading.end_s,
        "play_kind": kind[0] if kind else None, "play_kind_confidence": kind[1] if kind else None,
        "shell": shell[0] if shell else None, "shell_confidence": shell[1] if shell else None,
        "family": family, "family_confidence": confidence, "family_auto": family_of(automatic)[0],
        "family_source": "coach" if "family" in state.by_coach else "auto",
        "variant": reading.variant,
        "set_name": formation.set_name if formation else None, "strength": formation.strength if formation else None,
        "backs": formation.backs if formation else None,
        "likely_releases": formation.likely_releases if formation else None,
        "rush_count": reading.rush_count, "box_count": reading.box_count,
        "disguised": int(any(event.kind in DISGUISE_EVENTS for event in reading.events)),
    }


def _derived(state: Effective, sides: Mapping[str, str], track_ids: Mapping[str, int]) -> dict[str, list[dict[str, Any]]]:
    reading, formation = state.reading, state.reading.formation
    slots = {d.player_id: d.slot for d in reading.defenders}
    number = state.numbers.get
    everyone = {**sides, **dict.fromkeys(slots, "defense")}
    return {
        "player": [
            {"player_id": p, "side": side, "slot": slots.get(p), "number": number(p), "track_id": track_ids.get(p)}
            for p, side in everyone.items()
        ],
        "assignment": [
            {"player_id": d.player_id, "slot": d.slot, "number": number(d.player_id), "assignment": i.assignment, "area": i.area,
             "receiver": i.receiver, "start_s": i.start_s, "end_s": i.end_s, "confidence": i.confidence,
             "source": "coach" if (d.player_id, i) in state.coach_intervals else "auto", "why": i.why}
            for d in reading.defenders for i in d.intervals
        ],
        "marginal": [
            {"player_id": d.player_id, "assignment": word, "probability": p}
            for d in reading.defenders for word, p in d.marginals.items()
        ],
        "phase": [
            {"player_id": d.player_id, "phase": p.phase, "start_s": p.start_s, "end_s": p.end_s}
            for d in reading.defenders for p in d.phases
        ],
        "event": [
            {"kind": e.kind, "player_id": e.player_id, "slot": slots.get(e.player_id or ""), "number": number(e.player_id or ""),
             "against": e.against, "start_s": e.start_s, "end_s": e.end_s, "margin_yd": e.margin_yd, "confidence": e.confidence,
             "source": "coach" if verdict == "added" else "auto", "verdict": verdict, "why": e.why}
            for e, verdict in zip(reading.events, state.verdicts, strict=True)
        ],
        "family_probability": [{"family": f, "probability": p} for f, p in reading.family.items()],
        "family_at": [
            {"time_s": at.time_s, "family": f, "probability": p} for at in reading.family_over_time for f, p in at.family.items()
        ],
        "feature": [
            {"feature": f, "stem": re.sub(r"-(left|right)$", "", f)}
            for f in dict.fromkeys(formation.features if formation else ())
        ],
        "receiver": [
            {"player_id": p, "receiver": r} for p, r in (formation.receivers.items() if formation else ())
        ],
        "motion": [
            {"player_id": m.player_id, "kind": m.kind, "start_s": m.start_s, "end_s": m.end_s, "from_across_yd": m.from_across_yd,
             "to_across_yd": m.to_across_yd, "answer": m.answer, "why": m.why}
            for m in (formation.motions if formation else ())
        ],
        "abstention": [{"what": a.what, "why": a.why} for a in reading.abstained],
    }
