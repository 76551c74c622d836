"""Both views of a rep read as one anew, where a coach's word on a field lets them be laid on each other.

Only kept tracks are at hand, no detections: the two views' men are matched by where they stood, and whoever only the other view
shows is lent to the main one.
"""

from __future__ import annotations

from dataclasses import asdict, fields, replace
from typing import Any

import numpy as np

from homography.align_views import Alignment, align, on_grid, same_paths
from homography.complete import complete
from homography.types import FieldTracks
from tagger.library.effective import standing
from tagger.library.records import ClipArrays, StoredClip, StoredRep
from tagger.review.registration_fix import anchors_from

SAME_MAN_YD = 2.0
LEAST_SHARED_TICKS = 5
"""Tenths of a second that both views must show of a man."""


def other_view(rep: StoredRep) -> StoredClip | None:
    """The view beside the main one; None where there is none, or several."""
    others = [clip for clip in rep.clips if not clip.is_main]
    return others[0] if len(others) == 1 else None


def field_was_told(rep: StoredRep) -> bool:
    """True if a coach's clicks on some view's field stand."""
    said = standing(rep.corrections)
    return any(anchors_from(said, clip.fingerprint) for clip in rep.clips)


def lay(main: ClipArrays, other: ClipArrays) -> dict[str, Any] | None:
    """How the other view lies on the main one (as the library keeps it), by the men that each itself shows; None where it is not
    clear."""
    one, two = shown(main), shown(other)
    if not len(one) or not len(two):
        return None
    how = align(on_grid(one), on_grid(two), main.field_view.yard_line_known and other.field_view.yard_line_known)
    return None if how is None else {**asdict(how), "shift_yd": how.shift_yd.tolist()}


def alignment_of(rep: StoredRep) -> Alignment | None:
    """How the rep's other view was laid on its main one on a coach's word, None if it was not."""
    return None if rep.laid is None else Alignment(**{**rep.laid, "shift_yd": np.array(rep.laid["shift_yd"])})


def completed(main: ClipArrays, other: ClipArrays, how: Alignment, named_alike: bool) -> ClipArrays:
    """The main view with whoever only the other shows then; `named_alike`: the tracks of both carry the same numbers."""
    own, theirs = shown(main), shown(other)
    if not named_alike:
        theirs = renamed(theirs, same_men(own, theirs, how), int(own.track_id.max(initial=0)) + 1)
    return replace(main, field_tracks=complete(own, theirs, how))


def shown(arrays: ClipArrays) -> FieldTracks:
    """The field tracks of those whom the clip's own picture shows, without what the other view lent."""
    have = set(zip(arrays.tracks.frame_index.tolist(), arrays.tracks.track_id.tolist(), strict=True))
    located = arrays.field_tracks
    mine = [pair in have for pair in zip(located.frame_index.tolist(), located.track_id.tolist(), strict=True)]
    return rows_of(located, np.array(mine, dtype=bool))


def rows_of(tracks: FieldTracks, rows: np.ndarray) -> FieldTracks:
    """Some rows, by mask or by index."""
    return FieldTracks(*(getattr(tracks, f.name)[rows] for f in fields(FieldTracks)))


def same_men(main: FieldTracks, other: FieldTracks, how: Alignment) -> dict[int, int]:
    """Track of the other view -> track of the main one who is the same man: near him on the whole while both show him."""
    one = on_grid(main)
    two = on_grid(replace(other, time_s=other.time_s + how.offset_s, xy_yd=how.field(other.xy_yd)))
    _, mine, theirs = np.intersect1d(np.round(one.time_s, 3), np.round(two.time_s, 3), return_indices=True)
    pairs = same_paths(one.xy_yd[:, mine], two.xy_yd[:, theirs], SAME_MAN_YD, LEAST_SHARED_TICKS)
    return {int(two.track_id[c]): int(one.track_id[r]) for r, c in pairs}


def renamed(tracks: FieldTracks, same: dict[int, int], fresh: int) -> FieldTracks:
    """Tracks under the main view's numbers; who is nobody there is numbered from `fresh` on."""
    of = {int(track): same.get(int(track), fresh + k) for k, track in enumerate(np.unique(tracks.track_id))}
    ids = np.array([of[int(track)] for track in tracks.track_id], dtype=tracks.track_id.dtype)
    return rows_of(replace(tracks, track_id=ids), np.lexsort((ids, tracks.frame_index)))
