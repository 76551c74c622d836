"""Which share of the people in a recording moves, and which runs, from look to look: each followed in the steadied picture, his
speed in his own heights a second, so that it says the same from either camera, near and far."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from tagger.batch.activity import Activity
from tagger.batch.crowd import now_from_before
from vision.boxes import map_points
from vision.types import FloatArray

MOVES, RUNS = 0.5, 1.2
"""Heights a second. People change from walking to running at about 2 m/s, a Froude number of 0.5 (Alexander, The Gaits of Bipedal
and Quadrupedal Animals, 1984); a height is 1.8 m."""
FASTEST = 2.8
"""Heights a second that are still followed: further away it is somebody else more often than a sprint."""
LEAST_KNOWN = 4
"""So many must be followed for a look to tell anything."""
MOST_FORESHORTENED = 6.0
ROUNDS = 5

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Movement:
    """One row a look, T in all: `time_s` (T,) of the film's clock; `people` (T,) how many could be followed; which share of them
    is `moving` (T,), and which `running` (T,), less the more all that move go one way; `swing` (T,) heights a second by which the
    camera turns. NaN where that is not known. `cut` (T,): the camera was off before this look. `start_s`, `end_s`: what the film
    holds."""

    time_s: Array
    people: Array
    moving: Array
    running: Array
    swing: Array
    cut: npt.NDArray[np.bool_]
    start_s: float
    end_s: float


def movement(activity: Activity) -> Movement:
    """Who moves in the looks of a film."""
    activity = replace(activity, now_from_before=_camera(activity))
    velocity = _velocities(activity)
    together = np.concatenate([*velocity, np.zeros((0, 2))])
    # All ways are walked and run alike often in a practice, so what is slower up and down the picture is seen at a slant.
    across, along = np.percentile(np.abs(together), 90.0, axis=0) if len(together) else (1.0, 1.0)
    stretch = np.array([1.0, np.clip(across / max(along, 1e-9), 1.0, MOST_FORESHORTENED)])
    moving, running = np.full((2, len(velocity)), np.nan)
    for row, one in enumerate(velocity):
        if len(one) >= LEAST_KNOWN:
            moving[row], running[row] = _shares(one * stretch)
    people, cut = np.array([len(one) for one in velocity], dtype=np.float64), activity.cut.copy()
    cut[:1] = True
    return Movement(activity.time_s, people, moving, running, _swing(activity), cut, activity.start_s, activity.end_s)


def _camera(activity: Activity) -> Array:
    """(T, 3, 3) now_from_before, by the crowd where the background was lost: in a swing too fast to follow."""
    camera = activity.now_from_before.copy()
    camera[activity.cut] = np.nan
    size_px = np.concatenate([*activity.people, np.zeros((1, 4))])[:, 2:].max(axis=0)
    for now in 1 + np.flatnonzero((np.isnan(camera).any(axis=(1, 2)) & ~activity.cut)[1:]):
        before, boxes = activity.people[now - 1], activity.people[now]
        camera[now] = now_from_before(_middle(before), _middle(boxes), _heights(boxes), size_px)
    return camera


def _middle(boxes: FloatArray) -> Array:
    """(N, 2) px."""
    return (boxes[:, :2] + boxes[:, 2:]).astype(np.float64) / 2.0


def _shares(velocity: Array) -> tuple[float, float]:
    """Shares of the people that move, and that run apart."""
    speed = np.linalg.norm(velocity, axis=1)
    moves = speed > MOVES
    way = (velocity[moves] / speed[moves, None]).sum(axis=0)
    one_way = float(np.linalg.norm(way)) / max(1, moves.sum())
    return float(moves.mean()), float((speed > RUNS).mean()) * (1.0 - one_way)


def _swing(activity: Activity) -> Array:
    """(T,) heights a second by which the background moves where the people are."""
    swing = np.full(len(activity.time_s), np.nan)
    for now in range(1, len(swing)):
        boxes, lasts_s = activity.people[now - 1], activity.time_s[now] - activity.time_s[now - 1]
        if len(boxes) and lasts_s > 0:
            middle = _middle(boxes).mean(axis=0, keepdims=True)
            moved = map_points(activity.now_from_before[now], middle) - middle
            swing[now] = np.linalg.norm(moved) / np.median(boxes[:, 3] - boxes[:, 1]) / lasts_s
    return swing


def _velocities(activity: Activity) -> list[Array]:
    """For each look the velocities (K, 2), in heights a second, of those who were followed to it or from it."""
    middle = [_middle(boxes) for boxes in activity.people]
    height = [_heights(boxes) for boxes in activity.people]
    seen = [np.full((2, len(boxes), 2), np.nan) for boxes in activity.people]  # followed to this look, and from it
    for before, now in pairwise(range(len(middle))):
        camera, lasts_s = activity.now_from_before[now], activity.time_s[now] - activity.time_s[before]
        if np.isfinite(camera).all() and len(middle[before]) and len(middle[now]) and lasts_s > 0:
            come = middle[now][None] - map_points(camera, middle[before])[:, None]
            velocity = come / height[now][None, :, None] / lasts_s
            first, then = _followed(np.linalg.norm(velocity, axis=2))
            seen[before][1, first] = seen[now][0, then] = velocity[first, then]
    found = []
    for both in seen:
        known = np.isfinite(both[..., 0])
        mean = np.nansum(both, axis=0)[known.any(axis=0)] / known.sum(axis=0)[known.any(axis=0)][:, None]
        # What all do alike is what the camera's motion was mistaken by.
        found.append(mean - np.median(mean, axis=0) if len(mean) >= LEAST_KNOWN else np.zeros((0, 2)))
    return found


def _followed(speed: Array) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Who of the look before is who of this one, from the speeds (N, M) that it would take."""
    first, then = linear_sum_assignment(np.where(speed < FASTEST, speed, 10.0 * FASTEST))
    near = speed[first, then] < FASTEST
    return first[near], then[near]


def _heights(boxes: FloatArray) -> Array:
    """(N,) how tall somebody upright would be where each one is: heights grow evenly down the picture, and whoever crouches or is
    hidden in part lies off the line."""
    tall, at = (boxes[:, 3] - boxes[:, 1]).astype(np.float64), (boxes[:, 1] + boxes[:, 3]).astype(np.float64) / 2.0
    if len(tall) < LEAST_KNOWN:
        return tall
    line, weight = np.stack([at, np.ones(len(at))], axis=1), np.ones((len(at), 1))
    for _ in range(ROUNDS):
        slope = np.linalg.lstsq(line * weight, tall * weight[:, 0], rcond=None)[0]
        off = tall - line @ slope
        weight = 1.0 / np.sqrt(1.0 + (off / (1.48 * np.median(np.abs(off)) + 1e-3)) ** 2)[:, None]
    upright: Array = np.maximum(line @ slope, 0.5 * np.median(tall))
    return upright
