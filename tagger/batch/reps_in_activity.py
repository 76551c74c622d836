"""Finds the reps in a recording's activity: everybody still, then many move at once, fast, and the camera swings, then it stops.

Most that moves in a practice walks: between reps to the huddle, out of it, back. So the usual speed of what moves is walking.
Every moment is asked how much like a snap it is, by what moved just before it and moves just after; the moments that are most
like one, and not near a better one, begin the reps. All is held against what is usual in this recording, never against pixels.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tagger.batch.activity import BINS_PX_S, Activity

RUNNING = 2.0
"""Times the usual speed: what is counted as running."""
SMOOTH_S = 0.4
BEFORE_S, AFTER_S, RUN_S = (-1.5, -0.1), (0.5, 3.0), (0.5, 4.0)
"""Around a snap: the stance, the first steps of everybody, and the running."""
STANCE_S = 0.8
"""So long the film must show what was before."""
LITTLE = 0.05
"""Of what much movement is: less is stillness."""
RUN_WEIGHT, SWING_WEIGHT = 0.5, 0.5
MOST_RUN, MOST_SWING = 2.0, 1.0
"""More does not make a rep surer."""
LEAST_STEP, LEAST_RUN, LEAST_LIKENESS = 0.5, 0.35, 1.55
"""Natural logarithms: how much more moves after than before, how much more runs than usual, and both with the camera's swing."""
LEAST_BETWEEN_S = 11.0
"""From snap to snap; a cut between hides any time."""
STOP_S, STOP_MOVING, STOP_RUNNING = 0.6, 0.6, 0.5
"""The whistle: so much less moves and runs than in the rep, for so long."""
LEAST_REP_S, MOST_REP_S = 1.5, 25.0
NEAR_S, ONSET_SHARE = (-1.0, 1.5), 0.3
LEAD_IN_S, TAIL_S = 4.0, 2.5
NEAR_LOOKS = 6

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class FoundRep:
    """A rep on the recording's clock: cut from `start_s` to `end_s`; `snap_s` about where it begins."""

    start_s: float
    snap_s: float
    end_s: float


def find_reps(activity: Activity) -> list[FoundRep]:
    """The reps in order. Cuts may overlap: the way to one rep may be the walk back from the one before."""
    if len(activity.time_s) < 3 or not activity.moving.any():
        return []
    activity = _bridged(activity)
    moving, running = activity.moving.sum(axis=1), _running(activity)
    likeness = _likeness(activity, moving, running)
    return [_rep(activity, moving, running, row) for row in _snaps(activity, likeness)]


def _bridged(activity: Activity) -> Activity:
    """Looks that were lost in a swing of the camera say what the look before said; only a lone lost look is a cut."""
    lost = activity.cut
    near = np.convolve(lost, np.ones(2 * NEAR_LOOKS + 1))[NEAR_LOOKS:NEAR_LOOKS + len(lost)]
    kept = np.maximum.accumulate(np.where(lost, 0, np.arange(len(lost))))
    return replace(activity, moving=activity.moving[kept], camera_px_s=activity.camera_px_s[kept], cut=lost & (near <= 1))


def _running(activity: Activity) -> Array:
    """(T,) how much moves faster than walking, weighted by how much faster."""
    middle = BINS_PX_S + (BINS_PX_S[1] - BINS_PX_S[0]) / 2
    everything = activity.moving.sum(axis=0)
    walking_px_s = middle[min(len(middle) - 1, int(np.searchsorted(np.cumsum(everything), 0.5 * everything.sum())))]
    faster: Array = activity.moving @ np.maximum(0.0, middle / walking_px_s - RUNNING)
    return _smooth(activity, faster)


