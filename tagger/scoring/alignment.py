"""How the offense stood: set, strength, receivers' numbers, features, motion and its answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tagger.scoring.calls import majority, share
from tagger.scoring.timeline import Matched


def formation(reps: Sequence[Matched]) -> dict[str, Any]:
    """A formation that is not said counts as wrong."""
    sets, strengths, numbers, right, said, true = [], [], [], 0, 0, 0
    for rep in reps:
        wanted, found = rep.truth.raw["formation"], rep.said.reading["formation"] or {}
        sets.append((wanted["set_name"], found.get("set_name")))
        strengths.append((wanted["strength"], found.get("strength")))
        said_numbers = {rep.real_of.get(player): number for player, number in found.get("receivers", {}).items()}
        numbers += [(number, said_numbers.get(player)) for player, number in wanted["receivers"].items()]
        right += len({*wanted["features"]} & {*found.get("features", ())})
        said, true = said + len({*found.get("features", ())}), true + len({*wanted["features"]})
    return {
        "set_accuracy": _accuracy(sets), "set_majority": majority([a for a, _ in sets]),
        "strength_accuracy": _accuracy(strengths), "strength_majority": majority([a for a, _ in strengths]),
        "receiver_accuracy": _accuracy(numbers), "features_f1": share(2 * right, said + true),
    }


def motion(reps: Sequence[Matched]) -> dict[str, Any]:
    """F1 of men who moved (same man, same kind, overlapping in time), and the defense's answer to those found."""
    right, said, true, answers = 0, 0, 0, []
    for rep in reps:
        found = list((rep.said.reading["formation"] or {}).get("motions", ()))
        said, true = said + len(found), true + len(rep.truth.raw["motions"])
        for wanted in rep.truth.raw["motions"]:
            fits = next((m for m in found if _same_motion(wanted, {**m, "player_id": rep.real_of.get(m["player_id"])})), None)
            if fits is not None:
                found.remove(fits)
                right += 1
                if wanted.get("answer"):
                    answers.append((wanted["answer"], fits["answer"]))
    return {"f1": share(2 * right, said + true), "answer_accuracy": _accuracy(answers), "answers": len(answers)}


def _same_motion(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    meet = a["start_s"] <= b["end_s"] and b["start_s"] <= a["end_s"]
    return meet and (a["player_id"], a["kind"]) == (b["player_id"], b["kind"])


def _accuracy(pairs: list[tuple[Any, Any]]) -> float | None:
    return share(sum(a == b for a, b in pairs), len(pairs))
