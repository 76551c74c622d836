"""What is measured of a defender for telling his role: where he is at a few moments, what he watches, whom he goes with.

A man's measures form one vector; a zone role looks at it with the receiver nearest to him, a man role with the receiver
that it names. Roles are kept in their left form: for a role on the right the field is mirrored.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from homography.field import WIDTH_YD
from tagger.football.scene import Scene
from vision.types import BoolArray, FloatArray, IntArray

MOMENTS_S = (0.0, 0.9, 1.7, 2.5, 3.1)
"""After the snap: stance, read, drop, landmark. The throw comes at about 2.7 s."""
LATEST_S = 3.1
PAIR_UNTIL_S = 2.6
PAIR_FROM_S = 0.8
PLACE = tuple(f"{axis}_{moment:.1f}" for moment in MOMENTS_S for axis in ("depth", "across"))
SELF = (*PLACE, "cushion", "eyes_on_passer", "pace")
PAIR = ("gap", "gap_end", "goes_with", "eyes_on_man", "alignment", "slide")
CONTEXT = ("ball", "strength")
"""What is given, not measured of him: where the ball lies across from the middle, receivers right of it less those left of
it. Landmarks lie by the field, the ball and the receivers at once, so a role is judged given these."""
MEASURES = (*SELF, *PAIR, *CONTEXT)
ACROSS = np.array([i for i, name in enumerate(MEASURES) if name.startswith("across") or name in CONTEXT])
NEAR_ACROSS_YD = 9.0


@dataclass(frozen=True)
class Measured:
    """`self_` (D, len(SELF)) and `pair` (D, R, len(PAIR)) of D defenders and R receivers at `time_s` after the snap, NaN
    where not known (yet); `defenders`, `receivers` are rows of the scene."""

    time_s: float
    defenders: IntArray
    receivers: IntArray
    self_: FloatArray
    pair: FloatArray
    context: FloatArray

    def with_nearest(self) -> FloatArray:
        """(D, M) measures with the receiver who is nearest over the play: what a zone role looks at."""
        return self._rows(self.pair[np.arange(len(self.self_)), self.nearest()])

    def with_receiver(self, receiver: int) -> FloatArray:
        """(D, M) measures with one receiver (a column of `pair`)."""
        return self._rows(self.pair[:, receiver])

    def _rows(self, pair: FloatArray) -> FloatArray:
        return np.concatenate([self.self_, pair, np.tile(self.context, (len(pair), 1))], axis=1)

    def nearest(self) -> IntArray:
        """(D,) column of the receiver who is nearest over the play so far."""
        gap = self.pair[:, :, 0] if np.isfinite(self.pair[:, :, 0]).all() else self.pair[:, :, 4]
        return np.asarray(np.argmin(np.where(np.isfinite(gap), gap, np.inf), axis=1))


def measure(scene: Scene, defenders: IntArray, time_s: float) -> Measured:
    """Measure `defenders` (rows of the scene) from the snap until `time_s` after it.

    depth/across in yd (across from the middle of the field); cushion: depth over the deepest receiver within
    NEAR_ACROSS_YD; eyes: mean cosine between facing and the direction to the passer, to the man less to the passer;
    pace: log of the mean speed; gap: log of the distance, mean and last; goes_with: correlation of the two velocities;
    alignment: log of how far apart across at the snap; slide: log of the spread of the difference across.
    """
    until = min(time_s, scene.last_s)
    place = np.full((len(defenders), len(PLACE)), np.nan)
    for k, moment in enumerate(MOMENTS_S):
        if moment <= until + 0.15:
            i = scene.at(min(moment, until))
            known = _known_about(scene, defenders, i)
            place[:, 2 * k] = np.where(known, scene.xy[defenders, i, 0] - scene.line_yd, np.nan)
            place[:, 2 * k + 1] = np.where(known, scene.xy[defenders, i, 1] - WIDTH_YD / 2, np.nan)
    start, stop = scene.at(PAIR_FROM_S), scene.at(min(until, PAIR_UNTIL_S)) + 1
    own, pair = _over(scene, defenders, start, stop)
    right = scene.xy[scene.receivers, scene.snap, 1] - scene.ball[1]
    context = np.array([scene.ball[1] - WIDTH_YD / 2, float(np.sign(right).sum())])
    return Measured(until, defenders, scene.receivers, np.concatenate([place, own], axis=1), pair, context)


def _known_about(scene: Scene, rows: IntArray, i: int) -> BoolArray:
    """Seen within 0.3 s of a moment."""
    return np.asarray(scene.seen[rows, max(0, i - 3) : i + 4].any(axis=1))


def _over(scene: Scene, defenders: IntArray, start: int, stop: int) -> tuple[FloatArray, FloatArray]:
    """The measures over the window, (D, 3) own and (D, R, 6) with each receiver; NaN while the window is too short."""
    receivers = scene.receivers
    own = np.full((len(defenders), 3), np.nan)
    pair = np.full((len(defenders), len(receivers), len(PAIR)), np.nan)
    apart = np.abs(scene.xy[defenders, scene.snap, 1][:, None] - scene.xy[receivers, scene.snap, 1][None])
    pair[:, :, 4] = np.log1p(apart)
    if stop - start < 4 or not len(receivers) or not len(defenders):
        return own, pair
    at, them = scene.xy[defenders, start:stop], scene.xy[receivers, start:stop]
    speed, theirs = scene.velocity[defenders, start:stop], scene.velocity[receivers, start:stop]
    to_man = them[None] - at[:, None]
    distance = np.linalg.norm(to_man, axis=3)
    pair[:, :, 0], pair[:, :, 1] = np.log(distance + 0.7).mean(axis=2), np.log(distance[:, :, -1] + 0.7)
    power = (speed**2).sum(axis=(1, 2))[:, None] * (theirs**2).sum(axis=(1, 2))[None]
    pair[:, :, 2] = np.einsum("dtc,rtc->dr", speed, theirs) / (np.sqrt(power) + 0.5)
    pair[:, :, 5] = np.log((at[:, None, :, 1] - them[None, :, :, 1]).std(axis=2) + 0.3)
    near = np.abs(to_man[:, :, -1, 1]) < NEAR_ACROSS_YD
    deepest = np.maximum(np.where(near, them[None, :, -1, 0] - scene.line_yd, 0.0).max(axis=1), 0.0)
    own[:, 0] = np.clip(at[:, -1, 0] - scene.line_yd - deepest, -10.0, 15.0)
    own[:, 2] = np.log(np.abs(speed).mean(axis=(1, 2)) + 0.3)
    own[:, 1], pair[:, :, 3] = _eyes(scene, defenders, at, to_man, start, stop)
    return _blank_unseen(scene, defenders, own, pair, start, stop)


def _eyes(scene: Scene, defenders: IntArray, at: FloatArray, to_man: FloatArray, start: int,
          stop: int) -> tuple[FloatArray, FloatArray]:
    facing = scene.sampled.facing_rad[defenders, start:stop]
    target = scene.xy[scene.passer, start:stop] if scene.passer is not None else np.broadcast_to(scene.ball, (stop - start, 2))
    to_passer = target[None] - at
    known = np.isfinite(facing)
    count = np.maximum(known.sum(axis=1), 1)
    enough = known.mean(axis=1) > 0.4
    on_passer = np.where(known, np.cos(facing - np.arctan2(to_passer[..., 1], to_passer[..., 0])), 0.0)
    on_man = np.where(known[:, None], np.cos(facing[:, None] - np.arctan2(to_man[..., 1], to_man[..., 0])), 0.0)
    passer = np.where(enough, on_passer.sum(axis=1) / count, np.nan)
    man = np.where(enough[:, None], (on_man - on_passer[:, None]).sum(axis=2) / count[:, None], np.nan)
    return passer, man


def _blank_unseen(scene: Scene, defenders: IntArray, own: FloatArray, pair: FloatArray, start: int,
                  stop: int) -> tuple[FloatArray, FloatArray]:
    """What rests on bridged positions is not measured: NaN where either man was in the picture for less than half of it."""
    mine = scene.seen[defenders, start:stop].mean(axis=1) < 0.5
    theirs = scene.seen[scene.receivers, start:stop].mean(axis=1) < 0.5
    own[mine] = np.nan
    for column in (0, 1, 2, 3, 5):
        pair[:, :, column][mine[:, None] | theirs[None]] = np.nan
    return own, pair
