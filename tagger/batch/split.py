"""A practice recording into reps: found, written down in a cut list, and cut out as clips of their own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tagger.batch import cut_list
from tagger.batch.activity import measure
from tagger.batch.cut_list import CutList
from tagger.batch.movement import movement
from tagger.batch.process import Tell
from tagger.batch.reps_in_activity import find_reps
from tagger.cutups.cut_apart import Part, cut_apart

CLIPS = "clips"
"""Folder in the library for the reps cut out of recordings."""


def find_cuts(film: Path, tell: Tell, weights: Path | None = None, device: str = "cpu", threads: int = 1) -> CutList:
    """The film's reps: from the cut list beside it, else found by its people, whom the detector of `weights` finds. Raises
    FileNotFoundError or ValueError with one line."""
    told = cut_list.read_beside(film)
    cuts = told or CutList(film.name, tuple(find_reps(movement(measure(film, tell, weights, device, threads)))))
    if not cuts.reps:
        raise ValueError(f"{film}: no rep was found in this recording; write {cut_list.beside(film).name} beside it "
                         "(deepthird split --help tells how), or cut it by hand")
    return cuts


def find_cuts_work(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """`find_cuts` of `arguments["path"]`, with its `options` and `threads` if any, as JSON. Runs in a process of its own."""
    options = arguments.get("options", {})
    weights = Path(options["weights"]) if options.get("weights") else None
    cuts = find_cuts(Path(arguments["path"]), tell, weights, options.get("device", "cpu"), arguments.get("threads", 1))
    return json.dumps({"cut_list": cut_list.to_json(cuts)}).encode()


def cut_work(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """Cut the reps of `arguments["cut_list"]` out of the film at `path` into `folder`, and return a JSON list of the clips'
    paths. Runs in a process of its own."""
    film, folder = Path(arguments["path"]), Path(arguments["folder"])
    cuts = cut_list.from_json(arguments["cut_list"], film)
    parts = [Part(rep.start_s, rep.end_s, folder / f"{film.stem}-rep-{number:03d}")
             for number, rep in enumerate(cuts.reps, start=1)]
    written = cut_apart(film, parts, lambda share: tell(share, "cutting"))
    return json.dumps([str(part.path) for part in sorted(written, key=lambda part: part.path)]).encode()
