"""The cut list of a recording: where its reps are. A JSON file that people correct by hand; one that lies beside the film is
believed."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tagger.batch.reps_in_activity import FoundRep
from tagger.cutups.whole_file import OutputError, write_text

FORMAT = "deepthird-cut-list/1"
ENDING = ".reps.json"


@dataclass(frozen=True)
class CutList:
    """Reps of one recording, in order, on its clock. `by_hand` if it was read from a file."""

    film: str
    reps: tuple[FoundRep, ...]
    by_hand: bool = False


def beside(film: Path) -> Path:
    """Where a film's cut list is looked for: `tuesday.reps.json` for `tuesday.mp4`."""
    return film.with_suffix(ENDING)


def to_json(cuts: CutList) -> dict[str, Any]:
    """`reps` has an object for each rep; `start_s` and `end_s` say what to cut, `snap_s` (may be left out) is about the snap."""
    return {"format": FORMAT, "film": cuts.film, "reps": [
        {"start_s": round(rep.start_s, 3), "snap_s": round(rep.snap_s, 3), "end_s": round(rep.end_s, 3)} for rep in cuts.reps]}


def from_json(value: Any, path: Path, by_hand: bool = False) -> CutList:
    """Raises ValueError with one line that says what is wrong, and where."""
    if not isinstance(value, dict) or not isinstance(value.get("reps"), list):
        raise ValueError(f"{path}: not a cut list; wanted {{\"reps\": [{{\"start_s\": 12.5, \"end_s\": 24.0}}, ...]}}")
    reps: list[FoundRep] = []
    for number, row in enumerate(value["reps"], start=1):
        if not isinstance(row, dict) or not all(_is_time(row.get(name)) for name in ("start_s", "end_s")):
            raise ValueError(f"{path}: rep {number}: start_s and end_s must be seconds of the film")
        start_s, end_s, snap_s = float(row["start_s"]), float(row["end_s"]), row.get("snap_s")
        if not 0 <= start_s < end_s or not (snap_s is None or _is_time(snap_s)):
            raise ValueError(f"{path}: rep {number}: {start_s:g} s to {end_s:g} s is no stretch of the film")
        if reps and start_s < reps[-1].start_s:
            raise ValueError(f"{path}: rep {number}: begins before rep {number - 1}; put the reps in order")
        reps.append(FoundRep(start_s, float(start_s if snap_s is None else snap_s), end_s))
    return CutList(str(value.get("film", "")), tuple(reps), by_hand)


def _is_time(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def read_beside(film: Path) -> CutList | None:
    """The cut list that lies beside the film, if one does. Raises ValueError with one line if it makes no sense."""
    path = beside(film)
    if not path.is_file():
        return None
    try:
        value = json.loads(path.read_text(encoding="utf-8-sig"))
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise ValueError(f"{path}: not JSON ({error}); correct it, or delete it to have the reps found anew") from None
    return from_json(value, path, by_hand=True)


def write(cuts: CutList, places: Sequence[Path]) -> Path:
    """Write into the first of these places that takes it. Raises OutputError if none does."""
    for place in places[:-1]:
        try:
            write_text(place, json.dumps(to_json(cuts), indent=1) + "\n")
            return place
        except OutputError:
            continue
    write_text(places[-1], json.dumps(to_json(cuts), indent=1) + "\n")
    return places[-1]
