"""Which of two teams attacks, which way, over which line: every way to see a rep is weighed.

Kits are only numbers here. Where they do not tell two teams apart, the places at the snap do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tagger.football.linemen import STEPS_S, find_front
from tagger.football.sampling import Sampled
from tagger.football.snap import Snap, find_snap
from vision.types import NO_KIT, BoolArray, FloatArray, IntArray

FEWEST_A_SIDE = 3
OFFENSE_DEPTH_YD = 10.0
"""Farther behind the line stand those who wait for their turn."""
DEFENSE_DEPTH_YD = 32.0
MOVER_YD = 1.5
"""Who keeps within this over the whole clip waits or watches."""
FRONT_WEIGHT, FRONT_RANGE, FRONT_UNKNOWN = 0.08, (-25.0, 10.0), -8.0
DEEP_MOVER_YD = 2.5
PLAINLY_APART = 0.88
"""Two kits of which a larger share stands on the wrong side of every line are not the two teams."""
FEWEST_TO_PART, MOST_TO_PART = 5, 14
NEUTRAL_GAP_YD = 0.3
LEAST_LOOKS = 1.0


@dataclass(frozen=True)
class Crowd:
    """Everybody on one time base: `xy` (N, T, 2) field yards, NaN where not seen; `kit` (N,), `track_id` (N,)."""

    time_s: FloatArray
    track_id: IntArray
    kit: IntArray
    xy: FloatArray
    sigma: FloatArray
    facing: FloatArray


@dataclass(frozen=True)
class Side:
    """One way to see the rep: kit `offense` attacks toward `direction` (+1: +x) over `line_yd` (field positions turned so that
    it attacks toward +x), snapping at `snap`; `apart` is the mean share of each on its own side of it, `value` ranks it."""

    offense: int
    defense: int
    direction: int
    snap: Snap
    line_yd: float
    apart: float
    value: float


def see_it(crowd: Crowd, sampled: Sampled) -> tuple[Crowd, Side] | None:
    """The best way to see the rep, and the crowd with the kits that it goes by; None where nobody starts from a stand against
    another team."""
    moves = _range_yd(sampled) > MOVER_YD
    best = max(_ways_to_see_it(crowd, sampled, moves), key=lambda side: side.value, default=None)
    if best is not None and best.apart >= PLAINLY_APART:
        return crowd, best
    parted = _by_place(crowd, sampled, moves, best)
    return parted if parted is not None else None if best is None else (crowd, best)


def _ways_to_see_it(crowd: Crowd, sampled: Sampled, moves: BoolArray) -> Iterator[Side]:
    """Either of the two largest kits attacking, toward either goal, each with its best snap."""
    kits, counts = np.unique(crowd.kit[(crowd.kit != NO_KIT) & moves], return_counts=True)
    teams = kits[np.argsort(-counts, kind="stable")][:2]
    for offense in teams:
        for defense in teams:
            if offense != defense:
                for direction in (1, -1):
                    side = _see_it_so(crowd, sampled, moves, int(offense), int(defense), direction)
                    if side is not None:
                        yield side


def _range_yd(sampled: Sampled, first: int = 0, stop: int | None = None) -> FloatArray:
    """(N,) how far each man moves over the clip, or between two grid indices: who waits for his turn stands."""
    xy, seen = sampled.xy_yd[:, first:stop], sampled.seen[:, first:stop]
    low = np.where(seen[:, :, None], xy, np.inf).min(axis=1, initial=np.inf)
    high = np.where(seen[:, :, None], xy, -np.inf).max(axis=1, initial=-np.inf)
    return np.where(seen.any(axis=1), np.linalg.norm(np.where(np.isfinite(high), high - low, 0.0), axis=1), 0.0)


def _see_it_so(crowd: Crowd, sampled: Sampled, moves: BoolArray, offense: int, defense: int, direction: int) -> Side | None:
    both = np.flatnonzero(((crowd.kit == offense) | (crowd.kit == defense)) & moves)
    turned = turn(sampled.rows(both), direction)
    attacks = crowd.kit[both] == offense
    snap = find_snap(turned, attacks)
    if snap is None:
        return None
    here = turned.xy_yd[:, turned.index(snap.time_s - 0.1), 0]
    if np.isfinite(here[attacks]).sum() < FEWEST_A_SIDE or np.isfinite(here[~attacks]).sum() < FEWEST_A_SIDE:
        return None
    line, apart = _neutral_zone(here[attacks], here[~attacks])
    looks = _attack(turned, snap, line, attacks) - _attack(turn(turned, -1), snap, -line, ~attacks)
    return Side(offense, defense, direction, snap, line, apart, 20.0 * apart + looks + snap.confidence)


def _by_place(crowd: Crowd, sampled: Sampled, moves: BoolArray, by_kit: Side | None) -> tuple[Crowd, Side] | None:
    """The teams told apart by where they stand at the snap, for kits that do not tell (vests over one team's shirts): the crowd
    with a kit for each side of the best line, and that way to see it. None where no line parts two teams better than kits do."""
    men = np.flatnonzero(moves)
    best: tuple[float, Side, BoolArray] | None = None
    for direction in (1, -1):
        turned = turn(sampled.rows(men), direction)
        rough = find_snap(turned, np.ones(len(men), dtype=np.bool_))
        if rough is None:
            continue
        here = turned.xy_yd[:, turned.index(rough.time_s - 0.1), 0]
        for line in _gaps(here):
            attacks = (here < line) & (here > line - OFFENSE_DEPTH_YD)
            against = (here > line) & (here < line + DEFENSE_DEPTH_YD)
            if min(attacks.sum(), against.sum()) < FEWEST_TO_PART or max(attacks.sum(), against.sum()) > MOST_TO_PART:
                continue
            looks = _attack(turned, rough, line, attacks) - _attack(turn(turned, -1), rough, -line, against)
            looks += _purity(crowd.kit[men], attacks, against) - 0.15 * abs(int(attacks.sum()) - int(against.sum()))
            if best is None or looks > best[0]:
                snap = find_snap(turned.rows(attacks | against), attacks[attacks | against], rough.time_s) or rough
                best = looks, Side(0, 1, direction, snap, line, 1.0, looks), np.where(attacks, 0, np.where(against, 1, NO_KIT))
    if best is None or (by_kit is not None and best[0] < LEAST_LOOKS):
        return None
    kit = np.full(len(crowd.kit), NO_KIT, dtype=np.int64)
    kit[men] = best[2]
    return replace(crowd, kit=kit), best[1]


def _gaps(depth: FloatArray) -> FloatArray:
    """Middles between neighbours in depth that leave a neutral zone."""
    every = np.sort(depth[np.isfinite(depth)])
    return np.asarray(((every[1:] + every[:-1]) / 2)[np.diff(every) > NEUTRAL_GAP_YD])


def _purity(kit: IntArray, attacks: BoolArray, against: BoolArray) -> float:
    """How much a kit belongs to one side: the largest difference of a kit's shares, 0 to 1."""
    shares = [(np.mean(kit[attacks] == k) - np.mean(kit[against] == k)) for k in np.unique(kit[kit != NO_KIT])]
    return float(np.max(np.abs(shares), initial=0.0))


def _neutral_zone(offense: FloatArray, defense: FloatArray) -> tuple[float, float]:
    """The line between two teams, and the mean share of each that is on its own side of it."""
    offense, defense = offense[np.isfinite(offense)], defense[np.isfinite(defense)]
    every = np.sort(np.concatenate([offense, defense]))
    cuts = (every[1:] + every[:-1]) / 2
    right = (np.mean(offense[None] < cuts[:, None], axis=1) + np.mean(defense[None] > cuts[:, None], axis=1)) / 2
    best = np.flatnonzero(right >= right.max() - 1e-9)
    return float(np.median(cuts[best])), float(right.max())


def _attack(turned: Sampled, snap: Snap, line: float, team: BoolArray) -> float:
    """How much a team looks like the offense: its runners get far over the line, seven of it stand on the line (the rulebooks'
    seven: NFHS 7-2-5, NCAA 7-1-4, NFL 7-5-1, numbers from memory), five of those and one behind them like linemen and a passer,
    and nobody who takes part plays deep."""
    at, later = turned.index(snap.time_s - 0.1), turned.index(snap.time_s + 2.5)
    start = turned.xy_yd[team, at]
    path = turned.xy_yd[team, at : later + 1, 0]
    beyond = np.where(np.isfinite(path), path, -np.inf).max(axis=1, initial=-np.inf) - line
    runners = np.sort(np.clip(beyond, 0.0, 12.0))[::-1][:5].sum() / 5.0
    on_line = min(7, int((line - start[:, 0] < 2.0).sum()))
    takes_part = _range_yd(turned.rows(team), at, later + 1) > DEEP_MOVER_YD
    deep = min(3, int(((line - start[:, 0] > 8.5) & takes_part).sum()))
    close = team & (np.abs(turned.xy_yd[:, at, 0] - line) < OFFENSE_DEPTH_YD)
    front = find_front(turned.xy_yd[close, at], turned.xy_yd[close, turned.index(snap.time_s + STEPS_S)])
    looks = np.clip(front.logit, *FRONT_RANGE) if np.isfinite(front.logit) else FRONT_UNKNOWN
    return float(0.25 * runners + 0.15 * on_line - 0.4 * deep + FRONT_WEIGHT * looks)


def turn(sampled: Sampled, direction: int) -> Sampled:
    """Field positions turned so that the offense attacks toward +x and its right is +y."""
    turn = np.array([direction, -direction], dtype=np.float64)
    return replace(sampled, xy_yd=sampled.xy_yd * turn, velocity_yd_s=sampled.velocity_yd_s * turn,
                   acceleration_yd_s2=sampled.acceleration_yd_s2 * turn)
