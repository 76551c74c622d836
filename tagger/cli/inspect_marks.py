"""Marks of the field that a person points out: on the command line or in a file; and kept in a library as his correction."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tagger.library.csv_table import read_table

if TYPE_CHECKING:
    from tagger.inspection import Inspection, MarkedSpot

FORM = "left 30 near hash=812,433"
COLUMNS = ("mark", "x_px", "y_px", "at_s")


def marks_from(words: Iterable[str], file: Path | None) -> list[MarkedSpot]:
    """The marked spots of the options `--mark` and `--marks`. Raises ValueError with one line for what makes no sense."""
    return [*map(_from_words, words), *(_from_file(file) if file else ())]


def _from_words(text: str) -> MarkedSpot:
    mark, _, place = text.partition("=")
    try:
        x, y = (float(part) for part in place.split(","))
    except ValueError:
        raise ValueError(f"--mark {text!r}: wanted a mark and its place in px, as {FORM!r}") from None
    return _spot(mark, x, y, None)


def _from_file(path: Path) -> list[MarkedSpot]:
    rows = _json_rows(path) if path.suffix.lower() == ".json" else _table_rows(path)
    spots = []
    for number, row in enumerate(rows, start=1):
        try:
            at_s = None if row.get("at_s") in (None, "") else float(row["at_s"])
            spots.append(_spot(str(row["mark"]), float(row["x_px"]), float(row["y_px"]), at_s))
        except (KeyError, TypeError, ValueError) as error:
            what = f"lacks {error}" if isinstance(error, KeyError) else str(error)
            raise ValueError(f"{path}, mark {number}: {what}; wanted {', '.join(COLUMNS[:3])} and perhaps at_s") from None
    return spots


def _table_rows(path: Path) -> list[dict[str, Any]]:
    table = read_table(path)
    if not table:
        return []
    named = [cell.strip().lower() for cell in table[0]]
    names, rows = (named, table[1:]) if "mark" in named else (list(COLUMNS), table)
    return [dict(zip(names, row, strict=False)) for row in rows]


def _json_rows(path: Path) -> list[dict[str, Any]]:
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise ValueError(f"{path}: no JSON ({error})") from None
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ValueError(f"{path}: wanted a list of objects with {', '.join(COLUMNS)}")
    return rows


def _spot(mark: str, x_px: float, y_px: float, at_s: float | None) -> MarkedSpot:
    from homography.marks import parse_mark
    from tagger.inspection import MarkedSpot

    return MarkedSpot(parse_mark(mark).words, (x_px, y_px), at_s)


def keep_marks(library_folder: Path, film: Path, seen: Inspection, who: str) -> str:
    """Log the clicks as this person's correction of the film's rep and read the rep anew; returns a line that says so. Raises
    ValueError with one line where the library does not have the film."""
    from tagger.library import Correction, Library, fingerprint
    from tagger.review.rep_data import version_of
    from tagger.review.reread import read_anew

    with Library.open(library_folder) as library:
        mark = fingerprint(film)
        rep_id = library.rep_of(mark)
        if rep_id is None:
            raise ValueError(f"{film}: not tagged in {library_folder}; tag it first")
        clip = next(clip for clip in library.rep(rep_id).clips if clip.fingerprint == mark)
        clicks = anchors(seen)
        library.correct(rep_id, Correction(who, f"clip:{mark}", "anchors", clicks))
        library.clicked_fields.keep(clip.clip_id, clicks, seen.view)
        rep = library.rep(rep_id)
        try:
            reading, laid = read_anew(library, rep)
            library.save_reread(rep_id, reading, version_of(rep), laid)
        except ValueError as error:
            return f"{rep.summary.name}: the field is kept; the play cannot be read on it ({error})"
        return f"{rep.summary.name}: kept, and read anew on this field"


def anchors(seen: Inspection) -> Sequence[dict[str, Any]]:
    """The clicks as the log has them."""
    return [{"frame_index": one.frame_index, "mark": one.mark.words, "image_xy_px": list(one.xy_px)} for one in seen.clicks]
