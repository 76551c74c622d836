"""A coach's word on who is who, laid over the tracks: two paths swapped from a moment on, or two pieces of one man joined."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from tagger.library.records import Correction
from vision.types import Tracks


@dataclass(frozen=True)
class TrackFix:
    """`kind` "swap": from `from_s` on (the clip's clock) track `a` is `b` and `b` is `a`. "join": `b` is a piece of `a`."""

    kind: str
    a: int
    b: int
    from_s: float = 0.0


def fixes_from(standing: Iterable[Correction], fingerprint: str, track_of: Callable[[str], int | None]) -> list[TrackFix]:
    """The standing track corrections of one clip, oldest first. Names that no longer stand for a track are left out."""
    fixes = []
    for correction in standing:
        if correction.subject != f"clip:{fingerprint}" or correction.field not in ("swap", "join"):
            continue
        a, b = track_of(correction.after["a"]), track_of(correction.after["b"])
        if a is not None and b is not None and a != b:
            fixes.append(TrackFix(correction.field, a, b, float(correction.after.get("from_s", 0.0))))
    return fixes


def refit(tracks: Tracks, fixes: Iterable[TrackFix]) -> Tracks:
    """The tracks with the fixes applied in their order. Where two joined pieces stand in one frame, the seen one is kept,
    of two seen ones `a`'s."""
    for fix in fixes:
        tracks = _swapped(tracks, fix) if fix.kind == "swap" else _joined(tracks, fix)
    return tracks


def _swapped(tracks: Tracks, fix: TrackFix) -> Tracks:
    late = tracks.time_s >= fix.from_s
    ids = tracks.track_id.copy()
    ids[late & (tracks.track_id == fix.a)] = fix.b
    ids[late & (tracks.track_id == fix.b)] = fix.a
    return _rows(replace(tracks, track_id=ids), np.lexsort((ids, tracks.frame_index)))


def _joined(tracks: Tracks, fix: TrackFix) -> Tracks:
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


def _rows(tracks: Tracks, rows: np.ndarray) -> Tracks:
    return Tracks(*(getattr(tracks, name)[rows] for name in Tracks.__dataclass_fields__))
