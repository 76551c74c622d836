"""Portraits for training: labels that fit the pictures, the same on any number of workers."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import cv2
import numpy as np
import pytest

from demo_clips.camera import Camera
from demo_clips.crowds import Crowd
from demo_clips.figure import People, plain_numerals, visible_shares
from demo_clips.kits_design import SKINS, random_kit
from demo_clips.light import random_light
from demo_clips.motion import POSES
from demo_clips.numerals import random_numerals
from demo_clips.skeleton import attitude, joints
from demo_clips.training_crops import PORTRAIT, TALLEST_PX, Labels, label_scene, portrait, write_crops
from demo_clips.training_frames import Scene
from demo_clips.wardrobe import Wardrobe, points_of


def scene(facing_rad: list[float], numbers: list[int], gap_yd: float = 2.0) -> Scene:
    """Men side by side before a camera that looks along +y, their torsos turned so far from its ray."""
    n = len(facing_rad)
    rng = np.random.default_rng(2)
    camera = Camera(np.array([60.0, -20.0, 8.0]), np.pi / 2, -0.19, 0.0, 2200.0, (1280, 720), 0.0)
    crowd = Crowd([], [], [], [])
    for k, facing in enumerate(facing_rad):
        x, y = 60 + gap_yd * (k - (n - 1) / 2), 20.0
        crowd.add(x, y, facing + np.arctan2(y + 20.0, x - 60.0), "stand", "a")
    kit = random_kit(np.random.default_rng(4), light=False)
    wardrobe = Wardrobe(np.full(n, 2.0), np.full(n, 1.05), (kit,) * n, (SKINS[1],) * n, tuple(numbers))
    angles = attitude(np.full(n, POSES.index("stand")), np.zeros(n), np.zeros(n), np.zeros(n))
    points = points_of(joints(angles, wardrobe.height_yd, wardrobe.bulk, np.array(crowd.xy), np.array(crowd.torso)))
    image, ids = np.full((720, 1280, 3), (60, 120, 70), np.uint8), np.zeros((720, 1280), np.uint16)
    box, areas = People(wardrobe, random_light(rng)).draw(image, ids, camera, points)
    return Scene(image, ids, camera, crowd, wardrobe, points, plain_numerals(wardrobe.numbers), box, visible_shares(ids, areas))


def labels(filmed: Scene) -> Labels:
    """In the order of the crowd."""
    found = label_scene(filmed, filmed.image, 1.0, np.random.default_rng(0))
    order = np.argsort(np.random.default_rng(0).permutation(len(filmed.box)))
    return Labels(*(getattr(found, item.name)[order] for item in fields(Labels)))


def test_facing_is_measured_from_the_viewing_ray() -> None:
    turned = [-2.5, -1.0, 0.0, 1.2, 3.0]
    found = labels(scene(turned, [10, 11, 12, 13, 14]))
    assert np.allclose(found.facing_rad, turned, atol=1e-5)
    assert (found.square[[0, 4]] > 0.4).all(), "they look into the camera"
    assert found.square[2] < -0.8, "his back shows"


def test_numbers_count_only_where_they_show() -> None:
    found = labels(scene([0.0, np.pi, np.pi / 2, 0.0], [24, 7, 88, 31]))
    assert found.digits.tolist() == [[2, 4], [10, 7], [8, 8], [3, 1]]
    assert (found.digit_seen[[0, 1, 3]] > 0.9).all()
    assert (found.digit_seen[2] == 0).all(), "from the side no number is drawn"
    crowded = labels(scene([0.0, 0.0], [24, 31], gap_yd=0.35))
    assert crowded.digit_seen.min() < 0.6, "one hides the other's number"


def test_a_portrait_keeps_the_films_pixels_and_reduces_only_large_men() -> None:
    image = np.zeros((720, 1280, 3), np.uint8)
    small, large = np.array([600.0, 300.0, 630.0, 380.0]), np.array([100.0, 100.0, 300.0, 660.0])
    for box in (small, large):
        cv2.rectangle(image, box[:2].astype(int).tolist(), (box[2:].astype(int) - 1).tolist(), (255, 255, 255), -1)
    picture, placed = portrait(image, small.reshape(2, 2))
    assert picture.shape == (*PORTRAIT, 3)
    assert np.allclose(placed[1] - placed[0], small[2:] - small[:2])
    picture, placed = portrait(image, large.reshape(2, 2))
    placed = placed.ravel()
    assert placed[3] - placed[1] == pytest.approx(TALLEST_PX, abs=0.5)
    rows, columns = np.nonzero(picture[..., 0] > 127)
    assert np.allclose([columns.min(), rows.min(), columns.max() + 1, rows.max() + 1], placed, atol=1.0)


@pytest.mark.slow
def test_shards_are_the_same_on_any_number_of_workers(tmp_path: Path) -> None:
    files = [sorted(write_crops(5, 1, tmp_path / str(workers), workers, least_px=20).iterdir()) for workers in (1, 2)]
    assert [file.name for file in files[0]] == ["val-5-000000.npz"] == [file.name for file in files[1]]
    for one, two in zip(*files, strict=True):
        with np.load(one) as a, np.load(two) as b:
            assert a["shown_px"].min() >= 20
            assert len(a["box"]) > 5
            assert all(np.array_equal(a[item.name], b[item.name]) for item in fields(Labels))
    with pytest.raises(ValueError, match="ask for at least one"):
        write_crops(5, 0, tmp_path)


def test_numerals_stay_on_the_shirt() -> None:
    for seed in range(20):
        drawn = random_numerals(np.random.default_rng(seed), (88, 1, None))
        assert drawn[2] == []
        for number in drawn[:2]:
            assert np.abs(np.concatenate(number)[:, 0]).max() < 0.16, "shares of the body height: within the shoulders"
            assert np.abs(np.concatenate(number)[:, 1]).max() < 0.1


