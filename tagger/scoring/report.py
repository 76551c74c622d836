"""Every metric of a folder with truth, as one JSON object: over all clips, by view, and by rep where a rep has two views."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tagger.scoring import calls
from tagger.scoring.alignment import formation, motion
from tagger.scoring.detection import average_precision
from tagger.scoring.matching import match_players
from tagger.scoring.predicted import Said
from tagger.scoring.registration import FieldErrors, Gauge, field_errors, registration
from tagger.scoring.timeline import Matched, assignment, events
from tagger.scoring.tracking import tracking
from tagger.scoring.truth import TrueClip, Truth


@dataclass(frozen=True)
class Scored:
    """One tagged clip of a rep; `clip` None where the reading came from tracks without pictures. `is_main` marks the view
    that the tagger itself would keep for the rep."""

    truth: Truth
    clip: TrueClip | None
    said: Said
    is_main: bool = True


@dataclass(frozen=True)
class _Judged:
    scored: Scored
    field: FieldErrors | None
    matched: Matched


def report(clips: Sequence[Scored]) -> dict[str, Any]:
    """All metrics. `by_view` repeats them for each view, `by_rep` gives football's for the view that each rep keeps."""
    judged = [_judge(scored) for scored in clips]
    views: dict[str, list[_Judged]] = defaultdict(list)
    for one in judged:
        if one.scored.clip is not None:
            views[one.scored.clip.view].append(one)
    whole = _all(judged)
    if len(views) > 1:
        whole["by_view"] = {view: _all(group) for view, group in sorted(views.items())}
        whole["by_rep"] = _football([one for one in judged if one.scored.is_main])
    return whole


def _judge(scored: Scored) -> _Judged:
    field = None if scored.clip is None else field_errors(scored.clip, scored.said)
    real_of = match_players(scored.truth, scored.said, field.gauge if field else Gauge())
    return _Judged(scored, field, Matched(scored.truth, scored.said, real_of))


def _all(judged: Sequence[_Judged]) -> dict[str, Any]:
    pictured = [(one.scored.clip, one.scored.said) for one in judged if one.scored.clip is not None]
    seen: dict[str, Any] = {}
    if pictured:
        seen = {
            "detection": detection(pictured),
            "tracking": tracking(pictured),
            "field": registration([one.field for one in judged if one.field is not None]),
        }
    taken_s, duration_s = (sum(getattr(one.scored.said, name) for one in judged) for name in ("taken_s", "duration_s"))
    return {
        "clips": len(judged), **seen, **_football(judged),
        "speed": {"real_time_factor": calls.share(taken_s, duration_s), "seconds_per_clip": calls.share(taken_s, len(judged))},
    }


def _football(judged: Sequence[_Judged]) -> dict[str, Any]:
    pairs = [(one.scored.truth, one.scored.said) for one in judged]
    matched = [one.matched for one in judged]
    return {
        "snap": calls.snap(pairs), "play_kind": calls.play_kind(pairs),
        "shell": calls.shell(pairs), "family": calls.family(pairs),
        "formation": formation(matched), "motion": motion(matched), "assignment": assignment(matched), "events": events(matched),
    }


def detection(pictured: Sequence[tuple[TrueClip, Said]]) -> dict[str, Any]:
    """AP at half overlap over the frames on which the detector was asked, and how many those are."""
    pictures = []
    for clip, said in pictured:
        for frame in clip.frames:
            if frame.index in said.detections:
                pictures.append((frame.xyxy, frame.counted, said.detections[frame.index]))
    return {"ap50": average_precision(pictures) if pictures else None, "frames": len(pictures)}
