"""A practice recording with exact truth: simulated reps with the time between them, filmed by one operator without a stop.

Between reps the offense walks to a huddle and breaks it, the defense strolls back, everybody gets set anew; the camera follows
them, or was switched off for a while (a cut). Usage: simulated_practice.py OUT.mp4 --seed S --reps N [--view end-zone].
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips import operator, panorama
from demo_clips.camera import Camera, choose_mount
from demo_clips.encode import Mp4Writer
from demo_clips.motion import POSES, RepMotion
from demo_clips.play import make_rep
from demo_clips.render import Shot, design_look
from homography.field import LENGTH_YD, WIDTH_YD

Array = npt.NDArray[Any]
STEP_S = 0.05
USUAL_RATE = Fraction(25)
SIZE_PX = (640, 360)
FINE_HZ = 60.0
CORRECTED_S = 1.5
SET_S = 1.2
"""How long everybody stands set before the rep's own film begins."""
KINDS = ("usual", "no-huddle", "break-at-once", "false-starts", "jog-back", "strolling")
"""Practices: as most; the next snap within 12 to 18 s, from the line; the huddle claps and breaks in one instant; before half the
reps a few jump, and everybody gets set anew; everybody jogs back at the whistle; bystanders wander about and players are never
quite still until they are set."""
STROLL_YD, OFF_S = 0.5, 4.0
STARTS_BEFORE_S, STOPS_AFTER_S = (2.5, 6.0), (0.5, 2.5)
"""Of the snap, and of the play's end, where only reps are filmed."""


@dataclass(frozen=True)
class Piece:
    """A part of the recording on its own clock: a rep (with its snap) or the time before one. `cut` if the camera was off."""

    motion: RepMotion
    is_rep: bool
    cut_before: bool = False


def practice(seed: int, reps: int, cut_share: float, kind: str = "usual") -> list[Piece]:
    """The pieces of a practice of one of the KINDS."""
    rng = np.random.default_rng([seed, 77])
    level = str(rng.choice(["high-school", "college", "pro"]))
    plays = [_on_clock(make_rep(seed, k, {"level": level, "period": "team"})[0]) for k in range(reps)]
    same = [_same_people(play, plays[0]) for play in _on_one_stretch(plays, rng)]
    pieces = [Piece(_between(None, same[0], rng, kind=kind), False)]
    for k, play in enumerate(same):
        pieces.append(Piece(play, True))
        cut = bool(rng.random() < cut_share)
        if k + 1 < reps:
            pieces.append(Piece(_between(play, same[k + 1], rng, 9.0 if cut else None, kind), False, cut))
    pieces.append(Piece(_between(same[-1], same[-1], rng, kind=kind), False))
    return pieces


def _on_one_stretch(plays: list[RepMotion], rng: np.random.Generator) -> list[RepMotion]:
    """The offense attacks one way all period, and the ball is spotted a few yards from where it was."""
    at_yd, found = float(rng.uniform(40.0, 70.0)), []
    for play in plays:
        offense = [a.side == "offense" for a in play.actors]
        defense = [a.side == "defense" for a in play.actors]
        if play.xy_yd[offense, 0, 0].mean() > play.xy_yd[defense, 0, 0].mean():
            ball = play.ball_xyz_yd * (-1, -1, 1) + (LENGTH_YD, WIDTH_YD, 0)
            play = replace(play, xy_yd=np.array([LENGTH_YD, WIDTH_YD]) - play.xy_yd, torso_rad=play.torso_rad + np.pi,
                           ball_xyz_yd=ball)
        moved = np.array([at_yd - play.ball_xyz_yd[0, 0], 0.0])
        found.append(replace(play, xy_yd=play.xy_yd + moved, ball_xyz_yd=play.ball_xyz_yd + np.append(moved, 0.0)))
        at_yd = float(np.clip(at_yd + rng.uniform(-6.0, 9.0), 30.0, 85.0))
    return found


def _on_clock(motion: RepMotion) -> RepMotion:
    times = np.arange(motion.time_s[0], motion.time_s[-1], STEP_S)
    near = np.clip(np.searchsorted(motion.time_s, times), 0, len(motion.time_s) - 1)
    def along(values: Array) -> Array:
        return np.stack([np.interp(times, motion.time_s, row) for row in values])
    xy = np.stack([along(motion.xy_yd[..., axis]) for axis in (0, 1)], axis=-1)
    ball = along(motion.ball_xyz_yd.T).T
    return replace(motion, time_s=times, xy_yd=xy, torso_rad=along(np.unwrap(motion.torso_rad, axis=1)),
                   pose=motion.pose[:, near], ball_xyz_yd=ball)


