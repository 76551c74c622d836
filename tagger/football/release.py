"""When the ball was thrown, read off the men: the ball itself is rarely seen.

A conditional logit over the moments of the play: each moment has measures of what changes there (defenders close on a point,
rushers and linemen ease up, the passer sets and stops), a small learned layer gives each moment its probability.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tagger.football.playbook import PlayBook
from tagger.football.scene import Scene
from vision.types import FloatArray, IntArray

EARLIEST_S, LATEST_S = 0.6, 6.5
MEASURES = ("close_jump", "close_after", "line_jump", "rush_jump", "rush_after", "cover_jump", "passer_jump", "passer_after",
            "passer_before", "passer_now", "passer_depth", "passer_back", "passer_up", "flow_jump", "flow_after", "turn_jump",
            "time", "time_squared", "log_time", "hunt_after", "hunt_jump", "hunt_soon", "hunt_lead")
HUNT_YD = 25.0
LEAST_CONFIDENCE = 0.4
"""Below it the told moment was as often half a second off as not, on simulated and on real plays."""


@dataclass(frozen=True)
class Release:
    """`time_s` after the snap (N,), `chance` (N,) of the throw at each; `best_s` about when it is likeliest; `confidence` the
    chance within 0.3 s of it."""

    time_s: FloatArray
    chance: FloatArray
    best_s: float
    confidence: float

    @property
    def plain(self) -> bool:
        """False where the men do not show when the ball was out, or whether it was."""
        return self.confidence >= LEAST_CONFIDENCE

    @property
    def even_s(self) -> float:
        """The moment by which the ball is as likely out as not."""
        return float(self.time_s[min(int(np.searchsorted(np.cumsum(self.chance), 0.5)), len(self.time_s) - 1)])

    def before(self, time_s: float) -> float:
        """Chance of a throw before a time."""
        return float(self.chance[self.time_s < time_s].sum())


def find_release(scene: Scene, book: PlayBook) -> Release | None:
    """The throw, if it is a pass. None where the tracks end too early to say, or there is no passer."""
    times, rows = measure_release(scene)
    if not len(times):
        return None
    logit = book.release.logits(rows)
    chance = np.exp(logit - logit.max())
    chance /= chance.sum()
    apart = np.abs(times[:, None] - times[None])
    best = int(np.argmax((apart < 0.21) @ chance))
    return Release(times, chance, float(times[best]), float(chance[apart[best] < 0.31].sum()))


def measure_release(scene: Scene) -> tuple[FloatArray, FloatArray]:
    """Moments (N,) after the snap and their measures (N, len(MEASURES)): speeds in yd/s over the 0.5 s before and the 0.3 to
    0.9 s after each moment, depths in yd past the line."""
    low, high = scene.at(EARLIEST_S), min(len(scene.time_s), scene.at(LATEST_S) + 1) - 4
    if high - low < 3 or scene.passer is None or len(scene.defense) < 3 or not len(scene.receivers):
        return np.empty(0), np.empty((0, len(MEASURES)))
    speed = np.linalg.norm(scene.velocity, axis=2)
    rushing = scene.xy[scene.defense, scene.at(1.2), 0] - scene.line_yd < 1.0
    rush = scene.defense[rushing] if scene.team else scene.defense[:0]
    cover = np.setdiff1d(scene.defense, rush)
    cover = cover if len(cover) else scene.defense
    close = _closing(scene)
    steady = np.zeros(speed.shape[1])
    line_pace = speed[scene.linemen].mean(axis=0) if scene.full_line else steady
    rush_pace = speed[rush].mean(axis=0) if len(rush) else steady + 3.0
    cover_pace, passer_pace = speed[cover].mean(axis=0), speed[scene.passer]
    flow = np.linalg.norm(scene.velocity[cover].mean(axis=0), axis=1) / (cover_pace + 0.5)
    turn = np.linalg.norm(np.gradient(scene.velocity[cover], 0.1, axis=1), axis=2).mean(axis=0)
    retreat, time = scene.velocity[scene.passer, :, 0], scene.time_s
    columns = [
        np.max([_jump(c) for c in close], axis=0), np.max([_mean(c, 3, 9) for c in close], axis=0), _jump(line_pace),
        _jump(rush_pace), _mean(rush_pace, 3, 9), _jump(cover_pace), _jump(passer_pace), _mean(passer_pace, 3, 9),
        _mean(passer_pace, -5, 1), _mean(passer_pace, 0, 2), scene.xy[scene.passer, :, 0] - scene.line_yd,
        _mean(retreat, -4, 1), _mean(retreat, 1, 6), _jump(flow), _mean(flow, 3, 9), _mean(turn, 1, 6) - _mean(turn, -5, 0),
        time, time**2 / 4.0, np.log(np.clip(time, 0.2, None)),
        *_hunt(scene, cover),
    ]
    return time[low:high], np.stack(columns, axis=1)[low:high]


def _hunt(scene: Scene, cover: IntArray) -> list[FloatArray]:
    """After the throw everybody in coverage hunts one receiver: how fast they close on the most hunted, how much faster than
    before, the same sooner, and by how much he is ahead of the next; (T,) each, yd/s of all together."""
    to_man = scene.xy[scene.receivers][None] - scene.xy[cover][:, None]
    distance = np.linalg.norm(to_man, axis=3) + 0.1
    closing = ((scene.velocity[cover][:, None] * to_man).sum(axis=3) / distance * (distance < HUNT_YD)).mean(axis=0)
    after = np.array([_mean(one, 8, 22) for one in closing])
    before = np.array([_mean(one, -6, 1) for one in closing])
    most = np.sort(after, axis=0)[-2:]
    return [after.max(axis=0), (after - before).max(axis=0), np.max([_mean(one, 3, 12) for one in closing], axis=0),
            most[-1] - most[0]]


def _closing(scene: Scene) -> FloatArray:
    """(R, T) how fast the defense closes on where each receiver will be half a second later, yd/s a man."""
    out = np.zeros((len(scene.receivers), len(scene.time_s)))
    for k, receiver in enumerate(scene.receivers):
        way = scene.xy[receiver] + 0.5 * scene.velocity[receiver] - scene.xy[scene.defense]
        distance = np.linalg.norm(way, axis=2) + 1e-6
        closing = np.clip((scene.velocity[scene.defense] * way).sum(axis=2) / distance, -4.0, 7.0)
        out[k] = (closing * ((distance > 3.0) & (distance < 25.0))).sum(axis=0) / len(scene.defense)
    return out


def _mean(values: FloatArray, first: int, stop: int) -> FloatArray:
    """Mean over [i + first, i + stop) for every i, the window cut off at the ends."""
    frames = len(values)
    total = np.concatenate([[0.0], np.cumsum(values)])
    start = np.clip(np.arange(frames) + first, 0, frames - 1)
    end = np.clip(np.arange(frames) + stop, start + 1, frames)
    out: FloatArray = (total[end] - total[start]) / (end - start)
    return out


def _jump(values: FloatArray) -> FloatArray:
    """After (0.3 to 0.9 s) less before (0.5 s)."""
    return _mean(values, 3, 9) - _mean(values, -5, 1)
