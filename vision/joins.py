"""Pieces of tracks to whole ones: one assignment of ends to beginnings over the whole clip."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.boxes import paired_iou
from vision.kalman import Belief, join_cost
from vision.observations import Observations
from vision.pieces import Pieces, Track, looks_cost, summarise
from vision.tracking_settings import TrackingSettings
from vision.tracklets import assign
from vision.types import FloatArray


def join(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> list[Track]:
    """Join ends to later beginnings wherever that explains the boxes better than two people would."""
    if len(tracks) < 2:
        return list(tracks)
    cost = join_costs(obs, tracks, summarise(obs, tracks, settings), settings)
    following = dict(zip(*(side.tolist() for side in assign(cost, 0.0)), strict=True))
    heads = set(range(len(tracks))) - set(following.values())
    joined = []
    for row in sorted(heads):
        parts = [tracks[row]]
        while row in following:
            row = following[row]
            parts.append(tracks[row])
        joined.append(np.concatenate(parts))
    return joined


def join_costs(obs: Observations, tracks: Sequence[Track], pieces: Pieces, settings: TrackingSettings) -> FloatArray:
    """(N, N) nats of joining track i's end to track j's beginning: below 0 where they are rather one, inf if impossible."""
    n = len(tracks)
    ends_s, starts_s = obs.time_s[pieces.last], obs.time_s[pieces.first]
    head, tail = np.nonzero((ends_s[:, None] < starts_s[None]) & (starts_s[None] - ends_s[:, None] <= settings.max_gap_s))
    gap_s = starts_s[tail] - ends_s[head]
    past = Belief(pieces.past.mean[head], pieces.past.covariance[head])
    future = Belief(pieces.future.mean[tail], pieces.future.covariance[tail])
    price = join_cost(past, future, gap_s, (pieces.end_density[head] + pieces.start_density[tail]) / 2)
    price += _born_anywhere(future, settings) + looks_cost(pieces, head, tail, settings)
    goes_out, comes_in = obs.border[[t[-1] for t in tracks]], obs.border[[t[0] for t in tracks]]
    # Whoever left the picture could not be seen: as much of the gap counts as has an end inside.
    in_view = 1.0 - (goes_out[head].astype(float) + comes_in[tail]) / 2
    price += in_view * np.minimum(settings.missed_nats_s * gap_s, settings.missed_cap_nats)
    real = np.minimum(settings.vanish_nats, settings.real_nats_box * np.array([len(boxes) for boxes in tracks]))
    goes, comes = np.where(goes_out, settings.leave_nats, real), np.where(comes_in, settings.leave_nats, real)
    cost = np.full((n, n), np.inf)
    cost[head, tail] = price - goes[head] - comes[tail]
    return cost


def _born_anywhere(future: Belief, settings: TrackingSettings) -> FloatArray:
    """(M,) log density of an unknown man having this state: anywhere on the ground, with a usual speed."""
    speed2 = (future.velocity**2).sum(axis=-1)
    density: FloatArray = (-np.log(settings.area_yd2) - np.log(2 * np.pi * settings.speed_sigma_yd_s**2)
                           - 0.5 * speed2 / settings.speed_sigma_yd_s**2)
    return density


def drop_doubles(obs: Observations, tracks: Sequence[Track], settings: TrackingSettings) -> list[Track]:
    """Without tracks that ride on another's boxes through most of their life: one person boxed twice."""
    place = np.full((len(tracks), len(obs.time_s), 4), np.nan)
    for row, boxes in enumerate(tracks):
        place[row, obs.frame[boxes]] = obs.xyxy[boxes]
    there = np.isfinite(place[..., 0])
    kept: list[int] = []
    for row in sorted(range(len(tracks)), key=lambda row: -float(obs.confidence[tracks[row]].sum())):
        shared = there[kept] & there[row]
        rides = np.flatnonzero(shared.sum(axis=1) >= np.maximum(1, 0.5 * there[row].sum()))
        who, when = np.nonzero(shared[rides])
        iou = paired_iou(place[row, when], place[np.array(kept, dtype=int)[rides][who], when])
        mean = np.bincount(who, weights=iou, minlength=len(rides)) / np.maximum(np.bincount(who, minlength=len(rides)), 1)
        if not (mean > settings.doubled_iou).any():
            kept.append(row)
    return [tracks[row] for row in sorted(kept)]