def _same_people(play: RepMotion, first: RepMotion) -> RepMotion:
    """The 22 of a rep as the 22 of the first, with the first's bystanders where they stood."""
    rows = [[i for i, a in enumerate(m.actors) if a.side in ("offense", "defense")] for m in (play, first)]
    others = [i for i, a in enumerate(first.actors) if a.side not in ("offense", "defense")]
    t = len(play.time_s)
    def with_others(values: Array, theirs: Array) -> Array:
        return np.concatenate([values[rows[0]], np.repeat(theirs[others][:, :1], t, axis=1)])
    return replace(play, actors=tuple(first.actors[i] for i in (*rows[1], *others)), xy_yd=with_others(play.xy_yd, first.xy_yd),
                   torso_rad=with_others(play.torso_rad, first.torso_rad), pose=with_others(play.pose, first.pose))


def _between(before: RepMotion | None, after: RepMotion, rng: np.random.Generator, lasts_s: float | None = None,
             kind: str = "usual") -> RepMotion:
    """Everybody from where one rep left him to where the next wants him, by way of the huddle."""
    huddles = kind != "no-huddle" or before is None
    lasts_s = lasts_s or float(rng.uniform(*((16.0, 26.0) if huddles else (8.0, 12.0))))
    leave_s, walk_yd_s = ((0.0, 0.4), (2.2, 3.2)) if kind == "jog-back" else ((0.2, 2.0), (1.3, 2.6))
    times = np.arange(0.0, lasts_s, STEP_S)
    goal = after.xy_yd[:, 0]
    ball = after.ball_xyz_yd[0]
    offense = np.array([a.side == "offense" for a in after.actors])
    playing = np.array([a.side in ("offense", "defense") for a in after.actors])
    back = np.sign(goal[offense, 0].mean() - goal[playing & ~offense, 0].mean())
    angle = rng.uniform(0, 2 * np.pi, len(goal))
    huddle = ball[:2] + np.array([8.0 * back, rng.uniform(-3, 3)]) + 1.8 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    start = goal + rng.normal(0, 7.0, goal.shape) if before is None else before.xy_yd[:, -1]
    stroll = goal + rng.normal(0, 2.5, goal.shape)
    middle = np.where(offense[:, None], huddle, stroll) if huddles else goal + rng.normal(0, 1.5, goal.shape)
    break_s = lasts_s - SET_S - rng.uniform(5.5, 9.0) if kind == "break-at-once" else np.nan
    xy = np.empty((len(goal), len(times), 2))
    for i in range(len(goal)):
        if not playing[i]:
            xy[i] = goal[i]
            continue
        leave, arrive = rng.uniform(*leave_s), lasts_s - SET_S - rng.uniform(0.0, 1.5)
        walk_s = np.linalg.norm(middle[i] - start[i]) / rng.uniform(*walk_yd_s)
        there = min(leave + walk_s, 0.6 * arrive)
        set_off = max(there, arrive - np.linalg.norm(goal[i] - middle[i]) / rng.uniform(1.6, 3.0))
        if offense[i] and np.isfinite(break_s):
            set_off = max(there, break_s + rng.normal(0.0, 0.15))
            arrive = min(lasts_s - 0.3, set_off + 0.1 + np.linalg.norm(goal[i] - middle[i]) / rng.uniform(2.0, 3.2))
        for axis in (0, 1):
            xy[i, :, axis] = np.interp(times, [leave, there, set_off, arrive],
                                       [start[i, axis], middle[i, axis], middle[i, axis], goal[i, axis]])
    if kind == "strolling":
        xy += _strolls(times, playing, rng)
    smooth = np.ones(9) / 9
    for i in np.flatnonzero(playing):
        for axis in (0, 1):
            padded = np.pad(xy[i, :, axis], 4, mode="edge")
            xy[i, :, axis] = np.convolve(padded, smooth, mode="valid")
    if kind == "false-starts" and before is not None and rng.random() < 0.5:
        xy = np.concatenate([xy, _false_start(xy[:, -1], np.flatnonzero(playing), rng)], axis=1)
        times = np.arange(xy.shape[1]) * STEP_S
        lasts_s = float(times[-1]) + STEP_S
    velocity = np.gradient(xy, STEP_S, axis=1)
    speed = np.hypot(velocity[..., 0], velocity[..., 1])
    to_ball = np.arctan2(ball[1] - xy[..., 1], ball[0] - xy[..., 0])
    torso = np.where(speed > 0.4, np.arctan2(velocity[..., 1], velocity[..., 0]), to_ball)
    pose = np.where(speed > 2.5, POSES.index("run"), np.where(speed > 0.4, POSES.index("walk"), POSES.index("stand")))
    set_now = times > lasts_s - SET_S
    pose[:, set_now] = after.pose[:, :1]
    torso[:, set_now] = after.torso_rad[:, :1]
    return replace(after, time_s=times, snap_s=lasts_s, end_s=lasts_s, xy_yd=xy, torso_rad=np.unwrap(torso, axis=1), pose=pose,
                   ball_xyz_yd=np.repeat(ball[None], len(times), axis=0))


