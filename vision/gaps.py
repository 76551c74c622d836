"""Boxes that were nobody's, given to the tracks that pass there: with past and future known, most are clear after all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision import kalman
from vision.observations import Observations
from vision.pieces import Track, mean_looks, sightings
from vision.tracking_settings import TrackingSettings
from vision.tracklets import assign, match_costs
from vision.types import IntArray


def fill_gaps(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> list[Track]:
    """Give free boxes to tracks in their gaps, frame by frame, by one assignment against the smoothed tracks."""
    if not tracks:
        return []
    belief = kalman.smooth(sightings(obs, tracks, settings), settings.motion)
    table = np.full((len(tracks), len(obs.time_s)), -1)
    for row, boxes in enumerate(tracks):
        table[row, obs.frame[boxes]] = boxes
    free = np.ones(len(obs), dtype=np.bool_)
    free[np.concatenate(list(tracks))] = False
    height = np.array([np.median(obs.height_yd[boxes]) for boxes in tracks])
    looks = mean_looks(obs, tracks)
    first, last = (np.array([obs.frame[boxes[end]] for boxes in tracks]) for end in (0, -1))
    for k in np.unique(obs.frame[free]):
        rows = np.flatnonzero((table[:, k] < 0) & (first < k) & (k < last))
        here = obs.of_frame(int(k))
        boxes = np.arange(here.start, here.stop)[free[here]]
        where = kalman.Belief(belief.mean[rows, k], belief.covariance[rows, k])
        cost = match_costs(where.position, where.position_covariance, height[rows], looks[rows], obs, boxes, settings)
        taking, taken = assign(cost, settings.gate_nats)
        table[rows[taking], k] = boxes[taken]
    return [_boxes(row) for row in table]


def _boxes(row: IntArray) -> Track:
    found: IntArray = row[row >= 0]
    return found
