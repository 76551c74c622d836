"""From everybody in the picture to the rep's players in the play frame: which kit attacks, which way, from where, and who of
those on the field takes part.

Both teams, officials, coaches, the next huddle and the bench come in as tracks on the field; kits are only numbers here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from homography.field import LEVELS, WIDTH_YD
from homography.types import FieldTracks, FieldView
from tagger.football.linemen import Front, find_front
from tagger.football.sampling import Sampled, sample
from tagger.football.scene import BALL_AHEAD_YD
from tagger.football.snap import Snap, find_snap
from tagger.football.types import Abstention, PlayTracks, Situation
from vision.types import NO_KIT, BoolArray, FloatArray, IntArray

GRID_S = 0.05
OUTSIDE_YD = 0.7
"""Who stands farther than this outside the field at the snap is not in the rep."""
MOST_A_SIDE = 11
FEWEST_A_SIDE = 3
OFFENSE_DEPTH_YD = 10.0
"""Farther behind the line stand those who wait for their turn."""
DEFENSE_DEPTH_YD = 32.0
NEUTRAL_YD = 2.5
"""A man may stand this far on the wrong side of the line (the tracks' error, a wide stance)."""
PLAIN_MISFIT_YD = 2.5
JOIN_GAP_S = 2.0
JOIN_SPEED_YD_S = 7.0
JOIN_SLACK_YD = 1.5


@dataclass(frozen=True)
class _Crowd:
    """Everybody on one time base: `xy` (N, T, 2) field yards, NaN where not seen; `kit` (N,), `track_id` (N,)."""

    time_s: FloatArray
    track_id: IntArray
    kit: IntArray
    xy: FloatArray
    sigma: FloatArray
    facing: FloatArray


@dataclass(frozen=True)
class _Side:
    """One way to see the rep: kit `offense` attacks toward `direction` (+1: +x), snapping at `snap`; `value` ranks it."""

    offense: int
    defense: int
    direction: int
    snap: Snap
    value: float


def play_from_field(tracks: FieldTracks, view: FieldView, situation: Situation | None = None) -> PlayTracks | Abstention:
    """The rep's players in the play frame, each named after his track ("T12"), or why there is none."""
    crowd = _gather(tracks)
    if len(crowd.track_id) < 2 * FEWEST_A_SIDE:
        return Abstention("rep", f"only {len(crowd.track_id)} people could be followed on the field, a rep needs at least "
                                 f"{FEWEST_A_SIDE} a side")
    grid = np.arange(crowd.time_s[0], crowd.time_s[-1], GRID_S)
    if len(grid) < 30:
        return Abstention("rep", f"only {crowd.time_s[-1] - crowd.time_s[0]:.1f} s of players on the field")
    sampled = sample(crowd.time_s, crowd.xy, crowd.sigma, crowd.facing, grid)
    sides = list(_ways_to_see_it(crowd, sampled))
    if not sides:
        return Abstention("snap", "nobody starts from a stand against another team: the clip holds no snap, or begins after it")
    best = max(sides, key=lambda side: side.value)
    return _play(crowd, sampled, best, view, situation or Situation())


def _gather(tracks: FieldTracks) -> _Crowd:
    """Tracks that are on the field for most of their time, on the clip's own frames."""
    times, column = np.unique(tracks.time_s, return_inverse=True)
    ids, row = np.unique(tracks.track_id, return_inverse=True)
    shape = (len(ids), len(times))
    xy, sigma, facing = np.full((*shape, 2), np.nan), np.full(shape, np.nan), np.full(shape, np.nan)
    xy[row, column], sigma[row, column], facing[row, column] = tracks.xy_yd, tracks.sigma_yd, tracks.facing_rad
    kit = np.full(len(ids), NO_KIT, dtype=np.int64)
    kit[row] = tracks.kit_id
    inside = (xy[:, :, 1] > -OUTSIDE_YD) & (xy[:, :, 1] < WIDTH_YD + OUTSIDE_YD)
    seen = np.isfinite(xy[:, :, 0])
    keep = (inside.sum(axis=1) > 0.5 * seen.sum(axis=1)) & (seen.sum(axis=1) >= 5)
    return _Crowd(times, ids[keep], kit[keep], xy[keep], sigma[keep], facing[keep])


def _ways_to_see_it(crowd: _Crowd, sampled: Sampled) -> Iterator[_Side]:
    """Either of the two largest kits attacking, toward either goal, each with its best snap."""
    kits, counts = np.unique(crowd.kit[crowd.kit != NO_KIT], return_counts=True)
    teams = kits[np.argsort(-counts, kind="stable")][:2]
    for offense in teams:
        for defense in teams:
            if offense != defense:
                for direction in (1, -1):
                    side = _see_it_so(crowd, sampled, int(offense), int(defense), direction)
                    if side is not None:
                        yield side


def _see_it_so(crowd: _Crowd, sampled: Sampled, offense: int, defense: int, direction: int) -> _Side | None:
    both = np.flatnonzero((crowd.kit == offense) | (crowd.kit == defense))
    turned = _turn(sampled.rows(both), direction)
    attacks = crowd.kit[both] == offense
    snap = find_snap(turned, attacks)
    if snap is None:
        return None
    at, later = turned.index(snap.time_s - 0.1), turned.index(snap.time_s + 1.2)
    here, there = turned.xy_yd[:, at], turned.xy_yd[:, later]
    if np.isfinite(here[attacks, 0]).sum() < FEWEST_A_SIDE or np.isfinite(here[~attacks, 0]).sum() < FEWEST_A_SIDE:
        return None
    line = _line_yd(here[attacks], snap.front)
    faced = np.nanmean(here[~attacks, 0] > line - NEUTRAL_YD) + np.nanmean(here[attacks, 0] < line + NEUTRAL_YD) - 1.0
    flow = np.nanmedian(np.clip(there[:, 0] - here[:, 0], -5.0, 5.0)) / 5.0
    plain = 1.0 if snap.front.misfit_yd < PLAIN_MISFIT_YD else 0.0
    passer = 0.3 if snap.front.passer is not None else 0.0
    return _Side(offense, defense, direction, snap, float(snap.confidence + 1.5 * faced + 0.5 * flow + 0.7 * plain + passer))


def _turn(sampled: Sampled, direction: int) -> Sampled:
    """Field positions turned so that the offense attacks toward +x and its right is +y."""
    turn = np.array([direction, -direction], dtype=np.float64)
    return replace(sampled, xy_yd=sampled.xy_yd * turn, velocity_yd_s=sampled.velocity_yd_s * turn,
                   acceleration_yd_s2=sampled.acceleration_yd_s2 * turn)


def _line_yd(offense: FloatArray, front: Front) -> float:
    """Line of scrimmage: just ahead of the centre; without linemen, the foremost third of the offense."""
    if front.linemen:
        return float(offense[front.linemen[len(front.linemen) // 2], 0] + BALL_AHEAD_YD)
    foremost = np.sort(offense[np.isfinite(offense[:, 0]), 0])[::-1]
    return float(np.median(foremost[: max(2, len(foremost) // 2)]) + BALL_AHEAD_YD)


def _play(crowd: _Crowd, sampled: Sampled, side: _Side, view: FieldView, situation: Situation) -> PlayTracks | Abstention:
    turned = _turn(sampled, side.direction)
    at = turned.index(side.snap.time_s - 0.1)
    both = np.flatnonzero((crowd.kit == side.offense) | (crowd.kit == side.defense))
    line = _line_yd(turned.xy_yd[both][crowd.kit[both] == side.offense, at], side.snap.front)
    offense = _offense(crowd, turned, side, at, line)
    defense = _defense(crowd, turned, side, at, line, offense)
    if len(offense) < FEWEST_A_SIDE or len(defense) < FEWEST_A_SIDE:
        return Abstention("rep", f"only {len(offense)} on the offense and {len(defense)} on the defense could be followed "
                                 f"through the snap, {FEWEST_A_SIDE} a side are needed")
    crowd = _join_pieces(crowd, np.concatenate([offense, defense]))
    rows = np.concatenate([offense, defense])
    turn = np.array([side.direction, -side.direction], dtype=np.float64)
    origin = np.array([line, 0.0 if side.direction < 0 else -WIDTH_YD])
    facing = crowd.facing[rows]
    # Field angles grow toward +y, the play frame's toward the offense's right.
    facing = np.arctan2(-np.sin(facing) * side.direction, np.cos(facing) * side.direction)
    return PlayTracks(
        crowd.time_s, tuple(f"T{i}" for i in crowd.track_id[rows]),
        np.array(["offense"] * len(offense) + ["defense"] * len(defense)), crowd.xy[rows] * turn - origin, crowd.sigma[rows],
        facing, (None,) * len(rows), None, LEVELS[view.level].hash_yd if view.level else None, True, situation)


def _offense(crowd: _Crowd, turned: Sampled, side: _Side, at: int, line: float) -> IntArray:
    """Rows of the offense: its kit close behind the line, and a passer in another colour (red: no contact)."""
    here = turned.xy_yd[:, at]
    near = _inside(crowd, turned, at) & (here[:, 0] < line + NEUTRAL_YD) & (here[:, 0] > line - OFFENSE_DEPTH_YD)
    men = np.flatnonzero(near & (crowd.kit == side.offense))
    men = _fewest(men, np.abs(here[men, 0] - line + 1.0) - 0.5 * _travel(turned, at)[men])
    if find_front(here[men]).passer is None and len(men) < MOST_A_SIDE:
        for other in np.flatnonzero(near & (crowd.kit != side.offense) & (crowd.kit != side.defense)):
            with_him = np.append(men, other)
            front = find_front(here[with_him])
            if front.linemen and front.passer == len(men):
                return with_him
    return men


def _defense(crowd: _Crowd, turned: Sampled, side: _Side, at: int, line: float, offense: IntArray) -> IntArray:
    """Rows of the defense: its kit beyond the line, and who comes into the picture after the snap."""
    here = turned.xy_yd[:, at]
    near = _inside(crowd, turned, at) & (here[:, 0] > line - NEUTRAL_YD) & (here[:, 0] < line + DEFENSE_DEPTH_YD)
    men = np.flatnonzero(near & (crowd.kit == side.defense))
    men = _fewest(men, here[men, 0] - line - 2.0 * _travel(turned, at)[men])
    if len(men) >= min(MOST_A_SIDE, len(offense)):
        return men
    unsure = np.flatnonzero(near & (crowd.kit == NO_KIT) & (_travel(turned, at) > 2.0))
    unsure = unsure[~np.isin(unsure, offense)][: MOST_A_SIDE - len(men)]
    return np.concatenate([men, unsure])


def _inside(crowd: _Crowd, turned: Sampled, at: int) -> BoolArray:
    y = np.abs(turned.xy_yd[:, at, 1])
    out: BoolArray = (y > -OUTSIDE_YD) & (y < WIDTH_YD + OUTSIDE_YD)
    return out


def _travel(turned: Sampled, at: int) -> FloatArray:
    """(N,) yards from where a man stood at the snap to where he is 1.5 s later; 0 where unseen."""
    later = min(at + round(1.5 / GRID_S), len(turned.time_s) - 1)
    return np.nan_to_num(np.linalg.norm(turned.xy_yd[:, later] - turned.xy_yd[:, at], axis=1))


def _fewest(men: IntArray, cost: FloatArray) -> IntArray:
    """At most eleven, the cheapest."""
    return np.sort(men[np.argsort(cost, kind="stable")[:MOST_A_SIDE]])


def _join_pieces(crowd: _Crowd, members: IntArray) -> _Crowd:
    """Give a member whose track breaks off the piece of the same kit that goes on where he must be. Positions between stay
    unknown; his name stays that of his first track."""
    xy, sigma, facing = crowd.xy.copy(), crowd.sigma.copy(), crowd.facing.copy()
    seen = np.isfinite(crowd.xy[:, :, 0])
    first, last = seen.argmax(axis=1), seen.shape[1] - 1 - seen[:, ::-1].argmax(axis=1)
    free = set(range(len(crowd.track_id))) - set(members.tolist())
    joins = sorted(_possible_joins(crowd, members, free, first, last))
    taken: set[int] = set()
    for _, member, piece in joins:
        if member not in taken and piece in free:
            taken.add(member)
            free.discard(piece)
            span = slice(first[piece], last[piece] + 1)
            xy[member, span], sigma[member, span], facing[member, span] = xy[piece, span], sigma[piece, span], facing[piece, span]
    return replace(crowd, xy=xy, sigma=sigma, facing=facing)


def _possible_joins(crowd: _Crowd, members: IntArray, free: set[int], first: IntArray, last: IntArray
                    ) -> Iterator[tuple[float, int, int]]:
    for member in members.tolist():
        for piece in free:
            gap_s = crowd.time_s[first[piece]] - crowd.time_s[last[member]]
            if 0.0 < gap_s <= JOIN_GAP_S and crowd.kit[piece] in (crowd.kit[member], NO_KIT):
                apart = float(np.linalg.norm(crowd.xy[piece, first[piece]] - crowd.xy[member, last[member]]))
                if apart < JOIN_SLACK_YD + JOIN_SPEED_YD_S * gap_s:
                    yield apart + 2.0 * gap_s, member, piece