def _strolls(times: Array, playing: Array, rng: np.random.Generator) -> Array:
    """(N, T, 2) yards: players fidget until they are set, some of the others wander over and back."""
    off, still_s = np.zeros((len(playing), len(times), 2)), times[-1] - SET_S - 2.0
    for i, plays in enumerate(playing):
        if plays:
            beats = np.arange(0.0, times[-1] + 2.0, 1.0)
            fidget = np.stack([np.interp(times, beats, rng.normal(0.0, STROLL_YD, len(beats))) for _ in range(2)], axis=1)
            off[i] = fidget * np.clip(np.minimum(times, still_s - times) / 2.0, 0.0, 1.0)[:, None]
        elif rng.random() < 0.4:
            first, last = np.sort(rng.uniform(0.0, times[-1], 2))
            off[i] = np.interp(times, [first, (first + last) / 2, last], [0.0, 1.0, 0.0])[:, None] * rng.normal(0.0, 6.0, 2)
    return off


def _false_start(at: Array, players: Array, rng: np.random.Generator) -> Array:
    """(N, T, 2) yd: a few of the set players jump by a yard or two, and go back."""
    times = np.arange(0.0, 6.0, STEP_S)
    xy = np.repeat(at[:, None], len(times), axis=1)
    for i in rng.choice(players, int(rng.integers(2, 8)), replace=False):
        angle, far = rng.uniform(0.0, 2 * np.pi), rng.uniform(1.0, 2.5)
        xy[i] += np.interp(times, [1.0, 1.6, 2.2, 4.2], [0.0, far, far, 0.0])[:, None] * (np.cos(angle), np.sin(angle))
    return xy


def joined(pieces: list[Piece]) -> RepMotion:
    """All pieces as one motion."""
    def along(name: str) -> Array:
        return np.concatenate([getattr(piece.motion, name) for piece in pieces], axis=1)
    count = sum(len(piece.motion.time_s) for piece in pieces)
    return replace(pieces[0].motion, time_s=np.arange(count) * STEP_S, xy_yd=along("xy_yd"), torso_rad=along("torso_rad"),
                   pose=along("pose"), ball_xyz_yd=np.concatenate([piece.motion.ball_xyz_yd for piece in pieces]))


class PracticeShot(Shot):
    """The whole practice through one camera, whose operator follows each piece in turn."""

    def __init__(self, pieces: list[Piece], whole: RepMotion, view: str, rate: Fraction, rng: np.random.Generator) -> None:
        times = np.arange(0.0, float(whole.time_s[-1]), float(1 / rate))
        ball_x = float(np.median(whole.ball_xyz_yd[:, 0]))
        mount = choose_mount(view, rng, 1, ball_x)
        still = replace(whole, snap_s=float(whole.time_s[-1]))
        super().__init__(_thin(still), design_look(_thin(whole), rng, True), mount, times[:2], SIZE_PX, rng)
        self._motion, self.time_s = whole, times
        self._look = replace(self._look, bodies=type(self._look.bodies)(whole, self._look.wardrobe.bulk, rng))
        self._exposure = np.ones(len(times))
        self.cameras = cameras_of(pieces, mount, times, rng, SIZE_PX)
        self._panorama = panorama.cover(self.cameras)
        from demo_clips import backdrop

        self._backdrop = backdrop.paint(self._panorama, self._look.field, self._look.scenery, self._look.light, fine=1)


def _thin(motion: RepMotion) -> RepMotion:
    return replace(motion, time_s=motion.time_s[:200], xy_yd=motion.xy_yd[:, :200], torso_rad=motion.torso_rad[:, :200],
                   pose=motion.pose[:, :200], ball_xyz_yd=motion.ball_xyz_yd[:200])


def cameras_of(pieces: list[Piece], mount: Any, times: Array, rng: np.random.Generator, size_px: tuple[int, int]) -> list[Camera]:
    habits = operator.random_habits(rng)
    fine, wishes, at_s = [], [], 0.0
    for piece in pieces:
        lasts_s = len(piece.motion.time_s) * STEP_S
        own = np.arange(0.0, lasts_s, 1 / FINE_HZ)
        wishes.append(operator._wishes(piece.motion, mount, habits, own, size_px))
        fine.append(own + at_s)
        at_s += lasts_s
    clock = np.concatenate(fine)
    wanted = np.concatenate(wishes)
    wanted[:, :2] += _slips(len(clock), habits.jerks_per_s / FINE_HZ, rng)
    path = operator._follow(wanted, replace(habits, jerks_per_s=0.0), rng)
    path[:, :2] += rng.normal(0, habits.shake_px / 3, (len(clock), 2)) / np.exp(path[:, 2:3])
    pan, tilt, focal = (np.interp(times, clock, column) for column in (*path[:, :2].T, np.exp(path[:, 2])))
    return [Camera(mount.centre_yd, float(p), float(t), mount.roll_rad, float(f), size_px, mount.distortion)
            for p, t, f in zip(pan, tilt, focal, strict=True)]


