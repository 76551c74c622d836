"""What shows that the ball was out at a moment, and to whom: measures of every moment with every receiver.

At the throw the passer's way, the line's and the rush's pace change (the same for every receiver). A moment later the coverage
turns to where one receiver and the ball will meet and closes on it; that receiver leaves his path, looks back, runs on after the
others have eased up. When the ball comes down everybody chases who has it, or stops: how far off that is tells the moment too.
"""

from __future__ import annotations

import numpy as np

from tagger.football.scene import STEP_S, Scene
from vision.types import FloatArray, IntArray

EARLIEST_S, LATEST_S = 0.6, 6.5
MOMENT = ("close_jump", "close_after", "line_jump", "rush_jump", "rush_after", "cover_jump", "passer_jump", "passer_after",
          "passer_before", "passer_now", "passer_depth", "passer_back", "passer_up", "flow_jump", "flow_after", "turn_jump",
          "time", "time_squared", "log_time", "hunt_after", "hunt_jump", "hunt_soon", "hunt_lead")
RECEIVER = ("turned", "turned_men", "turned_before", "closing", "leaves_path", "left_before", "hunted", "hunted_more",
            "hunted_soon", "hunted_lead", "runs_on", "looks_back", "looked_back", "passer_looks", "looked_at", "flight_s",
            "spot_depth", "pace", "pace_jump", "nearest", "next_nearest")
ONSET = ("turning_0", "turning_1", "turning_2", "turning_3", "turned_most", "turned_next", "swerves", "swerved")
CATCH = ("catch_others", "catch_cover", "catch_line", "catch_all", "catch_pace", "catch_turn", "catch_hunt", "catch_chase",
         "pace_after_catch")
MEASURES = (*MOMENT, *RECEIVER, *ONSET, *CATCH)
HUNT_YD = 25.0
TURN_YD = 22.0
"""Who is farther from the spot does not turn to it."""
TURNS_YD_S = 1.0
BALL_YD_S = 19.0
FLIGHT = np.arange(4, 25)
"""Steps of the grid for which a ball is in the air."""
SEES, DRIVES = 2, 7
"""Steps after the throw: nobody has seen it yet; everybody drives who does."""
TURNING = ((0, 2), (2, 4), (4, 6), (6, 9))
"""Stretches of steps after the throw: the coverage turns in the second and third, if that is when the ball was out."""
MOST_TURN_YD_S = 2.5
"""One man's turn counts for no more than this: many turn on a throw, one alone on something else."""


def arrivals(scene: Scene, receiver: int) -> IntArray:
    """(T,) grid index at which a ball thrown to him at each moment is there, at a ball's usual speed."""
    at = np.minimum(np.arange(len(scene.time_s))[:, None] + FLIGHT, len(scene.time_s) - 1)
    way = np.linalg.norm(scene.xy[receiver][at] - scene.xy[scene.passer][:, None], axis=2)
    best = np.argmin(np.abs(way - BALL_YD_S * FLIGHT * STEP_S), axis=1)
    return np.asarray(np.take_along_axis(at, best[:, None], axis=1)[:, 0])


def measure_throw(scene: Scene) -> tuple[FloatArray, FloatArray]:
    """Moments (N,) after the snap and the measures (N, R, len(MEASURES)) of each with each of the scene's receivers: speeds in
    yd/s, distances in yd, cosines; NaN where a facing is unknown. Empty where the tracks end too early to say, or there is no
    passer, no receiver or no defense."""
    low, high = scene.at(EARLIEST_S), min(len(scene.time_s), scene.at(LATEST_S) + 1) - 4
    if high - low < 3 or scene.passer is None or len(scene.defense) < 3 or not len(scene.receivers):
        return np.empty(0), np.empty((0, 0, len(MEASURES)))
    rushing = scene.xy[scene.defense, scene.at(1.2), 0] - scene.line_yd < 1.0
    rush = scene.defense[rushing] if scene.team else scene.defense[:0]
    cover = np.setdiff1d(scene.defense, rush)
    cover = cover if len(cover) else scene.defense
    hunt = _hunt(scene, cover)
    moment = _moment(scene, rush, cover, hunt)
    speed = np.linalg.norm(scene.velocity, axis=2)
    each = []
    for k, receiver in enumerate(map(int, scene.receivers)):
        arrival = arrivals(scene, receiver)
        toward = _toward(scene, cover, scene.xy[receiver, arrival])
        each.append(np.concatenate([
            moment, _receiver(scene, cover, hunt, k, arrival, toward), _onset(scene, cover, receiver, toward),
            _catch(scene, cover, speed, receiver, arrival)], axis=1))
    return scene.time_s[low:high], np.stack(each, axis=1)[low:high]


