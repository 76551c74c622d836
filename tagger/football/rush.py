"""Who rushes: each defender's probability of having gone for the passer, and how many did."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from tagger.football.playbook import PlayBook
from tagger.football.scene import Scene
from vision.types import FloatArray

DECIDED_S = 2.5
USUAL_DROP_YD = 7.0
MEASURES = ("depth", "near_receiver", "stance_depth", "to_passer")
ODD_COUNT = 0.05
"""Share of reps in which the men's own probabilities say nothing of the number (a charted rusher who never crossed)."""


def measure_rush(scene: Scene) -> FloatArray:
    """(D, len(MEASURES)) of the scene's defenders, yd, clipped: depth past the line when it is decided; mean distance to the
    nearest receiver until then (who is behind the line with a back has the back); depth at the snap (a lineman rushes unless
    he plainly drops); distance to the passer when it is decided."""
    rows, end = scene.defense, scene.at(DECIDED_S)
    start = min(scene.at(0.6), max(scene.snap, end - 2))
    gap = np.full(len(rows), 6.0)
    if len(scene.receivers):
        apart = scene.xy[rows][:, None, start : end + 1] - scene.xy[scene.receivers][None, :, start : end + 1]
        gap = np.linalg.norm(apart, axis=3).mean(axis=2).min(axis=1)
    passer = scene.xy[scene.passer, end] if scene.passer is not None else scene.ball - [USUAL_DROP_YD, 0.0]
    to_passer = np.linalg.norm(scene.xy[rows, end] - passer, axis=1)
    stance, depth = (scene.xy[rows, i, 0] - scene.line_yd for i in (scene.snap, end))
    return np.stack([np.clip(depth, -3, 4), np.clip(gap, 0, 6), np.clip(stance, 0, 6), np.clip(to_passer, 0, 14)], axis=1)


def rush_probability(scene: Scene, book: PlayBook, known: FloatArray | None = None) -> FloatArray:
    """(D,) probability for each of the scene's defenders (in the order of `scene.defense`) that he rushes; `known` (D,) is 1 or 0
    where that is certain, else NaN.

    Each man's own measures give his probability; how often so many rush decides the doubtful ones: exactly the likeliest
    number of men come out above a half."""
    known = np.full(len(scene.defense), np.nan) if known is None else known
    if not scene.team or not len(scene.defense):
        return np.nan_to_num(known)
    rows = (measure_rush(scene) - book.rush.mean) / book.rush.sd
    own = np.where(np.isnan(known), expit(rows @ book.rush.weight[0] + book.rush.bias[0]), known)
    chances = count_chances(own) * (1.0 - ODD_COUNT) + ODD_COUNT / 12.0
    share = np.full(len(chances), book.rush_count.min())
    share[: len(book.rush_count)] = book.rush_count[: len(chances)]
    count = int(np.argmax(np.log(chances) + share))
    order = np.argsort(-own, kind="stable")
    own[order[:count]] = np.maximum(own[order[:count]], 0.51)
    own[order[count:]] = np.minimum(own[order[count:]], 0.49)
    return np.where(np.isnan(known), own, known)


def count_chances(chance: FloatArray) -> FloatArray:
    """(N + 1,) distribution of how many of N independent, unequal coins fall heads (Poisson binomial)."""
    out = np.zeros(len(chance) + 1)
    out[0] = 1.0
    for p in chance:
        out[1:] = out[1:] * (1 - p) + out[:-1] * p
        out[0] *= 1 - p
    return out
