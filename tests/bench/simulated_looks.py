"""What the splitting sees of a simulated practice, without a picture: boxes of the people whom a detector would find, and how the
camera turned. A hundred times as fast as filming and looking; for many practices of many kinds.

Boxes are off by some percent, small and hidden people are missed, and a fast swing loses the background, at about the rates that
the detector and the camera's motion have on rendered practices. Where the camera was off is known, as it nearly always is there.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from simulated_practice import cameras_of, joined, on_film, practice

from demo_clips.camera import Camera, choose_mount
from demo_clips.gait import Bodies
from tagger.batch.activity import Activity

LOOKS_PER_S = 4.17
SIZE_PX = (768, 432)
PADDED = 0.04
OFF, LEAST_OFF_PX = (0.02, 0.04), 0.5
"""Of a box's height."""
SMALL_PX, SMALL_SPREAD_PX, FOUND = (9.0, 13.0), 1.2, 0.97
"""Height at which half of the people are missed; which share of the large ones is found."""
HIDDEN, HIDDEN_SPREAD = 0.55, 0.07
LOST_PX, LOST_SPREAD_PX = 45.0, 8.0
"""Movement of the picture's middle between two looks at which its background is lost half of the time."""
CAMERA_OFF_PX = 0.15

Array = npt.NDArray[Any]


def looks(seed: int, reps: int, view: str, cut_share: float = 0.25, kind: str = "usual") -> tuple[Activity, dict[str, Any]]:
    """A practice as `tagger.batch.activity.measure` would see it, and its truth."""
    pieces = practice(seed, reps, cut_share, kind)
    whole, rng = joined(pieces), np.random.default_rng([seed, 79, len(view)])
    times = np.arange(0.0, float(whole.time_s[-1]), 1.0 / LOOKS_PER_S)
    mount = choose_mount(view, rng, 1, float(np.median(whole.ball_xyz_yd[:, 0])))
    cameras = cameras_of(pieces, mount, times, rng, SIZE_PX)
    bodies = Bodies(whole, np.full(len(whole.actors), 1.05), rng)
    kept, truth = on_film(pieces, times)
    off, small_px = rng.uniform(*OFF), rng.uniform(*SMALL_PX)
    people = [_boxes(cameras[i], bodies.at(float(times[i])), off, small_px, rng) for i in kept]
    motion, cut = np.full((len(kept), 3, 3), np.nan), np.diff(kept, prepend=kept[:1]) > 1
    for row in range(1, len(kept)):
        if not cut[row]:
            motion[row] = _motion(cameras[kept[row - 1]], cameras[kept[row]], rng)
    time_s = np.arange(len(kept)) / LOOKS_PER_S
    return Activity(time_s, people, motion, cut, 0.0, float(time_s[-1]) + 1.0 / LOOKS_PER_S), truth


def _boxes(camera: Camera, points: Array, off: float, small_px: float, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """(N, 4) px of those who are found, the nearest first."""
    pixels, depth_yd = camera.project(points)
    low, high, far = pixels.min(axis=1), pixels.max(axis=1), depth_yd.mean(axis=1)
    pad = PADDED * (high - low).max(axis=1, keepdims=True)
    boxes = np.concatenate([low - pad, high + pad], axis=1)
    inside = (far > 1.0) & (boxes[:, :2] >= 2.0).all(axis=1) & (boxes[:, 2:] <= np.array(SIZE_PX) - 2.0).all(axis=1)
    found = list[Array]()
    for k in sorted(np.flatnonzero(inside), key=lambda k: float(far[k])):
        tall, hidden = float(high[k, 1] - low[k, 1]), max((_covered(boxes[k], other) for other in found), default=0.0)
        seen = FOUND * _falls(small_px - tall, SMALL_SPREAD_PX) * _falls(hidden - HIDDEN, HIDDEN_SPREAD)
        if rng.random() < seen:
            found.append(boxes[k])
    clean = np.array(found).reshape(-1, 4)
    noise = rng.normal(0.0, 1.0, clean.shape) * np.maximum(LEAST_OFF_PX, off * (clean[:, 3:] - clean[:, 1:2]))
    return np.asarray(clean + noise, dtype=np.float32)


def _falls(above: float, spread: float) -> float:
    return float(1.0 / (1.0 + np.exp(np.clip(above / spread, -50.0, 50.0))))


def _covered(box: Array, other: Array) -> float:
    """Share of a box that another hides."""
    both = np.maximum(0.0, np.minimum(box[2:], other[2:]) - np.maximum(box[:2], other[:2]))
    return float(np.prod(both) / np.prod(box[2:] - box[:2]))


def _motion(before: Camera, now: Camera, rng: np.random.Generator) -> Array:
    """(3, 3) now_from_before of a camera that only turns and zooms; NaN where it turns too fast."""
    middle = np.array(SIZE_PX) / 2.0

    def lens(camera: Camera) -> Array:
        return np.array([[camera.focal_px, 0.0, middle[0]], [0.0, camera.focal_px, middle[1]], [0.0, 0.0, 1.0]])

    turned = lens(now) @ now.camera_from_world @ before.camera_from_world.T @ np.linalg.inv(lens(before))
    turned /= turned[2, 2]
    moved = turned @ np.append(middle, 1.0)
    if np.linalg.norm(moved[:2] / moved[2] - middle) > rng.normal(LOST_PX, LOST_SPREAD_PX):
        return np.full((3, 3), np.nan)
    turned[:2, 2] += rng.normal(0.0, CAMERA_OFF_PX, 2)
    return np.asarray(turned)