def _hunt(scene: Scene, cover: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(R, T) each: how fast the coverage closes on every receiver, all together, a while after each moment, before it, soon."""
    to_man = scene.xy[scene.receivers][None] - scene.xy[cover][:, None]
    distance = np.linalg.norm(to_man, axis=3) + 0.1
    closing = (scene.velocity[cover][:, None] * to_man).sum(axis=3) / distance * (distance < HUNT_YD)
    total = closing.sum(axis=0)
    return window(total, 8, 22), window(total, -6, 1), window(total, 3, 12)


def _moment(scene: Scene, rush: IntArray, cover: IntArray, hunt: tuple[FloatArray, FloatArray, FloatArray]) -> FloatArray:
    """(T, len(MOMENT)): speeds over the 0.5 s before and the 0.3 to 0.9 s after each moment, depths past the line."""
    speed = np.linalg.norm(scene.velocity, axis=2)
    close = _closing(scene)
    steady = np.zeros(speed.shape[1])
    line_pace = speed[scene.linemen].mean(axis=0) if scene.full_line else steady
    rush_pace = speed[rush].mean(axis=0) if len(rush) else steady + 3.0
    cover_pace, passer_pace = speed[cover].mean(axis=0), speed[scene.passer]
    flow = np.linalg.norm(scene.velocity[cover].mean(axis=0), axis=1) / (cover_pace + 0.5)
    turn = np.linalg.norm(np.gradient(scene.velocity[cover], STEP_S, axis=1), axis=2).mean(axis=0)
    retreat, time = scene.velocity[scene.passer, :, 0], scene.time_s
    after, before, soon = (one / len(cover) for one in hunt)
    lead = np.sort(after, axis=0)
    return np.stack([
        _jump(close).max(axis=0), window(close, 3, 9).max(axis=0), _jump(line_pace), _jump(rush_pace), window(rush_pace, 3, 9),
        _jump(cover_pace), _jump(passer_pace), window(passer_pace, 3, 9), window(passer_pace, -5, 1), window(passer_pace, 0, 2),
        scene.xy[scene.passer, :, 0] - scene.line_yd, window(retreat, -4, 1), window(retreat, 1, 6), _jump(flow),
        window(flow, 3, 9), window(turn, 1, 6) - window(turn, -5, 0), time, time**2 / 4.0, np.log(np.clip(time, 0.2, None)),
        after.max(axis=0), (after - before).max(axis=0), soon.max(axis=0), lead[-1] - lead[-min(2, len(lead))]], axis=1)


def _closing(scene: Scene) -> FloatArray:
    """(R, T) how fast the defense closes on where each receiver will be half a second later, yd/s a man."""
    ahead = scene.xy[scene.receivers] + 0.5 * scene.velocity[scene.receivers]
    way = ahead[:, None] - scene.xy[scene.defense][None]
    distance = np.linalg.norm(way, axis=3) + 1e-6
    closing = np.clip((scene.velocity[scene.defense][None] * way).sum(axis=3) / distance, -4.0, 7.0)
    out: FloatArray = (closing * ((distance > 3.0) & (distance < HUNT_YD))).sum(axis=1) / len(scene.defense)
    return out


def _toward(scene: Scene, cover: IntArray, spot: FloatArray) -> FloatArray:
    """(C, T, 2) directions in which the coverage would turn to the `spot` (T, 2) of each moment; zeros from too far."""
    way = spot[None] - scene.xy[cover]
    distance = np.linalg.norm(way, axis=2) + 0.5
    toward: FloatArray = way / distance[..., None] * (distance < TURN_YD)[..., None]
    return toward


def _later(scene: Scene, steps: int) -> IntArray:
    """(T,) grid index so many steps after each moment, within the tracks."""
    return np.clip(np.arange(len(scene.time_s)) + steps, 0, len(scene.time_s) - 1)


def _change(scene: Scene, rows: IntArray | int, first: int, stop: int) -> FloatArray:
    """(..., T, 2) yd/s by which the velocity changes between two steps about each moment."""
    velocity = scene.velocity[rows]
    return np.asarray(velocity[..., _later(scene, stop), :] - velocity[..., _later(scene, first), :])


def _receiver(scene: Scene, cover: IntArray, hunt: tuple[FloatArray, FloatArray, FloatArray], k: int, arrival: IntArray,
              toward: FloatArray) -> FloatArray:
    """(T, len(RECEIVER)) of the k-th receiver, thrown to at each moment; for `arrival` (T,) and `toward` see `arrivals` and
    `_toward`."""
    receiver, facing, velocity = int(scene.receivers[k]), scene.sampled.facing_rad, scene.velocity
    now, spot = np.arange(len(scene.time_s)), scene.xy[receiver, arrival]
    turned = (_change(scene, cover, SEES, DRIVES) * toward).sum(axis=2)
    before = (_change(scene, cover, -3, SEES) * toward).sum(axis=2)
    pace = np.linalg.norm(velocity[receiver], axis=1)
    after, was, soon = hunt
    others = np.delete(after, k, axis=0)
    to_passer = scene.xy[scene.passer] - scene.xy[receiver]
    back = _cosine(facing[receiver], to_passer)
    soon_at, drive_at = _later(scene, 6), _later(scene, DRIVES)
    seen = _cosine(facing[cover][:, soon_at], spot[None] - scene.xy[cover][:, soon_at])
    known = np.isfinite(seen)
    looked_at = np.where(known.any(axis=0), np.nan_to_num(seen).sum(axis=0) / np.maximum(known.sum(axis=0), 1), np.nan)
    at_spot = np.sort(np.linalg.norm(scene.xy[cover][:, arrival] - spot[None], axis=2), axis=0)
    return np.stack([
        turned.sum(axis=0), (turned > TURNS_YD_S).sum(axis=0), before.sum(axis=0),
        (velocity[cover][:, drive_at] * toward).sum(axis=(0, 2)), np.linalg.norm(_change(scene, receiver, 0, 4), axis=1),
        np.linalg.norm(_change(scene, receiver, -4, 0), axis=1), after[k], after[k] - was[k], soon[k],
        after[k] - others.max(axis=0) if len(others) else after[k], window(pace, 2, 15)[arrival], window(back, 0, 8),
        window(back, -6, 0), window(_cosine(facing[scene.passer], -to_passer), -6, 1), looked_at, (arrival - now) * STEP_S,
        spot[:, 0] - scene.line_yd, pace, pace[drive_at] - pace, at_spot[0], at_spot[min(1, len(cover) - 1)]], axis=1)


def _onset(scene: Scene, cover: IntArray, receiver: int, toward: FloatArray) -> FloatArray:
    """(T, len(ONSET)): how the coverage's turn to the spot and the receiver's swerve are spread over the steps about each
    moment, yd/s."""
    def turned(first: int, stop: int) -> FloatArray:
        return np.asarray((np.clip(_change(scene, cover, first, stop), -8.0, 8.0) * toward).sum(axis=2))

    def swerve(first: int, stop: int) -> FloatArray:
        return np.asarray(np.linalg.norm(_change(scene, receiver, first, stop), axis=1))

    onset = [np.clip(turned(*steps), -MOST_TURN_YD_S, MOST_TURN_YD_S).sum(axis=0) for steps in TURNING]
    most = np.sort(turned(SEES, DRIVES), axis=0)
    return np.stack([*onset, most[-1], most[-min(2, len(most))], swerve(1, 3), swerve(-1, 1)], axis=1)


def _catch(scene: Scene, cover: IntArray, speed: FloatArray, receiver: int, at: IntArray) -> FloatArray:
    """(T, len(CATCH)): what changes when the ball of a throw at each moment comes down, `at` (T,), yd/s: the others let up, the
    defense chases the man who has it, or everybody stops."""
    others, steady = np.setdiff1d(scene.receivers, [receiver]), np.zeros(len(scene.time_s))
    to_man = scene.xy[receiver][None] - scene.xy[scene.defense]
    closing = (scene.velocity[scene.defense] * to_man).sum(axis=2) / (np.linalg.norm(to_man, axis=2) + 0.3)

    def jump(values: FloatArray) -> FloatArray:
        return np.asarray((window(values, 1, 8) - window(values, -6, 0))[at])

    turn = [window(v, 1, 6) - window(v, -5, 0) for v in scene.velocity[receiver].T]
    return np.stack([
        jump(speed[others].mean(axis=0) if len(others) else steady), jump(speed[cover].mean(axis=0)),
        jump(speed[scene.linemen].mean(axis=0) if scene.full_line else steady), jump(speed.mean(axis=0)),
        jump(speed[receiver]), np.hypot(*turn)[at], window(closing.mean(axis=0), 1, 8)[at],
        window((closing / (speed[scene.defense] + 0.7)).mean(axis=0), 0, 6)[at], window(speed.mean(axis=0), 4, 14)[at]], axis=1)


def _cosine(facing_rad: FloatArray, way: FloatArray) -> FloatArray:
    """Cosine between facings (..., T) and ways (..., T, 2), NaN where no facing is known."""
    out: FloatArray = np.cos(facing_rad - np.arctan2(way[..., 1], way[..., 0]))
    return out


def window(values: FloatArray, first: int, stop: int) -> FloatArray:
    """(..., T) mean of what is known in [i + first, i + stop) for every i, the window cut off at the ends; NaN where nothing
    is."""
    frames, known = values.shape[-1], np.isfinite(values)
    none = np.zeros((*values.shape[:-1], 1))
    total = np.concatenate([none, np.cumsum(np.where(known, values, 0.0), axis=-1)], axis=-1)
    count = np.concatenate([none, np.cumsum(known, axis=-1)], axis=-1)
    start = np.clip(np.arange(frames) + first, 0, frames - 1)
    end = np.clip(np.arange(frames) + stop, start + 1, frames)
    seen = count[..., end] - count[..., start]
    return np.where(seen > 0, (total[..., end] - total[..., start]) / np.maximum(seen, 1), np.nan)


def _jump(values: FloatArray) -> FloatArray:
    """After (0.3 to 0.9 s) less before (0.5 s)."""
    return window(values, 3, 9) - window(values, -5, 1)
