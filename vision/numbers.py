"""The number on a man's shirt: a vote of the looks over his whole track. Says nothing unless it is sure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.facing import Looked
from vision.sights import Sight
from vision.types import FloatArray

NUMBERS = 100
"""0 to 99."""
INDEPENDENT_S = 0.35
"""Looks nearer in time than this show the same: together they count as one."""
SHARPNESS = 0.6
"""Looks of the same man err alike, so each counts less than if it stood alone."""
ODD_SHARE = 0.1
"""Chance that a readable look shows somebody else's number, or none."""
LEAST_READABLE = 0.5
SURE = 0.999
LEAST_WEIGHT = 2.0
"""Looks' worth that an answer wants."""
MOST_AGAINST_NATS = 2.0
"""No stretch of a track may speak for another number by more: then part of it is another man."""


@dataclass(frozen=True)
class Number:
    """A shirt number, how sure (0..1), and how many looks' worth of evidence stand behind it."""

    number: int
    confidence: float
    weight: float


def read_numbers(looked: Sequence[Looked], sights: Sequence[Sequence[Sight | None]], time_s: Sequence[FloatArray]
                 ) -> dict[int, Number]:
    """Track id to number, for those who can be told. One entry a view: whose the boxes are, what they showed, when (by entry)."""
    votes: dict[int, list[tuple[float, FloatArray, float]]] = {}
    for view, (owners, shown, when) in enumerate(zip(looked, sights, time_s, strict=True)):
        for entry, box, man in zip(owners.entry.tolist(), owners.box.tolist(), owners.track_id.tolist(), strict=True):
            sight = shown[entry]
            if sight is not None and sight.readable[box] >= LEAST_READABLE:
                # The cameras see different sides of him, so their looks never are the same one.
                votes.setdefault(man, []).append((when[entry] + 1e4 * view, likelihood(sight, box), float(sight.readable[box])))
    told = {man: vote([at for at, _, _ in cast], np.array([log for _, log, _ in cast]), np.array([w for _, _, w in cast]))
            for man, cast in votes.items()}
    return {man: number for man, number in told.items() if number is not None}


def likelihood(sight: Sight, box: int) -> FloatArray:
    """(100,) log likelihood of every number by one look."""
    tens, units = sight.tens[box].astype(np.float64), sight.units[box].astype(np.float64)
    # Numbers below ten have no tens; 00 and 07 are not worn.
    log = np.concatenate([tens[10] + units, (tens[1:10, None] + units[None]).ravel()])
    p = np.exp(SHARPNESS * (log - log.max()))
    told: FloatArray = np.log((1 - ODD_SHARE) * p / p.sum() + ODD_SHARE / NUMBERS)
    return told


def vote(time_s: Sequence[float], log: FloatArray, readable: FloatArray) -> Number | None:
    """The number that looks (V, 100) of one man agree on, None if they do not. Each counts by how readable it was, and less
    where many are crowded into a moment."""
    order = np.argsort(time_s, kind="stable")
    at, log, readable = np.asarray(time_s)[order], log[order], readable[order]
    crowd = np.maximum((np.abs(at[:, None] - at[None]) < INDEPENDENT_S / 2).sum(axis=1), 1)
    weight = readable / crowd
    log = weight[:, None] * log
    total = log.sum(axis=0)
    p = np.exp(total - total.max())
    p /= p.sum()
    best = int(p.argmax())
    if p[best] < SURE or weight.sum() < LEAST_WEIGHT or _most_against(log - log[:, [best]]) > MOST_AGAINST_NATS:
        return None
    return Number(best, float(p[best]), float(weight.sum()))


def _most_against(rather: FloatArray) -> float:
    """The largest sum over any stretch of looks of what they say rather for another number, (V, 100) in order of time."""
    most = running = np.zeros(rather.shape[1])
    for look in rather:
        running = np.maximum(running + look, 0.0)
        most = np.maximum(most, running)
    return float(most.max())
