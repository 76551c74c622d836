"""The library: remembers reps, tags and the coach's corrections in one SQLite file."""

from tagger.library.faults import LibraryBusy, LibraryError, StaleEdit
from tagger.library.fingerprint import fingerprint
from tagger.library.jobs import Job, Jobs, Wish
from tagger.library.query import Query, condition, parse
from tagger.library.reading_json import family_of, likeliest, reading_from_json, reading_to_json
from tagger.library.records import (
    ClipArrays,
    ClipRecord,
    Correction,
    RepRecord,
    RepSummary,
    SavedRep,
    StoredClip,
    StoredRep,
)
from tagger.library.seen_film import Seen
from tagger.library.sql_access import VIEWS
from tagger.library.store import Library, RosterEntry

__all__ = [
    "VIEWS",
    "ClipArrays",
    "ClipRecord",
    "Correction",
    "Job",
    "Jobs",
    "Library",
    "LibraryBusy",
    "LibraryError",
    "Query",
    "RepRecord",
    "RepSummary",
    "RosterEntry",
    "SavedRep",
    "Seen",
    "StaleEdit",
    "StoredClip",
    "StoredRep",
    "Wish",
    "condition",
    "family_of",
    "fingerprint",
    "likeliest",
    "parse",
    "reading_from_json",
    "reading_to_json",
]
