"""The reps of a recording: cut from before the snap to after the whistle, where its phases have a play."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from tagger.batch.movement import Movement
from tagger.batch.phases import SHORT_SHOT_S, Phase, Stretch, mean_around, one_rep_a_shot, read_phases

STANCE_S, RUN_S = (-2.5, -0.1), (0.3, 3.3)
NEAR_S, ONSET_SHARE = (-1.0, 1.5), 0.3
LEAST_RUNS = 0.3
"""Of much that runs; with less all may have moved at once, but nobody played."""
LEAST_RUNS_IN_SHOT = 0.15
"""Where the camera was switched on for a rep."""
LEAST_SHOWN_S = 2.0
"""When a film begins, whoever sets off at once was not seen to be set."""
LEAD_IN_S, TAIL_S, LEAST_REP_S = 4.0, 2.5, 5.0


@dataclass(frozen=True)
class FoundRep:
    """A rep on the recording's clock: cut from `start_s` to `end_s`; `snap_s` about where it begins."""

    start_s: float
    snap_s: float
    end_s: float

LEAST_AFTER_SNAP_S = 1e-3
"""A rep ends after its snap, be it at the very cut."""


def find_reps(movement: Movement) -> list[FoundRep]:
    """The reps in order. Cuts may overlap: the way to one rep may be the walk back from the one before. Where the camera runs for
    one rep at a time a rep is its whole shot."""
    if np.isfinite(movement.moving).sum() < 3:
        return []
    by_shot = one_rep_a_shot(movement)
    least_runs = LEAST_RUNS_IN_SHOT if by_shot else LEAST_RUNS
    plays = [stretch for stretch in read_phases(movement)
             if stretch.phase == Phase.PLAY and stretch.runs >= least_runs
             and movement.time_s[stretch.first] >= movement.start_s + LEAST_SHOWN_S]
    shots = Counter(_shot(movement, play) for play in plays)
    return [_rep(movement, play, by_shot and shots[_shot(movement, play)] == 1) for play in plays]


def _shot(movement: Movement, play: Stretch) -> tuple[float, float]:
    """From when to when the camera ran without a stop."""
    on = np.flatnonzero(movement.cut)
    edges_s = [movement.start_s, *movement.time_s[on[1:]], movement.end_s]
    number = int(np.searchsorted(on, play.first, side="right"))
    return float(edges_s[number - 1]), float(edges_s[number])


def _rep(movement: Movement, play: Stretch, whole_shot: bool) -> FoundRep:
    """From before the snap, but no other rep's shot, to after the play; what follows does no harm."""
    time_s = np.append(movement.time_s, movement.end_s)
    on_s, off_s = _shot(movement, play)
    snap_s = min(float(time_s[_onset(movement, play.first)]), off_s - LEAST_AFTER_SNAP_S)
    if whole_shot and off_s - on_s < SHORT_SHOT_S:
        return FoundRep(on_s, snap_s, off_s)
    end_s = min(movement.end_s, max(float(time_s[play.end]), snap_s + LEAST_REP_S) + TAIL_S)
    return FoundRep(max(on_s, snap_s - LEAD_IN_S), snap_s, max(end_s, snap_s + LEAST_AFTER_SNAP_S))


def _onset(movement: Movement, snap: int) -> int:
    """Near the look with which the play begins, the last at which hardly more moved than in the stance."""
    before, after = (mean_around(movement, movement.moving, *around)[snap] for around in (STANCE_S, RUN_S))
    begin, end = np.searchsorted(movement.time_s, movement.time_s[snap] + np.array(NEAR_S))
    calm = np.flatnonzero(movement.moving[begin:end] < before + ONSET_SHARE * (after - before))
    return int(begin + calm[-1]) if len(calm) else snap