def _slips(count: int, chance: float, rng: np.random.Generator) -> Array:
    """(count, 2) radians by which the operator is off after a sudden move, until he has corrected it. (Over a rep's few seconds
    nobody need correct; over a practice the camera would end in the sky.)"""
    pushes = (rng.random((count, 2)) < chance) * rng.normal(0, 0.02, (count, 2))
    off, keeps = np.zeros((count, 2)), np.exp(-1.0 / (FINE_HZ * CORRECTED_S))
    for i in range(1, count):
        off[i] = keeps * off[i - 1] + pushes[i]
    return off


def on_film(pieces: list[Piece], time_s: Array, stops: np.random.Generator | None = None) -> tuple[list[int], dict[str, Any]]:
    """Which of the pictures at `time_s` are taken, and the truth on the film's clock: the camera is off over the first half of
    some pieces; or, given `stops`, it runs from some seconds before each snap until soon after the play."""
    off, snaps, ends, at_s = list[tuple[float, float]](), [], [], 0.0
    for piece in pieces:
        if piece.cut_before and stops is None:
            off.append((at_s, at_s + OFF_S))
        if piece.is_rep:
            snaps.append(at_s + piece.motion.snap_s)
            ends.append(at_s + piece.motion.end_s)
        at_s += len(piece.motion.time_s) * STEP_S
    if stops is not None:
        stopped = [0.0, *(end + stops.uniform(*STOPS_AFTER_S) for end in ends)]
        started = [*(snap - stops.uniform(*STARTS_BEFORE_S) for snap in snaps), at_s]
        off = [(begin, end) for begin, end in zip(stopped, started, strict=True) if begin < end]

    def on_its_clock(moments_s: list[float]) -> list[float]:
        return [round(t - sum(min(end, t) - begin for begin, end in off if begin < t), 3) for t in moments_s]

    kept = [i for i, t in enumerate(time_s) if not any(begin <= t < end for begin, end in off)]
    return kept, {"snaps_s": on_its_clock(snaps), "ends_s": on_its_clock(ends), "cuts_s": on_its_clock([end for _, end in off])}


def write_practice(out: Path, seed: int, reps: int, view: str = "sideline", cut_share: float = 0.25,
                   rate: Fraction = USUAL_RATE, every: int = 1, kind: str = "usual", only_reps: bool = False) -> dict[str, Any]:
    """Film a practice into `out`, its truth beside it (`.json`): snap and end of each rep on the film's clock. Of a film of
    `rate` only one frame in `every` is written, with the blur that it has at that rate. With `only_reps` the camera is off
    between them."""
    pieces = practice(seed, reps, cut_share, kind)
    whole = joined(pieces)
    shot = PracticeShot(pieces, whole, view, rate, np.random.default_rng([seed, 78, len(view)]))
    kept, truth = on_film(pieces, shot.time_s, np.random.default_rng([seed, 80]) if only_reps else None)
    with Mp4Writer(out, SIZE_PX, rate / every) as writer:
        for i in kept[::every]:
            writer.write(shot.finish(i, shot.clean(i)[0]))
    truth |= {"seed": seed, "view": view, "kind": kind, "duration_s": len(kept) / float(rate)}
    out.with_suffix(".json").write_text(json.dumps(truth))
    return truth


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--reps", type=int, default=6)
    parser.add_argument("--view", default="sideline", choices=("sideline", "low-sideline", "end-zone"))
    parser.add_argument("--kind", default="usual", choices=KINDS)
    parser.add_argument("--cut-share", type=float, default=0.25)
    parser.add_argument("--only-reps", action="store_true", help="the camera is off between them")
    parser.add_argument("--rate", type=Fraction, default=USUAL_RATE, help="frames a second")
    parser.add_argument("--every", type=int, default=1, help="one frame of so many is written; four a second are looked at")
    parser.add_argument("--size", type=int, nargs=2, default=SIZE_PX, help="px")
    given = parser.parse_args()
    SIZE_PX = (given.size[0], given.size[1])
    print(json.dumps(write_practice(given.out, given.seed, given.reps, given.view, given.cut_share, given.rate, given.every,
                                    given.kind, given.only_reps)))
