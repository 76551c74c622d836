"""Finds the reps in a recording's activity: everybody still, then many run at once and the camera swings, then it ends.

Most that moves in a practice walks: between reps to the huddle, out of it, back. So the usual speed of what moves is walking,
and a rep is where much moves a good deal faster than that. Its snap is where the stillness before it ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tagger.batch.activity import BINS_PX_S, Activity

RUNNING = 2.0
"""Times the usual speed: what is counted as running."""
SMOOTH_S = 0.4
BURST = 0.25
"""Where a rep is suspected, of the strongest running and half of the strongest swing."""
CAMERA_WEIGHT, LEAST_RUNNING = 0.5, 0.05
"""A camera that swings counts only where at least a little runs."""
STANCE_S, STANCE_SHARE = 0.8, 0.4
LULL_S = 1.6
"""Running that pauses for less is one rep."""
LEAST_RUN_S = 0.7
STILL_BEFORE_S = 4.0
"""So far before the running the stillness is looked for."""
ONSET_SHARE = 0.18
LEAD_IN_S, TAIL_S = 4.0, 2.0
LEAST_BETWEEN_S = 5.0
"""No team lines up again sooner after the whistle."""
LEAST_SWING = 0.25
"""Of the camera's strongest in the recording: the operator follows a play, not a walk. (A camera on a stand only trembles, and
trembles enough.)"""
NEAR_LOOKS = 6
MOST_REP_S = 25.0

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class FoundRep:
    """A rep on the recording's clock: cut from `start_s` to `end_s`; `snap_s` about where it begins."""

    start_s: float
    snap_s: float
    end_s: float


def find_reps(activity: Activity) -> list[FoundRep]:
    """The reps in order. Cuts may overlap: the way to one rep may be the walk back from the one before."""
    if len(activity.time_s) < 3:
        return []
    activity = _bridged(activity)
    moving, play = _smooth(activity, activity.moving.sum(axis=1)), _play(activity)
    busy = play + moving / max(1e-9, float(np.percentile(moving, 99)))
    camera = _smooth(activity, activity.camera_px_s)
    swing = camera / max(1e-9, float(np.percentile(camera, 99)))
    found: list[FoundRep] = []
    before_last = -1
    for first, last in _bursts(activity, play):
        onset = _onset(activity, busy, first)
        if found and onset <= before_last:  # it never came to rest: still the same rep
            found[-1], before_last = _lasting(activity, found[-1], last), last
        elif found and activity.time_s[onset] - activity.time_s[before_last] < LEAST_BETWEEN_S:
            continue  # the way back
        elif _still_before(activity, moving, onset, first, last) and swing[onset:last + 1].max() >= LEAST_SWING:
            snap_s = float(activity.time_s[onset])
            rep = FoundRep(max(activity.start_s, snap_s - LEAD_IN_S), snap_s, snap_s)
            found, before_last = [*found, _lasting(activity, rep, last)], last
    return found


def _lasting(activity: Activity, rep: FoundRep, last: int) -> FoundRep:
    """The rep, over no sooner than row `last`."""
    end_s = min(activity.end_s, float(activity.time_s[last]) + TAIL_S, rep.snap_s + MOST_REP_S)
    return FoundRep(rep.start_s, rep.snap_s, max(rep.end_s, end_s))


def _bridged(activity: Activity) -> Activity:
    """Looks that were lost in a swing of the camera say what the look before said; only a lone lost look is a cut."""
    lost = activity.cut
    near = np.convolve(lost, np.ones(2 * NEAR_LOOKS + 1))[NEAR_LOOKS:NEAR_LOOKS + len(lost)]
    kept = np.maximum.accumulate(np.where(lost, 0, np.arange(len(lost))))
    return replace(activity, moving=activity.moving[kept], camera_px_s=activity.camera_px_s[kept], cut=lost & (near <= 1))


def _play(activity: Activity) -> Array:
    """(T,) running and the camera's swing together, each over its strongest in this recording."""
    running, camera = _running(activity), _smooth(activity, activity.camera_px_s)
    top, swing = np.percentile(running, 99), np.percentile(camera, 99)
    if top <= 0:
        return np.zeros(len(running))
    if swing <= 0:
        return np.asarray(running / top)
    at_all = np.minimum(1.0, running / (LEAST_RUNNING * top))
    return np.asarray(running / top + CAMERA_WEIGHT * np.minimum(1.0, camera / swing) * at_all)


def _still_before(activity: Activity, moving: Array, onset: int, first: int, last: int) -> bool:
    """A rep begins from a stance: hardly anybody moves before the snap, while it lasts many do."""
    begin = int(np.searchsorted(activity.time_s, activity.time_s[onset] - STANCE_S))
    if activity.time_s[onset] - activity.time_s[0] < STANCE_S or activity.cut[begin + 1:onset + 1].any():
        return False
    return float(np.median(moving[begin:onset + 1])) <= STANCE_SHARE * float(moving[first:last + 1].mean())


def _running(activity: Activity) -> Array:
    """(T,) how much moves faster than walking, weighted by how much faster."""
    middle = BINS_PX_S + (BINS_PX_S[1] - BINS_PX_S[0]) / 2
    everything = activity.moving.sum(axis=0)
    walking_px_s = middle[min(len(middle) - 1, int(np.searchsorted(np.cumsum(everything), 0.5 * everything.sum())))]
    faster: Array = activity.moving @ np.maximum(0.0, middle / walking_px_s - RUNNING)
    return _smooth(activity, faster)


def _smooth(activity: Activity, values: Array) -> Array:
    step_s = float(np.median(np.diff(activity.time_s)))
    width = max(1, round(SMOOTH_S / step_s)) | 1
    padded = np.pad(values, width // 2, mode="edge")
    return np.convolve(padded, np.ones(width) / width, mode="valid")


def _bursts(activity: Activity, play: Array) -> list[tuple[int, int]]:
    """(first row, last row) of each stretch that looks like play; a cut ends one."""
    time_s, stretches = activity.time_s, list[tuple[int, int]]()
    for row in np.flatnonzero(play > BURST).tolist():
        last = stretches[-1][1] if stretches else -1
        if stretches and time_s[row] - time_s[last] < LULL_S and not activity.cut[last + 1:row + 1].any():
            stretches[-1] = (stretches[-1][0], row)
        else:
            stretches.append((row, row))
    return [(first, last) for first, last in stretches if time_s[last] - time_s[first] >= LEAST_RUN_S]


def _onset(activity: Activity, busy: Array, first: int) -> int:
    """The row where the stillness before row `first` ends: the last moment that was hardly busier than the stillest."""
    begin = int(np.searchsorted(activity.time_s, activity.time_s[first] - STILL_BEFORE_S))
    before = busy[begin:first + 1]
    still = float(before.min())
    calm = np.flatnonzero(before <= still + ONSET_SHARE * (float(before[-1]) - still))
    return begin + int(calm[-1])
