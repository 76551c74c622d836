"""A coach's word on who is who, laid over the tracks: two paths swapped from a moment on, or two pieces of one man joined."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from homography.types import FieldTracks
from tagger.library.effective import standing
from tagger.library.records import StoredClip, StoredRep
from vision.types import Tracks

AnyTracks = TypeVar("AnyTracks", Tracks, FieldTracks)


@dataclass(frozen=True)
class TrackFix:
    """`kind` "swap": from `from_s` on (the clip's clock) track `a` is `b` and `b` is `a`. "join": `b` is a piece of `a`."""

    kind: str
    a: int
    b: int
    from_s: float = 0.0


def fixes_from(rep: StoredRep, clip: StoredClip) -> list[TrackFix]:
    """The standing track corrections that hold for a clip's tracks, oldest first, in its clock: those said of it, and those said
    of a clip that was followed together with it. Names that no longer stand for a track are left out."""
    fixes = []
    of = {f"clip:{other.fingerprint}": other for other in rep.clips}
    for correction in standing(rep.corrections):
        told = of.get(correction.subject)
        if correction.field not in ("swap", "join") or told is None or not followed_together(clip, told):
            continue
        a, b = (track_of(told, correction.after[name]) for name in ("a", "b"))
        if a is not None and b is not None and a != b:
            later_s = (clip.snap_s or 0.0) - (told.snap_s or 0.0)
            fixes.append(TrackFix(correction.field, a, b, float(correction.after.get("from_s", 0.0)) + later_s))
    return fixes


def followed_together(one: StoredClip, other: StoredClip) -> bool:
    """True for views whose people were followed through both cameras at once: they share their tracks, and their reading but for
    the clock."""
    if one.clip_id == other.clip_id:
        return True
    mine, theirs = (set(clip.track_of_player.values()) for clip in (one, other))
    return bool(mine) and mine == theirs and one.reading.family == other.reading.family and None not in (one.snap_s, other.snap_s)


def track_of(clip: StoredClip, name: str) -> int | None:
    """The track of a player's name, or of "T<number>" for somebody who is in no reading."""
    if name in clip.track_of_player:
        return clip.track_of_player[name]
    return int(name[1:]) if name.startswith("T") and name[1:].isdigit() and len(name) < 10 else None


def refit(tracks: AnyTracks, fixes: Iterable[TrackFix]) -> AnyTracks:
    """The tracks, in the picture or on the field, with the fixes applied in their order. Where two joined pieces stand in one
    frame, the seen one is kept, of two seen ones `a`'s."""
    for fix in fixes:
        tracks = _swapped(tracks, fix) if fix.kind == "swap" else _joined(tracks, fix)
    return tracks


def _swapped(tracks: AnyTracks, fix: TrackFix) -> AnyTracks:
    late = tracks.time_s >= fix.from_s
    ids = tracks.track_id.copy()
    ids[late & (tracks.track_id == fix.a)] = fix.b
    ids[late & (tracks.track_id == fix.b)] = fix.a
    return _rows(replace(tracks, track_id=ids), np.lexsort((ids, tracks.frame_index)))


def _joined(tracks: AnyTracks, fix: TrackFix) -> AnyTracks:
    of_a, of_b = tracks.track_id == fix.a, tracks.track_id == fix.b
    ids = np.where(of_b, fix.a, tracks.track_id)
    # Within a frame the better row comes first: seen before bridged, then a before b.
    order = np.lexsort((of_b, ~tracks.observed, ids, tracks.frame_index))
    pairs = np.stack([tracks.frame_index[order], ids[order]], axis=1)
    first = np.ones(len(order), dtype=bool)
    first[1:] = (pairs[1:] != pairs[:-1]).any(axis=1)
    kits = tracks.kit_id.copy()
    if of_a.any():
        kits[of_b] = kits[of_a][0]
    kept = order[first]
    renamed = _rows(tracks, kept)
    return replace(renamed, track_id=ids[kept], kit_id=kits[kept])


def _rows(tracks: AnyTracks, rows: np.ndarray) -> AnyTracks:
    return type(tracks)(*(getattr(tracks, name)[rows] for name in type(tracks).__dataclass_fields__))
