"""What a cut-up is made of, before any picture is touched: pieces of film, stills and slates in order, with exact times.

Pure: the film, the OpenTimelineIO edit list, the chapters, the captions and the table are all written from one EditList.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

from tagger.football.types import Event, Reading, Situation

SLATE, FILM, STILL = "slate", "film", "still"
DEFAULT_END_AFTER_SNAP_S = 4.0
"""Used where the end of the play is not known."""
SLOW_AROUND_S = 0.8
"""Slow motion begins and ends this long around an event."""


@dataclass(frozen=True)
class CutStyle:
    """How each rep is shown. `slow` is the speed of slow motion (1 = none): around the matched events, or from the snap to
    the end where none was asked for. `freeze_s` holds the frame of the snap (0 = no freeze); `slate_s` 0 = no slate.
    `views` in the order shown. Raises ValueError for values that make no film."""

    lead_in_s: float = 2.0
    tail_s: float = 1.5
    slate_s: float = 2.5
    freeze_s: float = 1.0
    slow: float = 1.0
    views: tuple[str, ...] = ("sideline", "end-zone")
    overlays: frozenset[str] = frozenset()
    sound: bool = True
    height_px: int = 720

    def __post_init__(self) -> None:
        for name in ("lead_in_s", "tail_s", "slate_s", "freeze_s"):
            if not 0.0 <= getattr(self, name) <= 60.0:
                raise ValueError(f"{name.removesuffix('_s').replace('_', ' ')}: {getattr(self, name)} s; give 0 to 60 seconds")
        if not 0.1 <= self.slow <= 1.0:
            raise ValueError(f"slow: {self.slow}; give the speed of slow motion, 0.1 to 1")
        if not 144 <= self.height_px <= 2160 or self.height_px % 2:
            raise ValueError(f"height: {self.height_px} px; give an even height from 144 to 2160")
        if not self.views:
            raise ValueError("views: none chosen; give at least one of sideline, end-zone")

    @property
    def plain(self) -> bool:
        """Nothing is drawn, stretched or held: the film may be copied without encoding it anew."""
        return not self.slate_s and not self.freeze_s and self.slow == 1.0 and not self.overlays


@dataclass(frozen=True)
class CutClip:
    """One view of a rep: the file, and what to add to the rep's clock for the file's. `first_s` to `last_s` is what the
    file holds."""

    path: Path
    view: str
    clip_minus_rep_s: float
    first_s: float
    last_s: float


@dataclass(frozen=True)
class CutRep:
    """One rep to be cut: times of `reading` and `events` in the rep's clock; `events` are those that were asked for."""

    name: str
    title: str
    situation: Situation
    reading: Reading
    clips: tuple[CutClip, ...]
    events: tuple[Event, ...] = ()
    players: frozenset[str] = frozenset()
    numbers: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Piece:
    """One stretch of the cut-up, from `at_s` on. FILM: the file's frames with `start_s` <= time < `end_s` at `speed`; STILL: the
    last frame at or before `start_s`, held; SLATE: words. `rep` and `clip` count into the edit list's reps and their clips."""

    kind: str
    rep: int
    clip: int | None
    start_s: float
    end_s: float
    speed: float
    at_s: float
    lasts_s: float


@dataclass(frozen=True)
class EditList:
    """A whole cut-up. `missing` has one line for each rep or view that could not be used."""

    reps: tuple[CutRep, ...]
    pieces: tuple[Piece, ...]
    style: CutStyle
    missing: tuple[str, ...] = ()

    @property
    def duration_s(self) -> float:
        """Length of the cut-up."""
        return self.pieces[-1].at_s + self.pieces[-1].lasts_s if self.pieces else 0.0

    def of_rep(self, rep: int) -> list[Piece]:
        """The pieces of one rep, in order."""
        return [piece for piece in self.pieces if piece.rep == rep]


