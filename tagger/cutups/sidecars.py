"""What goes beside a cut-up in open formats: the edit list (OpenTimelineIO), chapters and captions (WebVTT), a table (CSV).

Formats: OpenTimelineIO, Academy Software Foundation; WebVTT, W3C; CSV, RFC 4180.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import opentimelineio as otio

from tagger.cutups.edit_list import FILM, STILL, CutRep, EditList, Piece
from tagger.cutups.overlay import EVENT_WORDS
from tagger.cutups.palette import label_of, receiver_words
from tagger.cutups.slate import coverage_words, event_words, situation_words
from tagger.cutups.whole_file import write_text

MILLISECONDS = 1000.0
"""Rate of the edit list's times: film with uneven frames has none of its own."""
CAPTION_S = 2.0
TABLE_COLUMNS = ("number", "rep", "view", "kind", "at_s", "lasts_s", "source", "source_start_s", "source_end_s", "speed", "down",
                 "distance_yd", "hash", "personnel", "call", "yards_to_goal", "shell", "family", "family_probability", "events")


def write_sidecar(edit: EditList, film: Path, path: Path) -> None:
    """Write one file beside `film`, by the ending of its name: .otio, .vtt (chapters), .captions.vtt or .csv.
    Raises ValueError for another ending, OutputError for what the disk refuses."""
    name = path.name.lower()
    if name.endswith(".captions.vtt"):
        write_text(path, captions(edit))
    elif name.endswith(".vtt"):
        write_text(path, chapters(edit))
    elif name.endswith(".otio"):
        write_text(path, timeline(edit, film.stem).to_json_string(indent=1))
    elif name.endswith(".csv"):
        write_text(path, table(edit))
    else:
        raise ValueError(f"{path}: not a known companion of a cut-up; end the name in .otio, .vtt, .captions.vtt or .csv")


def timeline(edit: EditList, name: str) -> otio.schema.Timeline:
    """The edit list: film with its source times, slow motion and frozen pictures as effects, slates as gaps with a marker."""
    result = otio.schema.Timeline(name)
    track = otio.schema.Track("picture", kind=otio.schema.TrackKind.Video)
    result.tracks.append(track)
    for piece in edit.pieces:
        rep = edit.reps[piece.rep]
        track.append(_gap(rep, piece) if piece.clip is None else _clip(rep, piece))
    return result


def _range(start_s: float, lasts_s: float) -> otio.opentime.TimeRange:
    return otio.opentime.TimeRange(_time(start_s), _time(lasts_s))


def _time(seconds: float) -> otio.opentime.RationalTime:
    return otio.opentime.RationalTime(round(seconds * MILLISECONDS), MILLISECONDS)


def _gap(rep: CutRep, piece: Piece) -> otio.schema.Gap:
    gap = otio.schema.Gap(source_range=_range(0.0, piece.lasts_s))
    words = f"{rep.name}: {situation_words(rep.situation)}"
    gap.markers.append(otio.schema.Marker(name=words, marked_range=_range(0.0, piece.lasts_s)))
    return gap


def _clip(rep: CutRep, piece: Piece) -> otio.schema.Clip:
    assert piece.clip is not None
    source = rep.clips[piece.clip]
    media = otio.schema.ExternalReference(target_url=source.path.resolve().as_uri(),
                                          available_range=_range(source.first_s, source.last_s - source.first_s))
    # In OpenTimelineIO the source range is as long as the piece lasts; the effect tells how fast the source runs in it.
    clip = otio.schema.Clip(f"{rep.name} {source.view}", media, _range(piece.start_s, piece.lasts_s))
    if piece.kind == STILL:
        clip.effects.append(otio.schema.FreezeFrame("frozen at the snap"))
    elif piece.speed != 1.0:
        clip.effects.append(otio.schema.LinearTimeWarp("slow motion", time_scalar=piece.speed))
    for name, time_s in _moments(rep):
        at_s = time_s + source.clip_minus_rep_s
        if piece.kind == FILM and piece.start_s <= at_s < piece.end_s:
            clip.markers.append(otio.schema.Marker(name=name, marked_range=_range(at_s, 0.0)))
    clip.metadata["deepthird"] = {"rep": rep.name, "view": source.view, "coverage": coverage_words(rep)}
    return clip


