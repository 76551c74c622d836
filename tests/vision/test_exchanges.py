"""Links and exchanges on boxes whose owner is known."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from vision.exchanges import exchange
from vision.ground import build_ground
from vision.observations import Observations, observe
from vision.pieces import Track, looks_apart
from vision.tracking_settings import TrackingSettings
from vision.tracklets import build_tracklets
from vision.types import Detections

RATE_HZ = 15.0
WIDTH_PX, HEIGHT_PX = 24.0, 60.0
SETTINGS = TrackingSettings()
RED, BLUE = np.array([4.0, 0.0, 0.0]), np.array([0.0, 0.0, 4.0])


def boxes_of(feet: np.ndarray, colours: list[np.ndarray], confidence: float = 0.9) -> Observations:
    """All boxes of N people with feet (N, T, 2) px, in the order of the people in every frame: row k N + i is person i's."""
    rng = np.random.default_rng(0)
    frames = feet.shape[1]
    detections, looks = [], []
    for k in range(frames):
        x, y = feet[:, k].T + rng.normal(0, 0.7, (2, len(feet)))
        xyxy = np.stack([x - WIDTH_PX / 2, y - HEIGHT_PX, x + WIDTH_PX / 2, y], axis=1).astype(np.float32)
        detections.append(
            Detections(k, k / RATE_HZ, xyxy, np.full(len(feet), confidence, np.float32), np.zeros(len(feet), np.int64)))
        looks.append(np.array(colours) + rng.normal(0, 0.5, (len(feet), 3)))
    ground = build_ground(None, None, None, frames, HEIGHT_PX, np.zeros(2))
    return observe(detections, looks, ground, {k: k for k in range(frames)}, (1280, 720), SETTINGS)


def passing(frames: int = 40) -> np.ndarray:
    """Two men who run past each other."""
    return np.stack([np.linspace((300, 400), (520, 400), frames), np.linspace((520, 412), (300, 412), frames)])


def true_tracks(obs: Observations, people: int) -> list[Track]:
    return [np.arange(person, len(obs), people) for person in range(people)]


def crossed(tracks: list[Track], frame: int) -> list[Track]:
    one, other = tracks
    return [np.concatenate([one[:frame], other[frame:]]), np.concatenate([other[:frame], one[frame:]])]


@pytest.mark.parametrize("colours", [[RED, BLUE], [RED, RED]])
def test_futures_that_were_mixed_up_are_exchanged_back(colours: list[np.ndarray]) -> None:
    obs = boxes_of(passing(), colours)
    right = true_tracks(obs, 2)
    found = exchange(obs, crossed(right, 20), SETTINGS)
    assert sorted(map(list, found)) == sorted(map(list, right))


def test_what_is_right_stays() -> None:
    obs = boxes_of(passing(), [RED, BLUE])
    right = true_tracks(obs, 2)
    assert [list(track) for track in exchange(obs, right, SETTINGS)] == [list(track) for track in right]


def test_one_man_alone_and_nobody() -> None:
    obs = boxes_of(passing()[:1], [RED])
    alone = true_tracks(obs, 1)
    assert exchange(obs, alone, SETTINGS) == alone
    assert exchange(obs, [], SETTINGS) == []


def test_links_are_the_same_with_time_running_backward() -> None:
    obs = boxes_of(passing(), [RED, RED])
    forward = {(a, b) for piece in build_tracklets(obs, SETTINGS) for a, b in pairwise(piece)}
    last = len(obs) - 1
    backward = {(last - b, last - a) for piece in build_tracklets(obs.reversed(), SETTINGS)
                for a, b in pairwise(piece)}
    assert forward == backward
    assert len(forward) > 60


def test_two_men_who_turn_round_while_nobody_sees_them_stay_who_they_are() -> None:
    frames, hidden = 60, range(27, 33)
    side_by_side = np.stack([np.stack([np.linspace(x, x + 220, frames), np.full(frames, 400.0)], axis=1) for x in (300, 340)])
    obs = boxes_of(side_by_side, [RED, BLUE])
    # What shows of one after the turn is as red as what showed of the other before.
    turned = np.where((obs.frame >= 30)[:, None], -obs.appearance, obs.appearance)
    right = [track[~np.isin(obs.frame[track], hidden)] for track in true_tracks(obs, 2)]
    found = exchange(replace(obs, appearance=turned), right, SETTINGS)
    assert sorted(map(list, found)) == sorted(map(list, right))


looks = arrays(np.float64, (4, 6), elements=st.floats(-30, 30))
worth = arrays(np.float64, 4, elements=st.floats(0, 50))


@given(looks, looks, worth, worth)
def test_looks_apart_hold_against_one_man_from_either_end_and_never_for_much(
        one: np.ndarray, other: np.ndarray, clarity: np.ndarray, other_clarity: np.ndarray) -> None:
    cost = looks_apart(one, other, clarity, other_clarity, SETTINGS)
    np.testing.assert_allclose(cost, looks_apart(other, one, other_clarity, clarity, SETTINGS))
    assert (cost >= 0).all()
    assert (looks_apart(one, one, clarity, other_clarity, SETTINGS) == 0).all()
    farther = looks_apart(one + 2 * (one - other), other, clarity, other_clarity, SETTINGS)
    assert (farther >= cost).all()
    assert (farther - cost <= SETTINGS.looks_nats * np.log(9) + 1e-9).all()
    assert (looks_apart(one, other, clarity + 1, other_clarity, SETTINGS) >= cost - 1e-12).all()
