"""The events of a rep: what a coach stops the film for."""

from __future__ import annotations

from tagger.football.breaks import breaks
from tagger.football.busts import busts
from tagger.football.course import Course
from tagger.football.disguise import disguises
from tagger.football.leverage import leverage_lost
from tagger.football.release import Target
from tagger.football.types import Abstention, Event
from tagger.football.zones import carries, high_lows, late_men, vertical_stress


def find_events(course: Course, graded: bool, rush_count: int | None,
                target: Target | None) -> tuple[tuple[Event, ...], list[Abstention]]:
    """All events in the order of time, and what was too close to call. A rep that has no coverage to grade (run, screen, quick)
    has none: what was not played was not disguised."""
    if not graded:
        return (), []
    lost, unsure = leverage_lost(course)
    found = [*lost, *high_lows(course), *vertical_stress(course), *carries(course), *late_men(course), *disguises(course),
             *busts(course, rush_count), *breaks(course, target)]
    return tuple(sorted(found, key=lambda event: (event.start_s, event.kind, event.player_id or ""))), unsure
