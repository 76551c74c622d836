"""Simulated reps as the football room takes them: true positions in the play frame, or spoiled as film spoils them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.signal import lfilter

from demo_clips.play import make_rep
from homography.field import LEVELS, WIDTH_YD
from tagger.football.types import PlayTracks

WORDS_OF_FAMILY = {("cover-1", "deep-third:middle"): "free:middle", ("tampa-2", "deep-third:middle"): "pole:middle"}


@dataclass(frozen=True)
class SimulatedRep:
    """A rep's players in the play frame and its truth (without tracks)."""

    play: PlayTracks
    truth: dict[str, Any]


def parse_seeds(text: str) -> range:
    """"300:330" as a range."""
    first, _, last = text.partition(":")
    return range(int(first), int(last))


def simulate(seeds: range, count: int, noise_yd: float = 0.0, options: dict[str, Any] | None = None) -> Iterator[SimulatedRep]:
    """`count` reps of every seed."""
    for seed in seeds:
        for index in range(count):
            _, truth = make_rep(seed, index, options or {})
            yield in_play_frame(truth, noise_yd, np.random.default_rng([seed, index]))


def in_play_frame(truth: dict[str, Any], noise_yd: float, rng: np.random.Generator) -> SimulatedRep:
    """The offense and the defense of a truth, turned into the play frame."""
    tracks, direction = truth["tracks"], truth["direction"]
    side = {p["player_id"]: p["side"] for p in truth["players"]}
    keep = [i for i, name in enumerate(tracks["player_id"]) if side[name] in ("offense", "defense")]
    field, facing = np.array(tracks["xy_yd"], dtype=float)[keep], np.array(tracks["facing_rad"], dtype=float)[keep]
    downfield = (field[:, :, 0] - truth["ball_xy_yd"][0]) * direction
    across = WIDTH_YD - field[:, :, 1] if direction > 0 else field[:, :, 1]
    turned = -facing if direction > 0 else facing - np.pi
    xy = np.stack([downfield, across], axis=2)
    xy += rng.normal(0.0, noise_yd, xy.shape) if noise_yd else 0.0
    names = tuple(tracks["player_id"][i] for i in keep)
    play = PlayTracks(np.array(tracks["time_s"], dtype=float), names, np.array([side[n] for n in names]), xy,
                      np.full(xy.shape[:2], max(noise_yd, 0.05)), (turned + np.pi) % (2 * np.pi) - np.pi, (None,) * len(names),
                      hash_yd=LEVELS[truth["level"]].hash_yd)
    return SimulatedRep(play, {key: value for key, value in truth.items() if key != "tracks"})


def as_filmed(rep: SimulatedRep, rng: np.random.Generator) -> SimulatedRep:
    """The rep as film gives it, from two good views (a third of the errors) to one poor one: nobody's facing, errors that wander
    (0.35 yd, half a second) and that stay (0.3 yd, a box's lean), up to three men about the ball hidden for a second or so, every
    other time a man missing, every fourth time two neighbours at the line taken for each other from some moment on."""
    play, snap_s, worst = rep.play, rep.truth["snap_s"], rng.uniform(0.33, 1.0)
    xy = play.xy_yd.copy()
    stance = xy[:, int(np.argmin(np.abs(play.time_s - snap_s)))]
    from_ball = np.hypot(stance[:, 0], 0.5 * (stance[:, 1] - np.median(stance[:, 1])))
    about_ball = np.argsort(from_ball)[:12]
    if rng.random() < 0.25:
        one = rng.choice(about_ball)
        apart = np.linalg.norm(stance - stance[one], axis=1)
        other, late = np.argsort(apart)[1], play.time_s > snap_s + rng.uniform(-2.0, 1.0)
        xy[np.ix_([one, other], np.flatnonzero(late))] = xy[np.ix_([other, one], np.flatnonzero(late))]
    xy += _wander(xy.shape, 0.35 * worst, 0.5, float(np.median(np.diff(play.time_s))), rng)
    xy += rng.normal(0.0, 0.3 * worst, (len(xy), 1, 2))
    for man in rng.choice(about_ball, rng.integers(0, 4), replace=False):
        start = snap_s + rng.uniform(-2.0, 0.3)
        xy[man, (play.time_s > start) & (play.time_s < start + rng.uniform(0.5, 2.5))] = np.nan
    if rng.random() < 0.5:
        xy[rng.integers(len(xy))] = np.nan
    keep = np.isfinite(xy[:, :, 0]).any(axis=1)
    xy = xy[keep]
    filmed = PlayTracks(play.time_s, tuple(n for n, k in zip(play.player_id, keep, strict=True) if k), play.side[keep], xy,
                        np.where(np.isfinite(xy[:, :, 0]), 0.3 * worst, np.nan), np.full(xy.shape[:2], np.nan), (None,) * len(xy),
                        hash_yd=play.hash_yd)
    return SimulatedRep(filmed, rep.truth)


def _wander(shape: tuple[int, ...], sd: float, lasting_s: float, step_s: float, rng: np.random.Generator) -> np.ndarray:
    """(N, T, 2) Ornstein-Uhlenbeck noise."""
    keep = float(np.exp(-step_s / lasting_s))
    fresh = rng.normal(0.0, sd * np.sqrt(1.0 - keep**2), shape)
    fresh[:, 0] = rng.normal(0.0, sd, (shape[0], 2))
    return np.asarray(lfilter([1.0], [1.0, -keep], fresh, axis=1))


def role_of(truth: dict[str, Any], interval: dict[str, Any], receivers: list[str], position: str = "") -> str | None:
    """A truth's assignment as a role of the coverage book, given the man's `position`; "rush" for all who do not cover, None if
    it has no word there."""
    word = interval["assignment"]
    if word in ("rush", "run-fit", "spy"):
        return "rush"
    if word == "man":
        return f"man:{receivers.index(interval['receiver'])}" if interval["receiver"] in receivers else None
    if truth["variant"] == "cloud" and interval["area"] != "middle":
        word = {("deep-third", "safety"): "cloud-third", ("curl-flat", "corner"): "cloud-flat"}.get((word, position), word)
    role = f"{word}:{interval['area']}"
    return WORDS_OF_FAMILY.get((truth["family"], role), role)
