"""What a practice is doing from look to look: one reading of the whole recording, the likeliest in all.

Between two plays everybody walks back, stands in the huddle, goes to the line and gets set, as practices go; without a huddle
they go from the walk back to the set; the camera may be off for part of it. So each phase may follow only some, lasts about so
long, and shows itself: who stands hardly moves, in a play many run apart, and it begins with all at once, while a huddle breaks
with one team of the two, at a jog. Of all readings that keep to this the one that explains the looks best is found exactly, by
the Viterbi algorithm of hidden semi-Markov models (Ferguson 1980; Yu, Hidden semi-Markov models, 2010).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from tagger.batch.movement import Movement

Array = npt.NDArray[np.float64]


class Phase(IntEnum):
    """HUDDLE: people stand about; TO_LINE: some of them go; SET: both teams stand; SHIFT: some move again, in a false start or as
    they please; PLAY; WHISTLE: they slow down and stand; BACK: they walk back."""

    HUDDLE, TO_LINE, SET, SHIFT, PLAY, WHISTLE, BACK = range(7)


STANDING = (Phase.HUDDLE, Phase.SET, Phase.WHISTLE)
USUAL_S = np.array([5.0, 4.5, 4.5, 1.5, 4.0, 1.0, 8.0])
SPREAD = np.array([1.0, 0.6, 0.5, 0.5, 0.45, 0.6, 0.6])
"""Of the logarithm of a phase's length."""
LEAST_S = np.array([0.7, 1.0, 1.2, 0.4, 1.2, 0.4, 4.0])
"""The rules ask for a second of stillness before the snap."""
LEAST_CUT_PLAY_S = 0.7
"""A play that a cut ends may be shorter."""
MOST_S, MOST_PLAY_S = 60.0, 12.0
COST = {
    (Phase.HUDDLE, Phase.HUDDLE): 0.0, (Phase.HUDDLE, Phase.TO_LINE): 0.0, (Phase.TO_LINE, Phase.SET): 0.0,
    (Phase.SET, Phase.PLAY): 0.0, (Phase.SET, Phase.SHIFT): 2.5, (Phase.SHIFT, Phase.SET): 0.0,
    (Phase.PLAY, Phase.WHISTLE): 0.0, (Phase.PLAY, Phase.BACK): 0.0, (Phase.WHISTLE, Phase.BACK): 0.0,
    (Phase.BACK, Phase.HUDDLE): 0.0, (Phase.BACK, Phase.SET): 2.0, (Phase.BACK, Phase.BACK): 1.0,
}
"""Natural logarithms of how rare it is that one phase follows another; what is not here cannot be."""
CUT_COST = 1.0
OFF_IN = np.array([0.0, 3.0, 3.0, 3.0, 0.0, 0.0, 0.0])
"""Hardly anybody switches the camera off just before the snap."""
OFF_WITHOUT_PLAY = 8.0
"""Where the camera runs for one rep at a time, it is not switched off before that is over."""
SHORT_SHOT_S, SHORT_SHARE = 25.0, 0.5
"""A shot that hardly holds two reps; the share of the film in such shots that tells that the camera runs for one at a time."""
ON_IN = (Phase.HUDDLE, Phase.TO_LINE, Phase.SET, Phase.BACK)
SEEN_WHOLE = (Phase.TO_LINE, Phase.SET, Phase.SHIFT, Phase.PLAY, Phase.WHISTLE)
"""Phases that do not go on after the camera was off."""