def _moments(rep: CutRep) -> list[tuple[str, float]]:
    snap = [("snap", rep.reading.snap_s)] if rep.reading.snap_s is not None else []
    return snap + [(EVENT_WORDS.get(event.kind, event.kind), event.start_s) for event in rep.events]


def chapters(edit: EditList) -> str:
    """WebVTT chapters: one for each rep."""
    cues = []
    for number, rep in enumerate(edit.reps):
        pieces = edit.of_rep(number)
        words = ", ".join(word for word in (rep.title or rep.name, situation_words(rep.situation)) if word)
        cues.append((pieces[0].at_s, pieces[-1].at_s + pieces[-1].lasts_s, words))
    return _webvtt(cues)


def captions(edit: EditList) -> str:
    """WebVTT captions: the coverage from the snap on, and each event when it happens, in every view."""
    cues = []
    for number, rep in enumerate(edit.reps):
        events = [(event_words(rep, event), event.start_s) for event in rep.events or rep.reading.events]
        for name, time_s in [("", rep.reading.snap_s), *events]:
            for piece in edit.of_rep(number):
                at_s = None if time_s is None or piece.kind != FILM else in_cut(rep, piece, time_s)
                if at_s is not None:
                    cues.append((at_s, min(at_s + CAPTION_S, edit.duration_s), name or _assignments(rep)))
    return _webvtt(sorted(cues))


def in_cut(rep: CutRep, piece: Piece, time_s: float) -> float | None:
    """When a moment of the rep's clock is shown by a piece of film; None if it is not."""
    if piece.clip is None:
        return None
    at_s = time_s + rep.clips[piece.clip].clip_minus_rep_s
    return piece.at_s + (at_s - piece.start_s) / piece.speed if piece.start_s <= at_s < piece.end_s else None


def _assignments(rep: CutRep) -> str:
    """What the men in question do, or the coverage."""
    receivers = rep.reading.formation.receivers if rep.reading.formation else {}
    words = []
    for defender in rep.reading.defenders:
        if defender.player_id in rep.players and defender.intervals:
            held = max(defender.intervals, key=lambda interval: interval.end_s - interval.start_s)
            receiver = receivers.get(held.receiver or "")
            words.append(f"{defender.slot or defender.player_id}: "
                         f"{label_of(held.assignment, held.area, receiver and receiver_words(receiver))}")
    return "; ".join([coverage_words(rep), *words])


def _webvtt(cues: list[tuple[float, float, str]]) -> str:
    lines = ["WEBVTT", ""]
    for start_s, end_s, words in cues:
        escaped = words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        lines += [f"{_stamp(start_s)} --> {_stamp(max(end_s, start_s + 0.001))}", escaped, ""]
    return "\n".join(lines)


def _stamp(seconds: float) -> str:
    whole = round(seconds * 1000)
    return f"{whole // 3_600_000:02d}:{whole // 60_000 % 60:02d}:{whole // 1000 % 60:02d}.{whole % 1000:03d}"


def table(edit: EditList) -> str:
    """CSV, one line for each piece."""
    out = io.StringIO()
    writer = csv.DictWriter(out, TABLE_COLUMNS)
    writer.writeheader()
    for number, piece in enumerate(edit.pieces, 1):
        writer.writerow(_row(edit.reps[piece.rep], piece, number))
    return out.getvalue()


def _row(rep: CutRep, piece: Piece, number: int) -> dict[str, Any]:
    reading, situation = rep.reading, rep.situation
    family = max(reading.family, key=lambda word: reading.family[word], default="unknown")
    source = rep.clips[piece.clip] if piece.clip is not None else None
    return {
        "number": number, "rep": rep.name, "view": source.view if source else "", "kind": piece.kind,
        "at_s": f"{piece.at_s:.3f}", "lasts_s": f"{piece.lasts_s:.3f}", "source": str(source.path) if source else "",
        "source_start_s": f"{piece.start_s:.3f}" if source else "", "source_end_s": f"{piece.end_s:.3f}" if source else "",
        "speed": f"{piece.speed:g}" if source else "", "down": situation.down, "distance_yd": situation.distance_yd,
        "hash": situation.hash, "personnel": situation.personnel, "call": situation.call,
        "yards_to_goal": situation.yards_to_goal,
        "shell": max(reading.shell, key=lambda word: reading.shell[word], default=None), "family": family,
        "family_probability": f"{reading.family.get(family, 0.0):.3f}",
        "events": "; ".join(event_words(rep, event) for event in rep.events),
    }
