"""Finds the reps in a recording: everybody stands, then many run at once, then it stops.

Every moment is asked how much like a snap it is: how few of the people moved in the seconds before it, how many run apart in the
seconds after, and how the camera swings then, all against what is usual in this recording. Who breaks a huddle stands again soon
after, in his stance, and is no rep. The moments that are together most like snaps, with time for a rep between any two, begin the
reps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tagger.batch.movement import Movement

MUCH_PERCENTILE, MUCH_S = 90.0, 1.2
"""Of what moves over so long a time: much of it. Walks and plays both come near to it, so it hardly matters how long the camera
was off between the plays."""
RUNS_OF_MOVING = 0.42
"""Of so much as moves at most, what runs apart in a play."""
LEAST_MOVING, LEAST_RUNNING = 8.0, 5.0
"""People, as much; with fewer it is no rep, but a drill of two or three."""
LEAST_RUNS = 0.45
"""Of what runs in a play; more than all of it does not make a rep surer."""
STANCE_S, RUN_S, WALK_OFF_S = (-2.5, -0.1), (0.3, 3.3), (4.0, 8.0)
"""Around a snap: the stance, the running, and the end of the play or the way back from it."""
SHORT_RUN_S, SHORT_RUN_SHARE = (0.3, 2.0), 0.8
"""A play may be over so soon; what runs then counts for so much."""
SHOWN_S = 1.2
"""So much of the stance the film must show; the rules ask for a second."""
SWING_WEIGHT, MOST_SWING, LITTLE_SWING = 0.2, 1.0, 0.2
"""Natural logarithms of the swing in the stance; heights a second."""
STANDS_WEIGHT, WALKS = 0.5, 0.6
"""Where less than this share of much moves when a play would end, people stand."""
LEAST_LIKENESS = 0.3
"""Of a snap, which has 1 where much runs after it and nothing moved before (walking is near 0)."""
LEAST_BETWEEN_S, LEAST_SHOT_S = 10.0, 4.0
"""From snap to snap, and where the camera was switched off between."""
STOP_S, STOP_SHARE = 1.0, 0.5
"""The whistle: for so long less than this share of the rep's running."""
LEAST_REP_S, MOST_REP_S = 1.5, 25.0
NEAR_S, ONSET_SHARE = (-1.0, 1.5), 0.3
LEAD_IN_S, TAIL_S = 4.0, 2.5

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class FoundRep:
    """A rep on the recording's clock: cut from `start_s` to `end_s`; `snap_s` about where it begins."""

    start_s: float
    snap_s: float
    end_s: float


def find_reps(movement: Movement) -> list[FoundRep]:
    """The reps in order. Cuts may overlap: the way to one rep may be the walk back from the one before."""
    if np.isfinite(movement.moving).sum() < 3:
        return []
    return [_rep(movement, row) for row in _snaps(movement, _likeness(movement))]


def _likeness(movement: Movement) -> Array:
    """(T,) how much like a snap each moment is, minus infinity where it cannot be one."""
    usual_people = float(np.median(movement.people[movement.people > 0]))
    usual = np.nanpercentile(_mean(movement, movement.moving, -MUCH_S / 2, MUCH_S / 2), MUCH_PERCENTILE)
    much_moves = max(float(usual), LEAST_MOVING / usual_people)
    much_runs = max(RUNS_OF_MOVING * much_moves, LEAST_RUNNING / usual_people)
    runs = np.fmax(_mean(movement, movement.running, *RUN_S),
                   SHORT_RUN_SHARE * _mean(movement, movement.running, *SHORT_RUN_S)) / much_runs
    moved = _mean(movement, movement.moving, *STANCE_S) / much_moves
    swing, before = (_mean(movement, movement.swing, *around) + LITTLE_SWING for around in (RUN_S, STANCE_S))
    swings = np.nan_to_num(np.clip(np.log(swing / before), -MOST_SWING, MOST_SWING))
    walks = _mean(movement, movement.moving, *WALK_OFF_S) / much_moves
    stands = np.where(_lost_ahead(movement), 0.0, np.nan_to_num(np.maximum(0.0, WALKS - walks)))  # the camera may have been off
    likeness = np.nan_to_num(np.minimum(runs, 1.0) - moved + SWING_WEIGHT * swings - STANDS_WEIGHT * stands, nan=-np.inf)
    known_s = _count(movement, STANCE_S, movement.moving) * _step_s(movement)
    may_be = (likeness >= LEAST_LIKENESS) & (runs >= LEAST_RUNS) & (known_s >= SHOWN_S)
    return np.where(may_be, likeness, -np.inf)


