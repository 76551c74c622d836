"""A Reading as JSON values and back: the open format of `--json`, and what the library keeps of the automatic tags."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from tagger.football.types import (
    Abstention,
    Defender,
    Event,
    FamilyAt,
    Formation,
    Interval,
    Motion,
    Phase,
    Reading,
    Situation,
)
from tagger.football.vocabulary import UNKNOWN


def likeliest(probabilities: Mapping[str, float]) -> tuple[str, float] | None:
    """The most probable word and its probability; None where the machine abstains."""
    if not probabilities:
        return None
    word = max(probabilities, key=lambda name: probabilities[name])
    return word, probabilities[word]


def family_of(reading: Reading) -> tuple[str, float]:
    """The family called, and its probability: `unknown` with 0 where the reading abstains."""
    return likeliest(reading.family) or (UNKNOWN, 0.0)


def reading_to_json(reading: Reading) -> dict[str, Any]:
    """Plain JSON values. `shell` is the likeliest word or null, `shell_probability` has them all; so for `play_kind`."""
    shell, kind = likeliest(reading.shell), likeliest(reading.play_kind)
    return {
        "snap_s": reading.snap_s,
        "release_s": reading.release_s,
        "end_s": reading.end_s,
        "play_kind": kind[0] if kind else None,
        "play_kind_probability": dict(reading.play_kind),
        "shell": shell[0] if shell else None,
        "shell_probability": dict(reading.shell),
        "shell_why": reading.shell_why,
        "family": dict(reading.family),
        "family_why": reading.family_why,
        "family_over_time": [{"time_s": at.time_s, "family": dict(at.family)} for at in reading.family_over_time],
        "variant": reading.variant,
        "formation": _formation_to_json(reading.formation),
        "defenders": [
            {
                "player_id": d.player_id,
                "slot": d.slot,
                "intervals": [asdict(interval) for interval in d.intervals],
                "phases": [asdict(phase) for phase in d.phases],
                "marginals": dict(d.marginals),
            }
            for d in reading.defenders
        ],
        "events": [asdict(event) for event in reading.events],
        "abstained": [asdict(abstention) for abstention in reading.abstained],
        "rush_count": reading.rush_count,
        "box_count": reading.box_count,
    }


def _formation_to_json(formation: Formation | None) -> dict[str, Any] | None:
    if formation is None:
        return None
    return {
        "set_name": formation.set_name,
        "strength": formation.strength,
        "backs": formation.backs,
        "receivers": dict(formation.receivers),
        "features": list(formation.features),
        "likely_releases": formation.likely_releases,
        "confidence": formation.confidence,
        "why": formation.why,
        "motions": [asdict(motion) for motion in formation.motions],
    }


def reading_from_json(value: Mapping[str, Any]) -> Reading:
    """The Reading that `reading_to_json` wrote."""
    formation = value["formation"]
    return Reading(
        snap_s=value["snap_s"],
        release_s=value["release_s"],
        end_s=value["end_s"],
        play_kind=value["play_kind_probability"],
        shell=value["shell_probability"],
        shell_why=value["shell_why"],
        family=value["family"],
        family_why=value["family_why"],
        family_over_time=tuple(FamilyAt(at["time_s"], at["family"]) for at in value["family_over_time"]),
        variant=value["variant"],
        formation=None if formation is None else Formation(**{
            **formation,
            "features": tuple(formation["features"]),
            "motions": tuple(Motion(**motion) for motion in formation["motions"]),
        }),
        defenders=tuple(
            Defender(
                d["player_id"],
                d["slot"],
                tuple(Interval(**interval) for interval in d["intervals"]),
                tuple(Phase(**phase) for phase in d["phases"]),
                d["marginals"],
            )
            for d in value["defenders"]
        ),
        events=tuple(Event(**event) for event in value["events"]),
        abstained=tuple(Abstention(**abstention) for abstention in value["abstained"]),
        rush_count=value["rush_count"],
        box_count=value["box_count"],
    )


def situation_to_json(situation: Situation) -> dict[str, Any]:
    """Plain JSON values."""
    return asdict(situation)


def situation_from_json(value: Mapping[str, Any]) -> Situation:
    """The Situation that `situation_to_json` wrote."""
    return Situation(**value)
