"""How the camera turned and zoomed between two looks, told by the crowd: where nearly all people are again in the same places,
only shifted and scaled, it was the camera that moved. After a cut their places fit no shift."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

SAME_PLACE = 0.35
"""Heights; a quarter of a second's walk."""
LEAST_PEOPLE, LEAST_SHARE = 4, 0.65
"""Who must be found again of those who can be, for the crowd to be the same one."""
LEAST_STAYED = 0.5
"""Of the people; a shift that takes more of them out of the picture says nothing."""
BORDER = 0.5
"""Heights from the picture's border; whoever is nearer may leave it, or come in."""
MOST_ZOOM, MOST_MOVED = 1.1, 5.0
"""Heights from look to look; more of it no operator does, but among many people some shift will fit."""
FEW, ROUNDS = 8, 4

Array = npt.NDArray[np.float64]


def now_from_before(before: Array, now: Array, height: Array, size_px: Array) -> Array:
    """(3, 3) shift and scale that takes the people's places in the look before, (N, 2) px, to those in this one, (M, 2), in a
    picture of `size_px` (2,); NaN if there is none. `height` (M,) px, how tall somebody is there."""
    found = np.full((3, 3), np.nan)
    if min(len(before), len(now)) < LEAST_PEOPLE:
        return found
    scale, shift = 1.0, _commonest(before, now, height)
    for _ in range(ROUNDS):
        first, then = _again(scale * before + shift, now, height)
        if len(first) < LEAST_PEOPLE:
            return found
        weight = 1.0 / height[then]
        of_before, of_now = (np.average(places, axis=0, weights=weight**2) for places in (before[first], now[then]))
        out, back = (before[first] - of_before) * weight[:, None], (now[then] - of_now) * weight[:, None]
        scale = float((out * back).sum() / max((out**2).sum(), 1e-9))
        shift = of_now - scale * of_before
    moved = np.linalg.norm(((scale - 1.0) * before + shift).mean(axis=0)) / float(np.median(height))
    if not 1.0 / MOST_ZOOM < scale < MOST_ZOOM or moved > MOST_MOVED:
        return found
    edge = BORDER * float(np.median(height))
    stayed, was_there = (((edge < places) & (places < size_px - edge)).all(axis=1).sum()
                         for places in (scale * before + shift, (now - shift) / scale))
    wanted = LEAST_SHARE * max(min(stayed, was_there), LEAST_STAYED * min(len(before), len(now)))
    if len(_again(scale * before + shift, now, height)[0]) >= max(LEAST_PEOPLE, wanted):
        found[:] = [[scale, 0.0, shift[0]], [0.0, scale, shift[1]], [0.0, 0.0, 1.0]]
    return found


def _commonest(before: Array, now: Array, height: Array) -> Array:
    """(2,) px: of all shifts that take one of a few people to somebody the one that takes most people to somebody."""
    few = before[::max(1, len(before) // FEW)]
    shifts = (now[None] - few[:, None]).reshape(-1, 2)
    off = np.linalg.norm(now - (before + shifts[:, None])[:, :, None], axis=3) / height
    best: Array = shifts[int((off.min(axis=2) < SAME_PLACE).sum(axis=1).argmax())]
    return best


def _again(expected: Array, now: Array, height: Array) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Who is found again where he was expected, one to one."""
    off = np.linalg.norm(now[None] - expected[:, None], axis=2) / height
    first, then = linear_sum_assignment(np.minimum(off, 3.0 * SAME_PLACE))
    near = off[first, then] < SAME_PLACE
    return first[near], then[near]
