"""Boxes drawn tighter: the detector's sides and those that a closer look at the man found, each as far as it can be trusted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.sights import Sight
from vision.types import Detections, FloatArray, Outlines, foot_of

SIDE_SIGMA = 0.014
"""Standard deviation of a sure box's sides, in heights."""
DOUBTFUL_SIDE_SIGMA = 0.05
"""More at no confidence, in proportion."""
SIGMA_OF_MEAN_ERROR = 1.4
"""Of Laplace's distribution, which an outline's mean errors belong to: the square root of two."""

MIDDLE_SIGMA, LOWER_SIGMA = 0.13, 0.05
"""Standard deviations in heights of the ground under a man's middle about his box: along the picture, where he leans and reaches
out, and up and down, where his shoes are before him or behind."""


def tightened(found: Detections, sight: Sight) -> Detections:
    """The same people with boxes of both opinions, and their outlines. `sight` is a look at these very boxes."""
    if len(sight) != len(found):
        raise ValueError(f"outlines: a look at {len(sight)} people for {len(found)} boxes")
    if not len(found):
        return found
    boxes, told = found.xyxy.astype(np.float64), sight.outline.astype(np.float64)
    looked_sigma = SIGMA_OF_MEAN_ERROR * told[:, 6:]
    sides, side_sigma = _both(boxes, sigma_of_sides(boxes, found.confidence), told[:, :4], looked_sigma[:, :4])
    ground, ground_sigma = _both(*_under(sides, side_sigma), told[:, 4:6], looked_sigma[:, 4:])
    return replace(found, xyxy=sides.astype(np.float32), outlines=Outlines(side_sigma, ground, ground_sigma))


def _both(one: FloatArray, one_sigma: FloatArray, other: FloatArray, other_sigma: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The mean of two opinions, each as far as it is sure, and how sure that is."""
    precision = one_sigma**-2 + other_sigma**-2
    return (one * one_sigma**-2 + other * other_sigma**-2) / precision, precision**-0.5


def _under(xyxy: FloatArray, side_sigma_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where the ground under a man is by his box alone (N, 2), and how surely. Seldom is anybody in the air; a closer look at a
    man without a shadow may think so."""
    tall = np.maximum(xyxy[:, 3] - xyxy[:, 1], 1.0)
    own = np.stack([np.hypot(side_sigma_px[:, 0], side_sigma_px[:, 2]) / 2, side_sigma_px[:, 3]], axis=1)
    return foot_of(xyxy), np.hypot(own, tall[:, None] * [MIDDLE_SIGMA, LOWER_SIGMA])


def sigma_of_sides(xyxy: FloatArray, confidence: FloatArray) -> FloatArray:
    """(N, 4) px standard deviations of the sides of boxes as the detector gives them."""
    tall = np.maximum(xyxy[:, 3:] - xyxy[:, 1:2], 1.0)
    sigma: FloatArray = np.repeat(tall * (SIDE_SIGMA + DOUBTFUL_SIDE_SIGMA * (1 - confidence[:, None])), 4, axis=1)
    return sigma
