"""Two cameras on invented people: the same man has the same id in both, and one camera holds who is hidden from the other."""

from __future__ import annotations

import numpy as np
import pytest

from vision.observations import Observations, gather
from vision.one_light import in_one_light
from vision.outfits import Wardrobe, dress
from vision.tracker import Shot, track_together
from vision.types import Detections

SIZE = (1280, 720)
RATE = 15.0
FRAMES = 60
SCALE = 20.0
"""px a yard in both invented pictures, seen straight from above: a plane is then a scaling and a turn."""


def plane(turned: bool) -> np.ndarray:
    """(3, 3) yards from px; the second camera looks from the side."""
    if turned:
        return np.array([[0.0, 1.0 / SCALE, 0.0], [-1.0 / SCALE, 0.0, 60.0], [0.0, 0.0, 1.0]])
    return np.diag([1.0 / SCALE, 1.0 / SCALE, 1.0])


def shot(paths: np.ndarray, turned: bool, hidden: np.ndarray | None = None, looks: np.ndarray | None = None,
         seed: int = 0) -> Shot:
    """People on paths (N, T, 2) yd in one camera, without those `hidden` (N, T)."""
    rng = np.random.default_rng(seed)
    px_from_yd = np.linalg.inv(plane(turned))
    found, colours = [], []
    for k in range(paths.shape[1]):
        rows = [i for i in range(len(paths)) if hidden is None or not hidden[i, k]]
        feet = np.column_stack([paths[rows, k], np.ones(len(rows))]) @ px_from_yd.T + rng.normal(0, 0.7, (len(rows), 3))
        boxes = np.column_stack([feet[:, 0] - 8, feet[:, 1] - 40, feet[:, 0] + 8, feet[:, 1]])
        found.append(Detections(k, k / RATE, boxes.astype(np.float32), np.full(len(rows), 0.9, np.float32),
                                np.zeros(len(rows), np.int64)))
        if looks is not None:
            colours.append(looks[rows] + rng.normal(0, 0.4, (len(rows), looks.shape[1])))
    times = np.arange(paths.shape[1]) / RATE
    return Shot(found, SIZE, np.arange(paths.shape[1]), times, colours if looks is not None else None,
                np.tile(plane(turned), (len(times), 1, 1)), np.full(len(times), 0.05))


def crossing() -> np.ndarray:
    """Two who cross, one who stands, (3, T, 2) yd."""
    t = np.linspace(0.0, 1.0, FRAMES)
    return np.stack([np.stack([20 + 12 * t, 15 + 0.0 * t], 1), np.stack([32 - 12 * t, 15.8 + 0.0 * t], 1),
                     np.stack([40 + 0.0 * t, 25 + 0.0 * t], 1)])


def ids_of(tracks_of_view, shot_of_view, paths: np.ndarray, turned: bool) -> list[set[int]]:
    out: list[set[int]] = [set() for _ in paths]
    for row in range(len(tracks_of_view)):
        foot = np.append(tracks_of_view.ground_px[row], 1.0) @ plane(turned).T
        off = np.linalg.norm(paths[:, int(tracks_of_view.frame_index[row])] - foot[:2], axis=1)
        if off.min() < 0.6:
            out[int(off.argmin())].add(int(tracks_of_view.track_id[row]))
    return out


def test_the_same_man_has_the_same_id_in_both() -> None:
    paths = crossing()
    shots = [shot(paths, False), shot(paths, True, seed=1)]
    one, two = track_together(shots)
    assert ids_of(one, shots[0], paths, False) == ids_of(two, shots[1], paths, True)
    assert all(len(ids) == 1 for ids in ids_of(one, shots[0], paths, False))


