"""A reading told in another clock: the other view of the same rep starts at another moment."""

from __future__ import annotations

from dataclasses import replace

from tagger.football.types import Reading


def in_clock(reading: Reading, later_s: float) -> Reading:
    """The reading with every time `later_s` later."""
    def moved(time_s: float | None) -> float | None:
        return None if time_s is None else round(time_s + later_s, 3)

    def at(time_s: float) -> float:
        return round(time_s + later_s, 3)

    formation = reading.formation
    return replace(
        reading, snap_s=moved(reading.snap_s), release_s=moved(reading.release_s), end_s=moved(reading.end_s),
        family_over_time=tuple(replace(one, time_s=at(one.time_s)) for one in reading.family_over_time),
        formation=None if formation is None else replace(formation, motions=tuple(
            replace(m, start_s=at(m.start_s), end_s=at(m.end_s)) for m in formation.motions)),
        defenders=tuple(replace(
            d, intervals=tuple(replace(i, start_s=at(i.start_s), end_s=at(i.end_s)) for i in d.intervals),
            phases=tuple(replace(p, start_s=at(p.start_s), end_s=at(p.end_s)) for p in d.phases)) for d in reading.defenders),
        events=tuple(replace(e, start_s=at(e.start_s), end_s=at(e.end_s)) for e in reading.events))