def _lost_ahead(movement: Movement) -> npt.NDArray[np.bool_]:
    """(T,) whether the looks do not hang together until the play has ended."""
    ahead = (RUN_S[0], WALK_OFF_S[1])
    return _count(movement, ahead, movement.swing) < _count(movement, ahead)


def _snaps(movement: Movement, likeness: Array) -> list[int]:
    """Rows of the moments that are together most like snaps, in order: of all choices that leave time between, the one with the
    largest sum."""
    rows, lost = np.flatnonzero(np.isfinite(likeness)), np.cumsum(np.isnan(movement.swing))
    sums, before = np.zeros(len(rows)), np.full(len(rows), -1)
    for k, row in enumerate(rows):
        apart_s = movement.time_s[row] - movement.time_s[rows[:k]]
        off = lost[row] > lost[rows[:k]]
        may = np.flatnonzero(apart_s >= np.where(off, LEAST_SHOT_S, LEAST_BETWEEN_S))
        if len(may):
            before[k] = may[np.argmax(sums[may])]
        sums[k] = likeness[row] + (sums[before[k]] if len(may) else 0.0)
    chosen, k = list[int](), int(np.argmax(sums)) if len(rows) else -1
    while k >= 0:
        chosen.append(int(rows[k]))
        k = int(before[k])
    return chosen[::-1]


def _rep(movement: Movement, snap: int) -> FoundRep:
    """From before the snap to after the whistle: when hardly anybody runs any more."""
    time_s, snap_s = movement.time_s, float(movement.time_s[_onset(movement, snap)])
    calm = _mean(movement, movement.running, 0.0, STOP_S) < STOP_SHARE * _mean(movement, movement.running, *RUN_S)[snap]
    over = calm & (time_s >= snap_s + LEAST_REP_S)
    last_s = float(time_s[over][0]) if over.any() else float(time_s[-1])
    end_s = min(movement.end_s, last_s + TAIL_S, snap_s + MOST_REP_S)
    return FoundRep(max(movement.start_s, snap_s - LEAD_IN_S), snap_s, max(end_s, snap_s + 1e-3))


def _onset(movement: Movement, snap: int) -> int:
    """Near the moment that is most like a snap, the last at which hardly more moved than in the stance."""
    before, after = _mean(movement, movement.moving, *STANCE_S)[snap], _mean(movement, movement.moving, *RUN_S)[snap]
    begin, end = np.searchsorted(movement.time_s, movement.time_s[snap] + np.array(NEAR_S))
    calm = np.flatnonzero(movement.moving[begin:end] < before + ONSET_SHARE * (after - before))
    return int(begin + calm[-1]) if len(calm) else snap


def _mean(movement: Movement, values: Array, from_s: float, to_s: float) -> Array:
    """(T,) mean over each moment's surroundings, so far as something is known of them; else NaN."""
    total = _sum(movement, (from_s, to_s), np.nan_to_num(values))
    count = _count(movement, (from_s, to_s), values)
    mean: Array = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)
    return mean


def _count(movement: Movement, around_s: tuple[float, float], values: Array | None = None) -> Array:
    """(T,) looks around each moment, of `values` only those that are known."""
    return _sum(movement, around_s, np.ones(len(movement.time_s)) if values is None else np.isfinite(values).astype(np.float64))


def _sum(movement: Movement, around_s: tuple[float, float], values: Array) -> Array:
    total = np.concatenate([[0.0], np.cumsum(values)])
    first, end = (np.searchsorted(movement.time_s, movement.time_s + edge) for edge in around_s)
    found: Array = total[end] - total[first]
    return found


def _step_s(movement: Movement) -> float:
    return float(np.median(np.diff(movement.time_s)))
