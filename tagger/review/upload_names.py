"""What a file that a browser sends may be called, and be. A name from outside never becomes a path as it is."""

from __future__ import annotations

import csv
import enum
import re
import unicodedata
from datetime import date
from pathlib import Path, PurePosixPath

from tagger.library.csv_table import read_table
from tagger.library.landing import SCRIPT, SUFFIXES

MOST_FOLDERS = 3
MOST_BYTES = 120
"""Of each part of a name; every file system takes that."""
SCRIPT_BYTES = 1 << 20
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
"""Device names of Windows: Microsoft, Naming Files, Paths, and Namespaces."""


class NotTaken(ValueError):
    """A file that cannot be taken; one line. `too_large` if its size or the quota is why."""

    def __init__(self, line: str, too_large: bool = False) -> None:
        super().__init__(line)
        self.too_large = too_large


class Kind(enum.Enum):
    """What is taken."""

    FILM = "film"
    SCRIPT = "script"


def clean_name(said: str, today: date) -> str:
    """`folder/name` (up to MOST_FOLDERS folders, `/` between) out of what a browser said; a lone file gets the day as its folder.
    Raises NotTaken if nothing is left."""
    parts = [part for part in (_clean(part) for part in re.split(r"[/\\]+", said)) if part]
    if not parts:
        raise NotTaken(f"{said[:80]!r}: not a file's name")
    folders = parts[:-1][-MOST_FOLDERS:] or [today.isoformat()]
    return "/".join([*folders, parts[-1]])


def _clean(part: str) -> str:
    """One part without what some system cannot write, hides, or shows otherwise than it is."""
    text = "".join(c for c in unicodedata.normalize("NFC", part) if unicodedata.category(c)[0] != "C" and c not in '<>:"|?*')
    text = text.strip(". ")
    if _RESERVED.fullmatch(text):
        text = f"_{text}"
    stem, dot, ending = text.rpartition(".")
    while len(text.encode()) > MOST_BYTES:
        stem, text = (stem[:-1], f"{stem[:-1]}{dot}{ending}") if dot and len(ending) < 8 else (stem, text[:-1])
    return text


def kind_of(name: str) -> Kind:
    """By the ending; what is in it is looked at once it is whole. Raises NotTaken."""
    path = PurePosixPath(name)
    if path.name.lower() == SCRIPT:
        return Kind.SCRIPT
    if path.suffix.lower() in SUFFIXES:
        return Kind.FILM
    raise NotTaken(f"{name}: not taken; film ({', '.join(sorted(SUFFIXES))}) and {SCRIPT} are")


def check_script(path: Path) -> None:
    """Raises NotTaken with one line if this is no table."""
    data = path.read_bytes() if path.stat().st_size <= SCRIPT_BYTES else b"\0"
    try:
        if b"\0" in data or len(read_table(path)) < 2:
            raise NotTaken(f"{path}: not a practice script; wanted a CSV with a line of column names and a line for each rep")
    except (csv.Error, UnicodeDecodeError) as error:
        raise NotTaken(f"{path}: not a practice script ({error})") from error
