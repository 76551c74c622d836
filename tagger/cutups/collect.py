"""The reps that a search finds, as the edit list takes them, and what is drawn over each."""

from __future__ import annotations

from typing import Any

from tagger.cutups.edit_list import CutRep, EditList
from tagger.cutups.overlay import RepOverlay
from tagger.cutups.shelf import cut_rep, overlay_of
from tagger.cutups.wanted import wanted_events, wanted_players
from tagger.library import Library, Query, StoredRep


def collect(library: Library, query: Query, order: str, limit: int | None, parts: frozenset[str],
            skip_missing: bool) -> tuple[list[CutRep], dict[tuple[str, int], RepOverlay], list[str]]:
    """(reps in order, what is drawn by (rep's name, number of its clip), a line for each rep left out)."""
    by_margin = order.endswith("margin")
    found = library.search(query, None if by_margin else limit, order="rep" if by_margin else order)
    chosen = [(stored, wanted_events(query, stored)) for stored in (library.rep(summary.rep_id) for summary in found)]
    if by_margin:
        chosen = sorted(chosen, key=lambda pair: _least(pair[1]), reverse=order.startswith("-"))[:limit]
    reps: list[CutRep] = []
    overlays: dict[tuple[str, int], RepOverlay] = {}
    missing: list[str] = []
    for stored, events in chosen:
        players = wanted_players(query, stored)
        try:
            rep = cut_rep(stored, events, players)
        except (FileNotFoundError, ValueError) as error:
            if not skip_missing:
                raise
            missing.append(str(error))
            continue
        reps.append(rep)
        if parts:
            overlays |= _overlays(library, stored, rep, parts)
    return reps, overlays, missing


def numbered(edit: EditList, overlays: dict[tuple[str, int], RepOverlay]) -> dict[tuple[int, int], RepOverlay]:
    """The overlays of `collect` by (number of the rep in the edit list, number of its clip)."""
    return {(number, clip): overlays[rep.name, clip] for number, rep in enumerate(edit.reps) for clip in range(len(rep.clips))
            if (rep.name, clip) in overlays}


def _least(events: tuple[Any, ...]) -> float:
    """The least margin of a rep's events; reps without one come as if it were 0."""
    return min((event.margin_yd for event in events if event.margin_yd is not None), default=0.0)


def _overlays(library: Library, stored: StoredRep, wanted: CutRep,
              parts: frozenset[str]) -> dict[tuple[str, int], RepOverlay]:
    main = library.arrays(stored.main_clip.clip_id)
    drawn = {}
    for number, clip in enumerate(stored.clips):
        arrays = main if clip.is_main else library.arrays(clip.clip_id)
        drawn[stored.summary.name, number] = overlay_of(stored, clip, arrays, main, wanted, parts)
    return drawn
