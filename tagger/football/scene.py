"""One rep made ready for reading: everybody on one even time grid about the snap, and who is what on the offense."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from homography.field import LEVELS, WIDTH_YD
from tagger.football.linemen import STEPS_S, Front, find_front, line_of
from tagger.football.sampling import Sampled, sample
from tagger.football.types import PlayTracks
from vision.types import BoolArray, FloatArray, IntArray

STEP_S = 0.1
BEFORE_S = 4.0
LONGEST_S = 8.0
LONGEST_GAP_S = 0.7


FEWEST_LINEMEN = 3
FEWEST_TEAM = 17
"""So many men are no seven-on-seven (14, and a man who was followed twice), even if nobody looks like a lineman."""
MOST_RECEIVERS = 5
"""Eleven less five linemen and the passer."""
ON_LINE_YD, LINE_HALF_YD = 2.2, 5.0
BARE_TACKLE_YD = 3.2
"""Half width that a line of five would have, where there is none."""


@dataclass(frozen=True)
class Scene:
    """Times are relative to the snap. `time_s` (T,) from -BEFORE_S on, `snap` its index of 0. `xy` (N, T, 2) has no NaN:
    gaps are bridged in a straight line, ends held; `seen` (N, T) tells what is real. Row indices: `offense`, `defense`,
    `linemen` (left to right: five, fewer where some are hidden, the snapper alone, or none), `passer` (or None), `receivers`
    (the eligibles, from left to right). `ball` (2,): where the ball lies; `line_yd` the line of scrimmage as the linemen show
    it; `tackle_yd` the tackles' half width."""

    play: PlayTracks
    snap_s: float
    time_s: FloatArray
    snap: int
    sampled: Sampled
    xy: FloatArray
    velocity: FloatArray
    seen: BoolArray
    offense: IntArray
    defense: IntArray
    linemen: IntArray
    passer: int | None
    receivers: IntArray
    ball: FloatArray
    line_yd: float
    tackle_yd: float
    hash_yd: float

    def at(self, time_s: float) -> int:
        """Grid index of a time after the snap, kept inside the grid."""
        return int(np.clip(self.snap + round(time_s / STEP_S), 0, len(self.time_s) - 1))

    @property
    def full_line(self) -> bool:
        """True with linemen, False in seven-on-seven, in drills, and where they were not found."""
        return len(self.linemen) >= FEWEST_LINEMEN

    @property
    def team(self) -> bool:
        """True in a team period, False in seven-on-seven and drills: nobody rushes there."""
        return self.full_line or len(self.play.player_id) >= FEWEST_TEAM

    @property
    def last_s(self) -> float:
        """The last time on the grid, after the snap."""
        return float(self.time_s[-1])


def make_scene(play: PlayTracks, snap_s: float, front: Front | None = None) -> Scene:
    """Resample a play about its snap and name the men of the offense. Raises ValueError if nothing is left after the snap."""
    start = max(-BEFORE_S, float(play.time_s[0]) - snap_s)
    end = min(LONGEST_S, _last_seen_s(play.time_s - snap_s))
    if end < 0.3:
        raise ValueError(f"the tracks end {end:.1f} s after the snap: nothing to read")
    grid = np.arange(np.ceil(start / STEP_S), np.floor(end / STEP_S) + 1) * STEP_S
    sampled = sample(play.time_s - snap_s, _on_field(play), play.sigma_yd, play.facing_rad, grid)
    snap = int(np.argmin(np.abs(grid)))
    seen = np.any(np.all(np.isfinite(sampled.xy_yd), axis=2), axis=1)
    offense, defense = (np.flatnonzero((play.side == side) & seen) for side in ("offense", "defense"))
    if not len(offense) or not len(defense):
        raise ValueError(f"only {len(offense)} of the offense and {len(defense)} of the defense were followed")
    xy = _bridge(sampled.xy_yd)
    stance = xy[:, max(0, snap - 1)]
    if front is None or front.passer is None:
        front = find_front(stance[offense], xy[offense, min(snap + round(STEPS_S / STEP_S), len(grid) - 1)])
    plain = len(front.linemen) == 1 or front.plain
    linemen = offense[list(front.linemen)] if plain else offense[:0]
    passer = int(offense[front.passer]) if front.passer is not None else None
    receivers = np.array([i for i in offense if i not in linemen and i != passer], dtype=int)
    ball, line, tackle = _ball(stance, offense, linemen, passer)
    receivers = _eligible(stance, receivers, ball) if len(linemen) >= FEWEST_LINEMEN else receivers
    receivers = receivers[np.argsort(stance[receivers, 1], kind="stable")]
    return Scene(play, snap_s, grid, snap, sampled, xy, np.nan_to_num(sampled.velocity_yd_s), sampled.seen, offense, defense,
                 linemen, passer, receivers, ball, line, tackle, play.hash_yd or LEVELS["college"].hash_yd)


def _last_seen_s(time_s: FloatArray) -> float:
    """The last time before the film leaves the field for long, from the snap on; what is shown later says little of what went
    on meanwhile."""
    left = np.flatnonzero((np.diff(time_s) > LONGEST_GAP_S) & (time_s[1:] > 0.0))
    return float(time_s[left[0]] if len(left) else time_s[-1])


def _eligible(stance: FloatArray, receivers: IntArray, ball: FloatArray) -> IntArray:
    """At most MOST_RECEIVERS: who is over that number and stands on the line nearest to the ball is a lineman that was not told
    as one."""
    over = len(receivers) - MOST_RECEIVERS
    on_line = receivers[(ball[0] - stance[receivers, 0] < ON_LINE_YD) & (np.abs(stance[receivers, 1] - ball[1]) < LINE_HALF_YD)]
    if over <= 0 or not len(on_line):
        return receivers
    nearest = on_line[np.argsort(np.abs(stance[on_line, 1] - ball[1]), kind="stable")[:over]]
    return receivers[~np.isin(receivers, nearest)]


def _on_field(play: PlayTracks) -> FloatArray:
    """Positions; without known sidelines the offense's middle is put on the middle of the field."""
    if play.across_known:
        return play.xy_yd
    middle = np.nanmedian(play.xy_yd[play.side == "offense", :, 1])
    shifted: FloatArray = play.xy_yd + np.array([0.0, WIDTH_YD / 2 - middle])
    return shifted


def _ball(stance: FloatArray, offense: IntArray, linemen: IntArray, passer: int | None) -> tuple[FloatArray, float, float]:
    """Ball spot, line of scrimmage and the tackles' half width, from where the offense stands."""
    if len(linemen):
        line = line_of(stance[linemen])
        middle = (float(stance[linemen[len(linemen) // 2], 1]) if len(linemen) in (1, 5) or passer is None
                  else float(stance[passer, 1]))
        tackle = float(np.ptp(stance[linemen, 1]) / 2) if len(linemen) == 5 else BARE_TACKLE_YD
        return np.array([line, middle]), line, tackle
    across = float(stance[passer, 1]) if passer is not None else float(np.median(stance[offense, 1]))
    return np.array([0.0, across]), 0.0, BARE_TACKLE_YD


def _bridge(xy: FloatArray) -> FloatArray:
    """NaN gaps filled in a straight line, ends held; a man never seen stands far behind the offense, out of everything."""
    out = xy.copy()
    ticks = np.arange(xy.shape[1])
    for man in out:
        known = np.isfinite(man[:, 0])
        if not known.any():
            man[:] = (-40.0, WIDTH_YD / 2)
        elif not known.all():
            for axis in range(2):
                man[~known, axis] = np.interp(ticks[~known], ticks[known], man[known, axis])
    return out
