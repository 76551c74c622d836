"""Where the throw went. The ball is not seen: it is read off the men who hunt it, and off the receiver himself.

A conditional logit over the receivers: the coverage closes on one of them, turned to his spot when the ball was out and looks
there; he looks back at the passer, leaves his path for the ball and still runs when the others have slowed down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tagger.football.playbook import PlayBook
from tagger.football.scene import STEP_S, Scene
from vision.types import FloatArray, IntArray

MEASURES = ("hunted", "turned", "runs_on", "looks_back", "leaves_path", "looked_at")
PURSUIT_S = (0.8, 3.0)
"""After the throw: while they close on the ball and then chase the man who has it."""
PURSUIT_YD = 25.0
TURN_REACH_YD = 22.0
REACT_STEPS = 4
"""They turn about so many steps of the grid after the throw."""
BALL_YD_S = 19.0
FLIGHT_S = (0.4, 2.5)
LOOK_S = (0.3, 1.0)
AFTER_CATCH_S = (0.2, 1.4)


@dataclass(frozen=True)
class Target:
    """The receiver who was thrown to (a row of the scene), the grid index at which the ball is there, how sure it is he."""

    receiver: int
    arrival: int
    chance: float


def find_target(scene: Scene, cover: IntArray, thrown: int, book: PlayBook) -> Target | None:
    """The likeliest target of a throw at a grid index, `cover` being the rows of the men in coverage. None where there is no
    passer, nobody in coverage, or the tracks end too early."""
    rows = measure_target(scene, cover, thrown)
    if not len(rows):
        return None
    logit = np.nan_to_num((rows - book.target.mean) / book.target.sd) @ book.target.weight[0]
    chance = np.exp(logit - logit.max())
    best = int(np.argmax(chance))
    receiver = int(scene.receivers[best])
    return Target(receiver, arrival_at(scene, receiver, thrown), float(chance[best] / chance.sum()))


def measure_target(scene: Scene, cover: IntArray, thrown: int) -> FloatArray:
    """(R, len(MEASURES)) of the receivers, yd/s and cosines, NaN where facings are unknown; (0, M) where nothing can be said.

    hunted: how fast the coverage closes on him after the throw, all together; turned: how much faster it closes on his spot of
    the catch than before; runs_on: his pace after it; looks_back: to the passer while the ball is out; leaves_path: the change
    of his velocity; looked_at: how far the coverage faces his spot."""
    last = len(scene.time_s) - 1
    first, stop = (min(thrown + round(s / STEP_S), last) for s in PURSUIT_S)
    if not len(cover) or scene.passer is None or stop - first < 2 or not len(scene.receivers):
        return np.empty((0, len(MEASURES)))
    hunt = slice(first, stop + 1)
    to_man = scene.xy[scene.receivers, hunt][None] - scene.xy[cover, hunt][:, None]
    distance = np.linalg.norm(to_man, axis=3) + 0.1
    closing = (scene.velocity[cover, hunt][:, None] * to_man).sum(axis=3) / distance
    hunted = np.where(distance < PURSUIT_YD, closing, 0.0).mean(axis=2).sum(axis=0)
    return np.array([(hunted[k], *_measure(scene, cover, thrown, int(r))) for k, r in enumerate(scene.receivers)])


def _measure(scene: Scene, cover: IntArray, thrown: int, receiver: int) -> tuple[float, ...]:
    arrival, last = arrival_at(scene, receiver, thrown), len(scene.time_s) - 1
    spot, passer = scene.xy[receiver, arrival], scene.xy[scene.passer, thrown]
    after = slice(*(min(arrival + round(s / STEP_S), last) + k for k, s in enumerate(AFTER_CATCH_S)))
    runs_on = float(np.linalg.norm(scene.velocity[receiver, after], axis=1).mean())
    before = scene.velocity[receiver, max(0, thrown - 2) : thrown + 1].mean(axis=0)
    flight = scene.velocity[receiver, min(thrown + 2, last) : max(arrival, min(thrown + 4, last)) + 1].mean(axis=0)
    look = slice(max(0, thrown - 1), min(thrown + round(0.8 / STEP_S), last))
    looks_back = _cosine(scene.sampled.facing_rad[[receiver], look], passer - scene.xy[[receiver], thrown][:, None])
    seen = slice(*(min(thrown + round(s / STEP_S), last) + k for k, s in enumerate(LOOK_S)))
    looked_at = _cosine(scene.sampled.facing_rad[cover, seen], spot - scene.xy[cover, seen])
    return (_turned(scene, cover, spot, thrown, arrival), runs_on, looks_back, float(np.linalg.norm(flight - before)), looked_at)


def _cosine(facing_rad: FloatArray, way: FloatArray) -> float:
    """Mean cosine between facings (N, T) and ways (N, T or 1, 2), NaN where no facing is known."""
    cosine = np.cos(facing_rad - np.arctan2(way[..., 1], way[..., 0]))
    known = np.isfinite(cosine)
    return float(cosine[known].mean()) if known.any() else float("nan")


def _turned(scene: Scene, cover: IntArray, spot: FloatArray, thrown: int, arrival: int) -> float:
    way = spot - scene.xy[cover]
    distance = np.linalg.norm(way, axis=2)
    closing = (scene.velocity[cover] * way).sum(axis=2) / (distance + 0.5)
    reacting = min(thrown + REACT_STEPS, closing.shape[1] - 1)
    before = closing[:, max(0, thrown - REACT_STEPS) : thrown + 1].mean(axis=1)
    faster = closing[:, reacting : max(arrival, reacting) + 1].mean(axis=1) - before
    return float(faster[distance[:, thrown] < TURN_REACH_YD].sum())


def arrival_at(scene: Scene, receiver: int, thrown: int) -> int:
    """Grid index at which a ball thrown to where he will be then is there, at a ball's usual speed."""
    flight = np.arange(*(round(s / STEP_S) for s in FLIGHT_S))
    at = np.minimum(thrown + flight, len(scene.time_s) - 1)
    way = np.linalg.norm(scene.xy[receiver, at] - scene.xy[scene.passer, thrown], axis=1)
    return int(at[int(np.argmin(np.abs(way - BALL_YD_S * flight * STEP_S)))])