def plan(reps: Sequence[CutRep], style: CutStyle) -> EditList:
    """Lay the reps out in order. A rep without any of the wanted views is left out and named in `missing`.
    Raises ValueError if nothing is left to cut."""
    pieces: list[Piece] = []
    missing: list[str] = []
    kept: list[CutRep] = []
    at_s = 0.0
    for rep in reps:
        order = [index for view in style.views for index, clip in enumerate(rep.clips) if clip.view == view]
        # A view that the registration could not name is better than none.
        order = order or [index for index, clip in enumerate(rep.clips) if clip.view == "unknown"]
        films = [piece for index in order for piece in _film(rep, index, style)]
        if not films:
            missing.append(f"{rep.name}: has no {' or '.join(style.views)} view of the wanted moments")
            continue
        if style.slate_s:
            films.insert(0, Piece(SLATE, 0, None, 0.0, 0.0, 1.0, 0.0, style.slate_s))
        for piece in films:
            pieces.append(replace(piece, rep=len(kept), at_s=at_s))
            at_s += piece.lasts_s
        kept.append(rep)
    if not pieces:
        raise ValueError("cut-up: no film to cut; " + ("; ".join(missing) if missing else "the search finds no rep"))
    return EditList(tuple(kept), tuple(pieces), style, tuple(missing))


def _film(rep: CutRep, index: int, style: CutStyle) -> list[Piece]:
    """One view's pieces with `at_s` and `rep` still 0: film, split where the speed changes and at the frozen snap."""
    clip = rep.clips[index]
    snap_s, end_s = play_span(rep)
    start_s = max(snap_s - style.lead_in_s + clip.clip_minus_rep_s, clip.first_s)
    stop_s = min(end_s + style.tail_s + clip.clip_minus_rep_s, clip.last_s)
    if stop_s <= start_s:
        return []
    slow = [(a + clip.clip_minus_rep_s, b + clip.clip_minus_rep_s) for a, b in _slow_spans(rep, style)]
    snap_in_clip_s = snap_s + clip.clip_minus_rep_s
    freeze = style.freeze_s > 0 and rep.reading.snap_s is not None and start_s < snap_in_clip_s < stop_s
    marks = {start_s, stop_s, *(s for span in slow for s in span)} | ({snap_in_clip_s} if freeze else set())
    cuts = sorted(mark for mark in marks if start_s <= mark <= stop_s)
    pieces = []
    for a, b in pairwise(cuts):
        if freeze and a == snap_in_clip_s:
            pieces.append(Piece(STILL, 0, index, a, a, 0.0, 0.0, style.freeze_s))
        speed = style.slow if any(s <= (a + b) / 2 < e for s, e in slow) else 1.0
        pieces.append(Piece(FILM, 0, index, a, b, speed, 0.0, (b - a) / speed))
    return pieces


def play_span(rep: CutRep) -> tuple[float, float]:
    """(snap, end) in the rep's clock; guessed from the film's length where they are not known."""
    reading = rep.reading
    clip = rep.clips[0]
    snap_s = reading.snap_s
    if snap_s is None:
        snap_s = clip.first_s - clip.clip_minus_rep_s
        return snap_s, clip.last_s - clip.clip_minus_rep_s
    last_event_s = max((event.end_s for event in rep.events), default=snap_s)
    end_s = reading.end_s if reading.end_s is not None else snap_s + DEFAULT_END_AFTER_SNAP_S
    return snap_s, max(end_s, last_event_s)


def _slow_spans(rep: CutRep, style: CutStyle) -> list[tuple[float, float]]:
    """Spans of slow motion in the rep's clock, sorted, merged where they touch."""
    if style.slow == 1.0:
        return []
    spans = [(event.start_s - SLOW_AROUND_S, event.end_s + SLOW_AROUND_S) for event in rep.events] or [play_span(rep)]
    merged: list[tuple[float, float]] = []
    for start_s, end_s in sorted(spans):
        if merged and start_s <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end_s))
        else:
            merged.append((start_s, end_s))
    return merged