def _likeness(activity: Activity, moving: Array, running: Array) -> Array:
    """(T,) how much like a snap each moment is, minus infinity where it cannot be one."""
    much = float(np.percentile(moving, 90))
    active = moving >= 0.3 * much
    walk = max(1e-9, float(np.median(running[active])))
    camera = activity.camera_px_s
    before, after = _mean(activity, moving, *BEFORE_S), _mean(activity, moving, *AFTER_S)
    step = np.log((after + LITTLE * much) / (before + LITTLE * much))
    run = np.log(_mean(activity, running, *RUN_S) / walk + 0.2)
    swing = np.log((_mean(activity, camera, *RUN_S) + 1.0) / (float(np.median(camera[active])) + 1.0))
    likeness = step + RUN_WEIGHT * np.minimum(run, MOST_RUN) + SWING_WEIGHT * np.minimum(swing, MOST_SWING)
    shown_s = activity.time_s - np.maximum.accumulate(np.where(activity.cut, activity.time_s, activity.start_s))
    cannot = (step < LEAST_STEP) | (run < LEAST_RUN) | (likeness < LEAST_LIKENESS) | (shown_s < STANCE_S)
    return np.where(cannot, -np.inf, likeness)


def _snaps(activity: Activity, likeness: Array) -> list[int]:
    """Rows of the moments most like a snap, none near a better one, in order."""
    cuts, kept = np.cumsum(activity.cut), list[int]()
    for row in np.argsort(-likeness, kind="stable").tolist():
        if not np.isfinite(likeness[row]):
            break
        near = [other for other in kept if abs(activity.time_s[row] - activity.time_s[other]) < LEAST_BETWEEN_S]
        if all(cuts[row] != cuts[other] and abs(activity.time_s[row] - activity.time_s[other]) > STANCE_S for other in near):
            kept.append(row)
    return sorted(kept)


def _rep(activity: Activity, moving: Array, running: Array, snap: int) -> FoundRep:
    """From before the snap to after the whistle: when hardly anybody runs any more, or the camera was switched off."""
    time_s, snap_s = activity.time_s, float(activity.time_s[_onset(activity, moving, snap)])
    calm = ((_mean(activity, moving, 0.0, STOP_S) < STOP_MOVING * _mean(activity, moving, *AFTER_S)[snap])
            & (_mean(activity, running, 0.0, STOP_S) < STOP_RUNNING * _mean(activity, running, *RUN_S)[snap]))
    over = (calm & (time_s >= snap_s + LEAST_REP_S)) | (activity.cut & (time_s > snap_s))
    last_s = float(time_s[over][0]) if over.any() else float(time_s[-1])
    end_s = min(activity.end_s, last_s + TAIL_S, snap_s + MOST_REP_S)
    return FoundRep(max(activity.start_s, snap_s - LEAD_IN_S), snap_s, max(end_s, snap_s + 1e-3))


def _onset(activity: Activity, moving: Array, snap: int) -> int:
    """Near the moment that is most like a snap, the last that hardly moved more than the stance."""
    before, after = _mean(activity, moving, *BEFORE_S)[snap], _mean(activity, moving, *AFTER_S)[snap]
    begin, end = np.searchsorted(activity.time_s, activity.time_s[snap] + np.array(NEAR_S))
    calm = np.flatnonzero(_smooth(activity, moving)[begin:end] < before + ONSET_SHARE * (after - before))
    return int(begin + calm[-1]) if len(calm) else snap


def _mean(activity: Activity, values: Array, from_s: float, to_s: float) -> Array:
    """(T,) mean over each moment's surroundings, so far as there is film."""
    total, count = np.concatenate([[0.0], np.cumsum(values)]), len(values)
    rows, step_s = np.arange(count), _step_s(activity)
    first = np.clip(rows + round(from_s / step_s), 0, count - 1)
    end = np.maximum(first + 1, np.clip(rows + round(to_s / step_s), 0, count))
    mean: Array = (total[end] - total[first]) / (end - first)
    return mean


def _smooth(activity: Activity, values: Array) -> Array:
    width = max(1, round(SMOOTH_S / _step_s(activity))) | 1
    padded = np.pad(values, width // 2, mode="edge")
    return np.convolve(padded, np.ones(width) / width, mode="valid")


def _step_s(activity: Activity) -> float:
    return float(np.median(np.diff(activity.time_s)))
