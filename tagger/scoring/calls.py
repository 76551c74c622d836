"""Snap, shell, family and the kind of play: one answer a rep."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np

from tagger.scoring.predicted import Said
from tagger.scoring.truth import Truth

UNKNOWN = "unknown"
CLOSE_FRAMES = 3.0
CALIBRATION_BINS = 10
FRAMES_PER_S = 30.0
"""For reps without a picture of their own; else the clip's own rate counts."""

Pair = tuple[Truth, Said]


def share(right: float, of: float) -> float | None:
    """A share, null where there is nothing to share."""
    return right / of if of else None


def majority(answers: Sequence[Hashable]) -> float | None:
    """The share that a tagger gets which always says the commonest answer."""
    return share(Counter(answers).most_common(1)[0][1], len(answers)) if answers else None


def frame_rate(truth: Truth) -> float:
    """Frames a second of the rep's film."""
    times = [frame.time_s for clip in truth.clips[:1] for frame in clip.frames]
    return 1.0 / float(np.median(np.diff(times))) if len(times) > 1 else FRAMES_PER_S


def snap(pairs: Sequence[Pair]) -> dict[str, Any]:
    """Errors in frames; a snap that is not found counts against the share within 3 frames."""
    errors = [abs(said.reading["snap_s"] - truth.snap_s) * frame_rate(truth)
              for truth, said in pairs if said.reading["snap_s"] is not None]
    return {
        "found_share": share(len(errors), len(pairs)),
        "median_frames": float(np.median(errors)) if errors else None,
        "p95_frames": float(np.percentile(errors, 95)) if errors else None,
        "within_3_frames": share(sum(error <= CLOSE_FRAMES + 1e-6 for error in errors), len(pairs)),
    }


def shell(pairs: Sequence[Pair]) -> dict[str, Any]:
    """The shell at the snap."""
    asked = [(truth.raw["shell"], said.reading["shell"]) for truth, said in pairs if truth.raw.get("shell")]
    return {"accuracy": share(sum(a == b for a, b in asked), len(asked)), "majority": majority([a for a, _ in asked])}


def called(family: Mapping[str, float]) -> tuple[str, float]:
    """The family said and its probability; unknown where there is none."""
    if not family:
        return UNKNOWN, 0.0
    word = max(family, key=lambda name: family[name])
    return word, float(family[word])


def family(pairs: Sequence[Pair]) -> dict[str, Any]:
    """Accuracy on gradable reps (unknown is wrong there), beside always saying the commonest; on the others unknown is right."""
    asked = [(truth.raw["family"], *called(said.reading["family"])) for truth, said in pairs if truth.gradable]
    others = [called(said.reading["family"])[0] for truth, said in pairs if not truth.gradable]
    answered = [(true, word, p) for true, word, p in asked if word != UNKNOWN]
    confusion: dict[str, dict[str, int]] = {}
    for true, word, _ in asked:
        row = confusion.setdefault(true, {})
        row[word] = row.get(word, 0) + 1
    return {
        "accuracy": share(sum(true == word for true, word, _ in asked), len(asked)),
        "majority": majority([true for true, _, _ in asked]),
        "accuracy_when_answered": share(sum(true == word for true, word, _ in answered), len(answered)),
        "answered_share": share(len(answered), len(asked)),
        "ece": calibration_error([p for _, _, p in answered], [true == word for true, word, _ in answered]),
        "variant_accuracy": _variant(pairs),
        "ungradable_left_open": share(sum(word == UNKNOWN for word in others), len(others)),
        "reps": len(asked), "ungradable_reps": len(others),
        "confusion": confusion,
    }


def _variant(pairs: Sequence[Pair]) -> float | None:
    asked = [(truth.raw["variant"], said.reading.get("variant"))
             for truth, said in pairs if truth.gradable and truth.raw.get("variant")]
    return share(sum(a == b for a, b in asked), len(asked))


def calibration_error(confidence: Sequence[float], right: Sequence[bool]) -> float | None:
    """Expected calibration error (Guo et al. 2017): mean over equal bins of |accuracy - confidence|, weighted by size."""
    if not confidence:
        return None
    p, hit = np.asarray(confidence, float), np.asarray(right, float)
    bins = np.minimum((p * CALIBRATION_BINS).astype(int), CALIBRATION_BINS - 1)
    return float(sum((bins == b).mean() * abs(hit[bins == b].mean() - p[bins == b].mean()) for b in np.unique(bins)))


def play_kind(pairs: Sequence[Pair]) -> dict[str, Any]:
    """Pass, run, screen or quick."""
    asked = [(truth.raw["play_kind"], said.reading["play_kind"]) for truth, said in pairs]
    return {"accuracy": share(sum(a == b for a, b in asked), len(asked)), "majority": majority([a for a, _ in asked])}
