"""Who rushes: each defender's probability of having gone for the passer by a moment."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from tagger.football.playbook import PlayBook
from tagger.football.scene import Scene
from vision.types import FloatArray

DECIDED_S = 4.0
MEASURES = ("depth", "depth_before", "stance_depth", "closing", "near_receiver", "is_past", "stance_wide")


def measure_rush(scene: Scene, time_s: float) -> FloatArray:
    """(D, len(MEASURES)) of the scene's defenders: depth past the line when decided, 0.8 s before and at the stance (yd,
    clipped), mean speed toward the passer (yd/s), mean distance to the nearest receiver (yd), past the line, and how far
    across from the ball he stood."""
    rows = scene.defense
    end, before = scene.at(min(DECIDED_S, time_s)), scene.at(min(DECIDED_S, time_s) - 0.8)
    depth = scene.xy[rows, :, 0] - scene.line_yd
    start = min(scene.at(0.3), max(scene.snap, end - 2))
    goal = scene.xy[scene.passer] if scene.passer is not None else np.broadcast_to(scene.ball - [6.0, 0.0], scene.xy.shape[1:])
    way = goal[None, start : end + 1] - scene.xy[rows, start : end + 1]
    closing = ((scene.velocity[rows, start : end + 1] * way).sum(axis=2) / (np.linalg.norm(way, axis=2) + 1e-6)).mean(axis=1)
    gap = np.full(len(rows), 6.0)
    if len(scene.receivers):
        apart = scene.xy[rows][:, None, start : end + 1] - scene.xy[scene.receivers][None, :, start : end + 1]
        gap = np.linalg.norm(apart, axis=3).mean(axis=2).min(axis=1)
    wide = np.abs(scene.xy[rows, scene.snap, 1] - scene.ball[1])
    return np.stack([np.clip(depth[:, end], -4, 4), np.clip(depth[:, before], -3, 4), np.clip(depth[:, scene.snap], 0, 6), closing,
                     np.clip(gap, 0, 6), (depth[:, end] < 0.0).astype(float), np.clip(wide, 0, 12)], axis=1)


def rush_probability(scene: Scene, time_s: float, book: PlayBook) -> FloatArray:
    """(D,) probability for each of the scene's defenders (in the order of `scene.defense`) that he rushes."""
    if not scene.full_line or not len(scene.defense):
        return np.zeros(len(scene.defense))
    rows = (measure_rush(scene, time_s) - book.rush.mean) / book.rush.sd
    return np.asarray(expit(rows @ book.rush.weight[0] + book.rush.bias[0]))
