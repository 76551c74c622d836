"""Reads a rep anew on the coach's word: a moved snap, swapped men, a told assignment change what the rest means."""

from __future__ import annotations

from tagger.football.types import Reading
from tagger.library.effective import standing
from tagger.library.records import ClipArrays, Correction, StoredRep
from tagger.library.store import Library
from tagger.review.rep_data import fixed_arrays, sides_of

CONDITIONING_REP_FIELDS = frozenset({"snap_s", "direction", "ball_xy_yd"})


def conditions(correction: Correction) -> bool:
    """True for a correction from which other tags follow."""
    if correction.subject == "rep":
        return correction.field in CONDITIONING_REP_FIELDS
    return correction.subject.startswith("clip:") and correction.field != "boxes" or correction.field == "side"


def is_stale(library: Library, rep: StoredRep) -> bool:
    """True while a conditioning correction is newer than the reading it should have changed."""
    newest = max((c.made_at for c in rep.corrections if conditions(c)), default="")
    if not newest:
        return False
    _, rows = library.sql("SELECT tagged_at FROM reps WHERE rep_id = ?", (rep.summary.rep_id,))
    return newest > str(rows[0][0])


def keep_reread(library: Library, rep_id: int, reading: Reading) -> None:
    """Keep what was read anew; the blind automatic reading stays beside it."""
    library.save_reading(rep_id, reading)


def reread(rep: StoredRep, arrays: ClipArrays) -> Reading:
    """The rep read anew from its main clip's kept tracks, with the coach's word on tracks, sides, field and snap."""
    raise ValueError("not yet")
