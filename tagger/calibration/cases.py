"""What the machine says, blind, of every rep that a coach has finished, beside what the coach made of it.

The machine reads each rep anew from its kept tracks with the shipped numbers alone: neither a coach's word nor an earlier
calibration is in what is judged. Where the coach said nothing of a tag on a rep that he accepted, he let it stand.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from tagger.football import Abstention, Reading, play_from_field, read_play, silent_reading
from tagger.football.shift import RIGHT, WRONG, right_or_wrong
from tagger.football.types import Event, Interval
from tagger.football.vocabulary import DEEP_ASSIGNMENTS, FAMILIES
from tagger.library.effective import same_event
from tagger.library.identity import rename
from tagger.library.reading_json import family_of, likeliest
from tagger.library.records import ClipArrays, StoredRep
from tagger.library.store import Library

MIN_REPS = 25
"""Fewer finished reps teach nothing that holds for the next practice."""
CONFIDENCE_EDGES = (0.5, 0.7, 0.85, 0.95)
MOST_WEIGHT = 5.0


class TooFew(ValueError):
    """Not enough finished reps to learn from; the message is one line."""


@dataclass(frozen=True)
class Case:
    """One thing told of a rep: the `chances` that the machine gave, the coach's `truth`, and how many reps of the library
    this one stands for."""

    rep: str
    chances: Mapping[str, float]
    truth: str
    weight: float = 1.0


Cases = dict[str, list[Case]]
"""By what is told: family, play_kind, shell, assignment, event."""


def finished_cases(library: Library, tell: Callable[[float, str], None] = lambda share, word: None) -> tuple[Cases, int]:
    """(cases, finished reps). Raises TooFew below MIN_REPS finished reps."""
    _, rows = library.sql("SELECT rep_id, rep, review_state, family_confidence FROM reps ORDER BY rep_id")
    finished = [int(row[0]) for row in rows if row[2] == "reviewed"]
    if len(finished) < MIN_REPS:
        raise TooFew(f"{library.folder}: {len(finished)} finished rep(s), at least {MIN_REPS} are needed to calibrate; accept "
                     "more in deepthird review")
    open_sure = [float(row[3]) for row in rows if row[2] not in ("reviewed", "not-a-rep")]
    reps = [library.rep(rep_id) for rep_id in finished]
    weights = stratum_weights([family_of(rep.automatic)[1] for rep in reps], open_sure)
    cases: Cases = {"family": [], "play_kind": [], "shell": [], "assignment": [], "event": []}
    for done, (rep, weight) in enumerate(zip(reps, weights, strict=True), start=1):
        blind = blind_reading(rep, library.arrays(rep.main_clip.clip_id))
        for what, chances, truth in _told(blind, rep.reading):
            cases[what].append(Case(rep.summary.name, chances, truth, weight))
        tell(done / len(reps), rep.summary.name)
    return cases, len(reps)


def blind_reading(rep: StoredRep, arrays: ClipArrays) -> Reading:
    """The rep as the shipped tagger reads it from its main clip's kept tracks."""
    play = play_from_field(arrays.field_tracks, arrays.field_view, rep.script)
    if isinstance(play, Abstention):
        return silent_reading(play)
    return rename(read_play(play), {f"T{track}": player for player, track in rep.main_clip.track_of_player.items()})


def stratum_weights(finished: list[float], open_: list[float]) -> list[float]:
    """What each finished rep counts, by how sure the machine was of it: coaches look at doubtful reps first, and what is learned
    must hold for the others too. So each stratum of confidence counts as many reps as the library has in it."""
    done, left = (Counter(np.searchsorted(CONFIDENCE_EDGES, some).tolist()) for some in (finished, open_))
    strata = np.searchsorted(CONFIDENCE_EDGES, finished).tolist()
    weights = np.array([min((done[k] + left[k]) / done[k], MOST_WEIGHT) for k in strata])
    return [float(w) for w in weights / weights.mean()]


def _told(blind: Reading, coach: Reading) -> Iterator[tuple[str, dict[str, float], str]]:
    """(what, the machine's chances, the coach's word) of everything that both speak of."""
    family, kind, shell = family_of(coach)[0], likeliest(coach.play_kind), likeliest(coach.shell)
    chances = {name: p for name, p in blind.family.items() if name in FAMILIES}
    if family in FAMILIES and sum(chances.values()) > 0:
        yield "family", {name: p / sum(chances.values()) for name, p in chances.items()}, family
    if kind and blind.play_kind:
        yield "play_kind", dict(blind.play_kind), kind[0]
    if shell and blind.shell:
        yield "shell", dict(blind.shell), shell[0]
    men = {d.player_id: d.intervals for d in coach.defenders}
    for defender in blind.defenders:
        for interval in defender.intervals:
            said = _at(men.get(defender.player_id, ()), (interval.start_s + interval.end_s) / 2)
            if said is not None and "run-fit" not in (said.assignment, interval.assignment):
                yield "assignment", *_one(interval.confidence, _same(interval, said))
    for event in blind.events:
        yield "event", *_one(event.confidence, _stands(event, coach))


def _one(confidence: float, right: bool) -> tuple[dict[str, float], str]:
    return right_or_wrong(confidence), RIGHT if right else WRONG


def _at(intervals: tuple[Interval, ...], time_s: float) -> Interval | None:
    return next((i for i in reversed(intervals) if i.start_s <= time_s <= i.end_s), None)


def _same(told: Interval, said: Interval) -> bool:
    """An interval's confidence speaks of the word, and of a deep man's area too."""
    return told.assignment == said.assignment and (told.assignment not in DEEP_ASSIGNMENTS or told.area == said.area)


def _stands(event: Event, coach: Reading) -> bool:
    return any(same_event(event, other) for other in coach.events)
