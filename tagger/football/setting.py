"""From everybody in the picture to the rep's players in the play frame: which kit attacks, which way, from where, and who of
those on the field takes part.

Both teams, officials, coaches, the next huddle and the bench come in as tracks on the field; kits are only numbers here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from homography.field import LEVELS, WIDTH_YD
from homography.types import FieldTracks, FieldView
from tagger.football.linemen import BALL_AHEAD_YD, find_front, line_of
from tagger.football.sampling import Sampled, sample
from tagger.football.snap import Snap
from tagger.football.types import Abstention, PlayTracks, Situation
from tagger.football.ways import DEFENSE_DEPTH_YD, FEWEST_A_SIDE, OFFENSE_DEPTH_YD, Crowd, Side, see_it, turn
from vision.types import NO_KIT, BoolArray, FloatArray, IntArray

GRID_S = 0.05
OUTSIDE_YD = 0.7
"""Who stands farther than this outside the field at the snap is not in the rep."""
MOST_A_SIDE = 11
NEUTRAL_YD = 2.5
"""A man may stand this far on the wrong side of the line (the tracks' error, a wide stance)."""
RUNS_YD = 2.0
"""A man of no kit belongs to the rep if he runs this far in the first 1.5 s."""
LATE_S = 1.5
"""Linemen come out of each other's shadow within this after the snap."""
THERE_BEFORE_S, THERE_AFTER_S = 1.0, 2.5
STANDING_UNTIL_S = 0.2
SAME_MAN_YD = 0.75
LEAST_TICKS = 6
USUAL_OFFENSE_YD, USUAL_DEFENSE_YD = 8.0, 20.0
"""Deeper than this hardly anybody of a side stands who takes part."""
JOIN_GAP_S = 2.0
JOIN_SPEED_YD_S = 7.0
JOIN_SLACK_YD = 1.5


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
    seen = see_it(crowd, sampled)
    if seen is None:
        return Abstention("snap", "nobody starts from a stand against another team: the clip holds no snap, or begins after it")
    crowd, best = seen
    return _play(crowd, sampled, best, view, situation or Situation())


def _gather(tracks: FieldTracks) -> Crowd:
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
    return Crowd(times, ids[keep], kit[keep], xy[keep], sigma[keep], facing[keep])


def _line_yd(offense: FloatArray, between: float) -> float:
    """Line of scrimmage: just ahead of the linemen, as far as they stand at the zone between the teams; without linemen, of
    whoever does."""
    front = find_front(offense)
    at_zone = np.isfinite(offense[:, 0]) & (offense[:, 0] < between + 1.0) & (offense[:, 0] > between - 3.0)
    if len(front.linemen) >= 3 and at_zone[list(front.linemen)].all():
        return line_of(offense[list(front.linemen)])
    return float(np.median(offense[at_zone, 0]) + BALL_AHEAD_YD) if at_zone.sum() >= 3 else between


def _play(crowd: Crowd, sampled: Sampled, side: Side, view: FieldView, situation: Situation) -> PlayTracks | Abstention:
    turned = turn(sampled, side.direction)
    stance, travel = _stance(turned, side.snap), _travel(turned, side.snap)
    inside = (np.abs(stance[:, 1]) > -OUTSIDE_YD) & (np.abs(stance[:, 1]) < WIDTH_YD + OUTSIDE_YD)
    behind = side.line_yd - stance[:, 0]
    offense = _members(crowd, turned, side.snap, side.offense, inside & (behind > -NEUTRAL_YD) & (behind < OFFENSE_DEPTH_YD),
                       behind - USUAL_OFFENSE_YD, travel)
    offense = _with_passer(crowd, side, stance, offense, inside & (behind > -NEUTRAL_YD) & (behind < OFFENSE_DEPTH_YD))
    beyond = inside & (behind < NEUTRAL_YD) & (behind > -DEFENSE_DEPTH_YD) & ~np.isin(np.arange(len(behind)), offense)
    defense = _members(crowd, turned, side.snap, side.defense, beyond, -behind - USUAL_DEFENSE_YD, travel)
    if len(offense) < FEWEST_A_SIDE or len(defense) < FEWEST_A_SIDE:
        return Abstention("rep", f"only {len(offense)} on the offense and {len(defense)} on the defense could be followed "
                                 f"through the snap, {FEWEST_A_SIDE} a side are needed")
    line = _line_yd(stance[offense], side.line_yd)
    rows = np.concatenate([offense, defense])
    crowd = _join_pieces(crowd, rows)
    toward = np.array([side.direction, -side.direction], dtype=np.float64)
    origin = np.array([line, 0.0 if side.direction < 0 else -WIDTH_YD])
    facing = crowd.facing[rows]
    # Field angles grow toward +y, the play frame's toward the offense's right.
    facing = np.arctan2(-np.sin(facing) * side.direction, np.cos(facing) * side.direction)
    return PlayTracks(
        crowd.time_s, tuple(f"T{i}" for i in crowd.track_id[rows]),
        np.array(["offense"] * len(offense) + ["defense"] * len(defense)), crowd.xy[rows] * toward - origin, crowd.sigma[rows],
        facing, (None,) * len(rows), None, LEVELS[view.level].hash_yd if view.level else None, True, situation)


def _stance(turned: Sampled, snap: Snap) -> FloatArray:
    """(N, 2) where each man stood just before the snap; for who was hidden or out of the picture then, where he was first
    seen within LATE_S after it; NaN for everybody else."""
    at, until = turned.index(snap.time_s - 0.1), turned.index(snap.time_s + LATE_S)
    early = max(0, turned.index(snap.time_s - 0.6))
    stance = turned.xy_yd[:, at].copy()
    for i in [*range(at - 1, early - 1, -1), *range(at + 1, until + 1)]:
        missing = ~np.isfinite(stance[:, 0])
        stance[missing] = turned.xy_yd[missing, i]
    return stance


def _members(crowd: Crowd, turned: Sampled, snap: Snap, own: int, near: BoolArray, odd_yd: FloatArray,
             travel: FloatArray) -> IntArray:
    """Rows of one side: its kit, at most eleven, those who are there through the snap before those who come and go, nobody twice;
    with room left, men of no kit who run. `odd_yd` (N,) is how far from where his side plays a man stands."""
    low, high = turned.index(snap.time_s - THERE_BEFORE_S), turned.index(snap.time_s + THERE_AFTER_S) + 1
    path, standing = turned.xy_yd[:, low:high], turned.xy_yd[:, low:turned.index(snap.time_s + STANDING_UNTIL_S) + 1]
    there = np.isfinite(path[:, :, 0]).mean(axis=1)
    worth = there + 0.1 * np.minimum(travel, 3.0) - 0.1 * np.maximum(odd_yd, 0.0)
    chosen: list[int] = []
    for group in (near & (crowd.kit == own), near & (crowd.kit == NO_KIT) & (travel > RUNS_YD)):
        for man in sorted(np.flatnonzero(group).tolist(), key=lambda i: -worth[i]):
            if len(chosen) < MOST_A_SIDE and not any(
                    _same_man(path[man], path[other]) or _same_man(standing[man], standing[other]) for other in chosen):
                chosen.append(man)
    return np.sort(np.array(chosen, dtype=np.int64))


def _same_man(path: FloatArray, other: FloatArray) -> bool:
    """True for two tracks (T, 2) that run on each other through most of the first one's time: one man followed twice."""
    apart = np.linalg.norm(path - other, axis=1)
    both = np.isfinite(apart)
    return bool(both.sum() > max(0.6 * np.isfinite(path[:, 0]).sum(), LEAST_TICKS) and np.mean(apart[both]) < SAME_MAN_YD)


def _with_passer(crowd: Crowd, side: Side, stance: FloatArray, offense: IntArray, near: BoolArray) -> IntArray:
    """The offense with a passer in another colour (red: no contact), if it has none of its own."""
    if len(offense) >= MOST_A_SIDE:
        return offense
    without = find_front(stance[offense])
    for other in np.flatnonzero(near & (crowd.kit != side.offense) & (crowd.kit != side.defense) & (crowd.kit != NO_KIT)):
        with_him = np.append(offense, other)
        front = find_front(stance[with_him])
        better = without.passer is None or front.logit > without.logit
        if front.linemen and front.passer == len(offense) and better:
            return with_him
    return offense


def _travel(turned: Sampled, snap: Snap) -> FloatArray:
    """(N,) yards from where a man stood at the snap to where he is 1.5 s later; 0 where unseen."""
    at, later = turned.index(snap.time_s), turned.index(snap.time_s + 1.5)
    return np.asarray(np.nan_to_num(np.linalg.norm(turned.xy_yd[:, later] - turned.xy_yd[:, at], axis=1)))


def _join_pieces(crowd: Crowd, members: IntArray) -> Crowd:
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


def _possible_joins(crowd: Crowd, members: IntArray, free: set[int], first: IntArray, last: IntArray
                    ) -> Iterator[tuple[float, int, int]]:
    for member in members.tolist():
        for piece in free:
            gap_s = crowd.time_s[first[piece]] - crowd.time_s[last[member]]
            if 0.0 < gap_s <= JOIN_GAP_S and crowd.kit[piece] in (crowd.kit[member], NO_KIT):
                apart = float(np.linalg.norm(crowd.xy[piece, first[piece]] - crowd.xy[member, last[member]]))
                if apart < JOIN_SLACK_YD + JOIN_SPEED_YD_S * gap_s:
                    yield apart + 2.0 * gap_s, member, piece