def test_who_is_hidden_from_one_camera_is_held_by_the_other() -> None:
    paths = crossing()
    hidden = np.zeros((3, FRAMES), dtype=bool)
    hidden[:2, 15:45] = True
    alone, = track_together([shot(paths, False, hidden)])
    both = track_together([shot(paths, False, hidden), shot(paths, True, seed=1)])[0]
    at = (both.frame_index > 18) & (both.frame_index < 42)
    feet = np.column_stack([both.ground_px[at], np.ones(at.sum())]) @ plane(False).T
    off = np.linalg.norm(paths[:, both.frame_index[at]] - feet[None, :, :2], axis=2).min(axis=0)
    assert np.median(off) < 0.3
    assert len(np.unique(both.track_id)) == 3
    assert len(alone) <= len(both)


def test_other_light_is_taken_out_of_the_second_view() -> None:
    paths = np.stack([np.stack([np.full(FRAMES, 10.0 + 4 * i), np.full(FRAMES, 12.0)], 1) for i in range(8)])
    looks = np.repeat(np.array([[0.0, 0.0, 0.0], [9.0, 3.0, 0.0]]), 4, axis=0) + np.random.default_rng(3).normal(0, 0.3, (8, 3))
    first, second = (obs_of(paths, looks, 0), obs_of(paths, looks @ np.diag([0.6, 1.4, 1.0]) + [30.0, -20.0, 5.0], 1))
    one, two = in_one_light([first, second])
    gap = np.abs(one.appearance.reshape(FRAMES, 8, -1).mean(axis=0) - two.appearance.reshape(FRAMES, 8, -1).mean(axis=0))
    assert gap.max() < 1.0
    assert gather([one, two]).appearance.shape[1] == 3


def obs_of(paths: np.ndarray, looks: np.ndarray, seed: int) -> Observations:
    n = len(paths)
    rng = np.random.default_rng(seed)
    count = n * FRAMES
    position = paths.transpose(1, 0, 2).reshape(-1, 2) + rng.normal(0, 0.1, (count, 2))
    boxes = np.column_stack([position * SCALE - [8, 40], position * SCALE + [8, 0]])
    eye = np.tile(np.eye(2) * 0.01, (count, 1, 1))
    return Observations(np.zeros(FRAMES, dtype=np.int64), np.arange(FRAMES), np.arange(FRAMES) / RATE,
                        np.repeat(np.arange(FRAMES), n), boxes, np.full(count, 0.9),
                        np.tile(looks, (FRAMES, 1)) + rng.normal(0, 0.3, (count, 3)), position, eye, eye, np.ones((count, 4)),
                        np.full(count, 2.0), np.zeros(count), np.zeros(count, dtype=np.bool_))


def test_frames_of_one_moment_stay_apart_in_time() -> None:
    paths = crossing()
    looks = np.zeros((3, 3))
    both = gather([obs_of(paths, looks, 0), obs_of(paths, looks, 1)])
    assert (np.diff(both.time_s) > 0).all()
    assert np.bincount(both.view).tolist() == [FRAMES, FRAMES]
    assert (np.diff(both.frame) >= 0).all()


def test_one_kit_for_the_same_man_in_both_views() -> None:
    t = np.linspace(0.0, 1.0, FRAMES)
    paths = np.stack([np.stack([8 + 3.0 * i + 2 * t, np.full(FRAMES, 10.0 + i)], 1) for i in range(12)])
    home, away = np.tile([20.0, 40.0, 30.0], 4), np.tile([80.0, 0.0, 0.0], 4)
    looks = np.array([home if i % 2 else away for i in range(12)])
    shots = [shot(paths, False, looks=looks), shot(paths, True, looks=looks + 6.0, seed=1)]
    tracks = track_together(shots)
    dressed = dress([Wardrobe(one, s.detections, s.appearance or ()) for one, s in zip(tracks, shots, strict=True)])
    kits = [dict(zip(one.track_id.tolist(), one.kit_id.tolist(), strict=True)) for one in dressed]
    assert kits[0] == kits[1]
    assert sorted(kits[0].values()) == [0] * 6 + [1] * 6


def test_colours_of_another_film_are_refused() -> None:
    paths = crossing()
    one = track_together([shot(paths, False)])[0]
    with pytest.raises(ValueError, match="pictures of colours"):
        Wardrobe(one, shot(paths, False).detections, [])
