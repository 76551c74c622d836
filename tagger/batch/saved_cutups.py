"""Every saved search as a cut-up."""

from __future__ import annotations

import re
from pathlib import Path

from tagger.cutups.collect import collect, numbered
from tagger.cutups.edit_list import CutStyle, plan
from tagger.cutups.film import write_film
from tagger.library import Library, parse

PARTS = frozenset({"zones", "labels", "trails", "events"})


def write_cutups(library: Library, folder: Path) -> tuple[list[Path], list[str]]:
    """(films written to `folder`, a line for each search that gave none or rep that was left out)."""
    folder.mkdir(parents=True, exist_ok=True)
    written, problems = [], []
    for name, query in library.saved_searches().items():
        stem = re.sub(r"[^\w ,.-]+", "-", name).strip(" .")
        out = folder / f"{stem or 'search'}.mp4"
        try:
            reps, overlays, missing = collect(library, parse(query), "rep", None, PARTS, skip_missing=True)
            problems += missing
            if not reps:
                problems.append(f"{name}: no rep fits this saved search; no cut-up")
                continue
            edit = plan(reps, CutStyle(overlays=PARTS))
            write_film(edit, out, numbered(edit, overlays))
        except (ValueError, OSError) as error:
            problems.append(f"{name}: {' '.join(str(error).split())}")
            continue
        written.append(out)
    return written, problems
