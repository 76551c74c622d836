"""Who rushes: each defender's probability of having gone for the passer by a moment."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from tagger.football.scene import Scene
from vision.types import FloatArray

DECIDED_S = 2.5
SLOPE_PER_YD = 2.5


def rush_probability(scene: Scene, time_s: float) -> FloatArray:
    """(D,) probability for each of the scene's defenders (in the order of `scene.defense`) that he rushes."""
    if not len(scene.linemen):
        return np.zeros(len(scene.defense))
    at = scene.at(min(DECIDED_S, time_s))
    depth = scene.xy[scene.defense, at, 0] - scene.line_yd
    return np.asarray(expit(-SLOPE_PER_YD * depth))