MUCH_PERCENTILE, MUCH_S = 90.0, 1.2
"""Of what moves over so long a time: much of it. Walks and plays both come near to it, so it hardly matters how long the camera
was off between the plays."""
RUNS_OF_MOVING = 0.42
"""Of so much as moves at most, what runs apart in a play."""
MOST_PERCENTILE, RUNS_OF_MOST = 97.0, 0.9
LEAST_MOVING, LEAST_RUNNING = 8.0, 5.0
"""People, as much; with fewer it is no rep, but a drill of two or three."""
STANDS, STANDS_WEIGHT = 0.45, 7.0
PLAYS, PLAYS_WEIGHT = 0.5, 5.0
SWINGS, SWINGS_WEIGHT, LITTLE_SWING = -0.35, 0.6, 0.2
"""Where walking turns to standing (of much that moves) and to playing (of much that runs; logarithm of the swing), and how fast
the odds change there."""
RUN_BACK = 0.25
"""Share of the looks between plays in which people run apart without a snap: jog back, warm up, run routes against air."""
TRUST = 0.22
"""Looks four times a second are not independent of each other."""
LEAST_LIKELY = 0.01
SUDDEN_S, SUDDEN, LEAST_SUDDEN, SUDDEN_WEIGHT = 1.0, 0.42, 0.2, 8.0
"""By how much more (of much) moves in the second after a snap than in the one before; at a huddle's break about half as much."""
AFTER_S, BEFORE_S, SWINGS_AFTER_WEIGHT = 2.5, -2.0, 0.5


@dataclass(frozen=True)
class Stretch:
    """Looks `first` to `end` (without it) in one phase; `runs` is the mean share of the people that run apart in it, of much, NaN
    where nothing is known."""

    phase: Phase
    first: int
    end: int
    runs: float


def read_phases(movement: Movement) -> list[Stretch]:
    """The phases of a recording in order, without gaps."""
    moving, runs, swing = _measures(movement)
    found = _likeliest(movement, _likelihood(moving, runs, swing), _begins(movement, moving, swing))
    return [Stretch(phase, first, end, _known_mean(runs[first:end])) for phase, first, end in found]


def one_rep_a_shot(movement: Movement) -> bool:
    """Whether the camera was off between most reps."""
    shots_s = np.diff(np.append(movement.time_s[movement.cut], movement.end_s))
    return bool(shots_s[shots_s < SHORT_SHOT_S].sum() > SHORT_SHARE * shots_s.sum())


def _known_mean(values: Array) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else np.nan


def _likelihood(moving: Array, runs: Array, swing: Array) -> Array:
    """(7, T) logarithms of how well each phase explains each look."""
    known, runs = np.isfinite(moving), np.nan_to_num(runs)
    plays = PLAYS_WEIGHT * (runs - PLAYS) + SWINGS_WEIGHT * (np.nan_to_num(swing, nan=SWINGS) - SWINGS)
    odds = np.zeros((len(Phase), len(moving)))
    odds[Phase.PLAY], odds[list(STANDING)] = plays, -STANDS_WEIGHT * (np.nan_to_num(moving) - STANDS)
    odds[Phase.BACK] = np.logaddexp(np.log(1.0 - RUN_BACK), plays + np.log(RUN_BACK))
    odds = np.where(known, odds, 0.0)
    odds -= np.logaddexp.reduce(odds[[Phase.SET, Phase.TO_LINE, Phase.PLAY]], axis=0)
    likely: Array = TRUST * np.maximum(odds, np.log(LEAST_LIKELY))
    return likely


def _begins(movement: Movement, moving: Array, swing: Array) -> Array:
    """(7, T) logarithms of how well each phase explains that movement begins, and the camera turns, as it does at each look."""
    sudden = mean_around(movement, moving, 0.05, SUDDEN_S) - mean_around(movement, moving, -SUDDEN_S, -0.05)
    swings = mean_around(movement, swing, 0.05, AFTER_S) - mean_around(movement, swing, BEFORE_S, -0.05)
    odds = SUDDEN_WEIGHT * (np.nan_to_num(sudden) - SUDDEN) + SWINGS_AFTER_WEIGHT * np.clip(np.nan_to_num(swings), -1.0, 1.0)
    begins = np.zeros((len(Phase), len(moving)))
    begins[Phase.PLAY] = np.where(sudden < LEAST_SUDDEN, -np.inf, odds / 2.0)
    begins[[Phase.TO_LINE, Phase.SHIFT]] = -odds / 2.0
    return begins


def _measures(movement: Movement) -> tuple[Array, Array, Array]:
    """(T,) each: what moves and what runs, of much, and the logarithm of the swing; NaN where it is not known."""
    usual_people = float(np.median(movement.people[movement.people > 0]))
    usual = np.nanpercentile(mean_around(movement, movement.moving, -MUCH_S / 2, MUCH_S / 2), MUCH_PERCENTILE)
    much_moves = max(float(usual), LEAST_MOVING / usual_people)
    most = RUNS_OF_MOST * np.nanpercentile(mean_around(movement, movement.running, -MUCH_S / 2, MUCH_S / 2), MOST_PERCENTILE)
    much_runs = max(RUNS_OF_MOVING * much_moves, float(most), LEAST_RUNNING / usual_people)
    return movement.moving / much_moves, movement.running / much_runs, np.log(LITTLE_SWING + movement.swing)


