"""Frame to frame: boxes to short, sure pieces of tracks, by one assignment a frame, forward and backward in time."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linear_sum_assignment

from vision import kalman
from vision.boxes import iou
from vision.kalman import Belief
from vision.observations import Observations
from vision.tracking_settings import TrackingSettings
from vision.types import FloatArray, IntArray

FORBIDDEN = 1e6
APPEARANCE_MEMORY = 0.9
SIZE_MEMORY = 0.8


class _Living:
    """The tracklets that may still grow, as parallel arrays."""

    def __init__(self, appearance_size: int) -> None:
        self.boxes: list[list[int]] = []
        self.mean: FloatArray = np.zeros((0, 4))
        self.covariance: FloatArray = np.zeros((0, 4, 4))
        self.appearance, self.height_yd = np.zeros((0, appearance_size)), np.zeros(0)
        self.seen_s = np.zeros(0)

    def keep(self, rows: IntArray) -> None:
        """Forget all others."""
        self.boxes = [self.boxes[row] for row in rows]
        for name in ("mean", "covariance", "appearance", "height_yd", "seen_s"):
            setattr(self, name, getattr(self, name)[rows])

    def predict(self, dt_s: float, settings: TrackingSettings) -> None:
        belief = Belief(self.mean, self.covariance)
        # The speed may be anything within its own uncertainty.
        unsure = np.sqrt(self.covariance[:, 1, 1] + self.covariance[:, 3, 3])
        ahead = kalman.predict(belief, dt_s, settings.density(np.linalg.norm(belief.velocity, axis=1) + unsure))
        self.mean, self.covariance = ahead.mean, ahead.covariance

    def take(self, rows: IntArray, boxes: IntArray, obs: Observations, now_s: float) -> None:
        after = kalman.update(Belief(self.mean[rows], self.covariance[rows]), obs.position[boxes], obs.covariance[boxes])
        self.mean[rows], self.covariance[rows] = after.mean, after.covariance
        # A covered man shows other people's colours and a cut box.
        fresh = obs.clarity[boxes]
        learn = (1 - APPEARANCE_MEMORY) * fresh[:, None]
        self.appearance[rows] += learn * (obs.appearance[boxes] - self.appearance[rows])
        self.height_yd[rows] += (1 - SIZE_MEMORY) * fresh * (obs.height_yd[boxes] - self.height_yd[rows])
        self.seen_s[rows] = now_s
        for row, box in zip(rows, boxes, strict=True):
            self.boxes[row].append(int(box))

    def begin(self, boxes: IntArray, obs: Observations, now_s: float, speed_sigma: float) -> None:
        born = kalman.start(obs.position[boxes], obs.covariance[boxes], speed_sigma)
        self.mean = np.concatenate([self.mean, born.mean])
        self.covariance = np.concatenate([self.covariance, born.covariance])
        self.appearance = np.concatenate([self.appearance, obs.appearance[boxes]])
        self.height_yd = np.concatenate([self.height_yd, obs.height_yd[boxes]])
        self.seen_s = np.concatenate([self.seen_s, np.full(len(boxes), now_s)])
        self.boxes += [[int(box)] for box in boxes]


def match_costs(position: FloatArray, covariance: FloatArray, height_yd: FloatArray, appearance: FloatArray, obs: Observations,
                boxes: IntArray, settings: TrackingSettings) -> FloatArray:
    """(N, M) nats that a man believed at `position` (N, 2) explains a box, above an exact fit; FORBIDDEN beyond the gate."""
    spread = covariance[:, None] + obs.covariance[boxes][None]
    off = obs.position[boxes][None] - position[:, None]
    squared = (off * np.linalg.solve(spread, off[..., None])[..., 0]).sum(axis=-1)
    # The normalising term makes a man of whom nothing is known pay for fitting everywhere.
    width = 0.5 * np.log(np.linalg.det(spread) / np.linalg.det(obs.covariance[boxes])[None])
    size = np.log(obs.height_yd[boxes][None] / height_yd[:, None]) / settings.size_sigma
    cost = 0.5 * squared + width + 0.5 * np.minimum(size**2, 9.0)
    if appearance.shape[1]:
        apart = ((appearance[:, None] - obs.appearance[boxes][None]) ** 2).sum(axis=-1) / 2
        cost += np.minimum(settings.appearance_weight * apart, settings.appearance_cap_nats) * obs.clarity[boxes][None]
    out: FloatArray = np.where(0.5 * squared < settings.gate_nats, cost, FORBIDDEN)
    return out


def assign(cost: FloatArray, unmatched_nats: float) -> tuple[IntArray, IntArray]:
    """Pairs (rows, columns) of the cheapest assignment where leaving one out costs `unmatched_nats`."""
    rows, columns = linear_sum_assignment(np.minimum(cost, unmatched_nats))
    allowed = cost[rows, columns] < unmatched_nats
    return rows[allowed], columns[allowed]


def build_tracklets(obs: Observations, settings: TrackingSettings) -> list[IntArray]:
    """Pieces of tracks, each the rows of its boxes in `obs` in order of time.

    Only what is found with time running either way stays linked: a man followed wrongly past another is hardly ever followed
    by the same wrong boxes when one comes from the other end.
    """
    follower = np.full(len(obs), -1)
    for piece in _follow(obs.reversed(), settings):
        boxes = len(obs) - 1 - piece[::-1]
        follower[boxes[:-1]] = boxes[1:]
    pieces: list[IntArray] = []
    for piece in _follow(obs, settings):
        pieces += np.split(piece, np.flatnonzero(follower[piece[:-1]] != piece[1:]) + 1)
    return pieces


def _follow(obs: Observations, settings: TrackingSettings) -> list[IntArray]:
    living, done = _Living(obs.appearance.shape[1]), []
    for k, now_s in enumerate(obs.time_s):
        if k:
            living.predict(float(now_s - obs.time_s[k - 1]), settings)
        alive = now_s - living.seen_s <= settings.coast_s
        done += [living.boxes[row] for row in np.flatnonzero(~alive)]
        living.keep(np.flatnonzero(alive))
        rows = obs.of_frame(k)
        boxes = np.arange(rows.start, rows.stop)
        _grow(living, boxes, obs, float(now_s), settings)
    done += living.boxes
    return [np.array(boxes) for boxes in done]


def _grow(living: _Living, boxes: IntArray, obs: Observations, now_s: float, settings: TrackingSettings) -> None:
    """Match sure boxes first, then the doubtful ones to whom is left, then begin new tracklets."""
    sure = obs.confidence[boxes] >= settings.sure_confidence
    free = np.ones(len(living.boxes), dtype=np.bool_)
    taken: list[int] = []
    left: list[int] = []
    for group in (boxes[sure], boxes[~sure]):
        idle = np.flatnonzero(free)
        where = Belief(living.mean[idle], living.covariance[idle])
        cost = match_costs(where.position, where.position_covariance, living.height_yd[idle], living.appearance[idle], obs, group,
                           settings)
        rows, columns = assign(cost, settings.gate_nats)
        taken += group[columns].tolist()
        free[idle[rows]] = False
        living.take(idle[rows], group[columns], obs, now_s)
        left += [int(box) for box in group if box not in taken]
    begin: list[int] = []
    for box in sorted(left, key=lambda box: -float(obs.confidence[box])):
        others = taken + begin
        ridden = float(iou(obs.xyxy[[box]], obs.xyxy[others]).max(initial=0.0))
        if obs.confidence[box] >= settings.birth_confidence and ridden <= settings.birth_max_iou:
            begin.append(box)
    if begin:
        living.begin(np.array(begin), obs, now_s, settings.speed_sigma_yd_s)