def _likeliest(movement: Movement, likely: Array, begins: Array) -> list[tuple[Phase, int, int]]:
    """Of all sequences of stretches (phase, first look, end) that cover the looks, the one with the largest sum."""
    count, looks = likely.shape
    so_far = np.concatenate([np.zeros((count, 1)), np.cumsum(likely, axis=1)], axis=1)
    step_s = float(np.median(np.diff(movement.time_s)))
    edge_s = np.append(movement.time_s, movement.time_s[-1] + step_s)
    cut = np.append(movement.cut, True)  # whether the film begins, ends or was interrupted before a look
    last_cut = np.maximum.accumulate(np.where(cut, np.arange(looks + 1), 0))
    enters, leaves = np.full((2, count, looks + 1), -np.inf)
    came_from, first = np.full((2, count, looks + 1), -1)
    enters[list(ON_IN), 0] = 0.0
    off_in = OFF_IN.copy()
    if one_rep_a_shot(movement):
        off_in[:Phase.PLAY] = OFF_WITHOUT_PLAY
    for end in range(1, looks + 1):
        since = np.arange(max(0, np.searchsorted(edge_s, edge_s[end] - MOST_S)), end)
        lasts_s = edge_s[end] - edge_s[since]
        score = enters[:, since] + so_far[:, [end]] - so_far[:, since] + _length(lasts_s, cut[since] | cut[end])
        score[np.ix_(SEEN_WHOLE, since < last_cut[end - 1])] = -np.inf
        best = score.argmax(axis=1)
        first[:, end], leaves[:, end] = since[best], score[range(count), best]
        if end == looks:
            break
        if cut[end]:
            off = int((leaves[:, end] - off_in).argmax())
            enters[list(ON_IN), end] = leaves[off, end] - off_in[off] - CUT_COST
            came_from[list(ON_IN), end] = off
            continue
        for (phase, then), cost in COST.items():
            value = leaves[phase, end] - cost + begins[then, end]
            if value > enters[then, end]:
                enters[then, end], came_from[then, end] = value, phase
    found, end, now = list[tuple[Phase, int, int]](), looks, int(leaves[:, looks].argmax())
    while end > 0:
        begin = int(first[now, end])
        found.append((Phase(now), begin, end))
        end, now = begin, int(came_from[now, begin])
    return found[::-1]


def _length(lasts_s: Array, cut: npt.NDArray[np.bool_]) -> Array:
    """(7, L) logarithms of how usual these lengths are for each phase; what a cut begins or ends may have been longer."""
    off = np.log(lasts_s / USUAL_S[:, None]) / SPREAD[:, None]
    whole = np.where(lasts_s < LEAST_S[:, None], -np.inf, -0.5 * off**2)
    partly = np.where(off > 0.0, -0.5 * off**2, 0.0)
    partly[Phase.SET] = whole[Phase.SET]  # so much of it the film must show
    partly[Phase.PLAY, lasts_s < LEAST_CUT_PLAY_S] = -np.inf
    length = np.where(cut, partly, whole)
    length[Phase.PLAY, lasts_s > MOST_PLAY_S] = -np.inf
    return length


def mean_around(movement: Movement, values: Array, from_s: float, to_s: float) -> Array:
    """(T,) mean over each moment's surroundings, so far as something is known of them; else NaN."""
    known = np.isfinite(values)
    total, count = (np.concatenate([[0.0], np.cumsum(each)]) for each in (np.where(known, values, 0.0), known.astype(np.float64)))
    first, end = (np.searchsorted(movement.time_s, movement.time_s + edge) for edge in (from_s, to_s))
    seen = count[end] - count[first]
    mean: Array = np.divide(total[end] - total[first], seen, out=np.full(len(seen), np.nan), where=seen > 0)
    return mean
