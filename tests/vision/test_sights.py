"""The shipped networks on men drawn with a known facing and number, and what is said when they are missing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from demo_clips.camera import Camera
from demo_clips.crowds import Crowd, stand_up
from demo_clips.figure import People
from demo_clips.kits_design import SKINS, WHITE, official_kit, team_kit
from demo_clips.light import random_light
from demo_clips.wardrobe import Wardrobe
from vision.outlines import tightened
from vision.sights import CropReader, Sight, bin_angles
from vision.types import Detections

NAVY, GREY, RED = (110, 50, 30), (205, 205, 205), (40, 30, 190)
FACING = np.array([0.1, 0.9, 1.7, 2.6, -2.9, -1.9, -1.0, -0.3])


@pytest.fixture(scope="module")
def reader() -> CropReader:
    return CropReader(threads=1)


CAMERA = Camera(np.array([60.0, -25.0, 9.0]), np.pi / 2, -0.2, 0.0, 2000.0, (1280, 720), 0.0)
STAND_Y_YD = 18.0


def stand_x(n: int) -> np.ndarray:
    """Where n men side by side stand along the field, yd."""
    return 60.0 + 2.4 * (np.arange(n) - (n - 1) / 2)


def filmed(facing_rad: np.ndarray, seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A picture of men side by side, their boxes, and whether each wears navy (else grey); the last is an official."""
    n, rng, camera = len(facing_rad), np.random.default_rng(seed), CAMERA
    crowd = Crowd([], [], [], [])
    for k, facing in enumerate(facing_rad):
        x, y = stand_x(n)[k], STAND_Y_YD
        crowd.add(x, y, facing + np.arctan2(y + 25.0, x - 60.0), "stand", "a")
    navy = np.arange(n) % 2 == 0
    kits = [team_kit(NAVY if dark else GREY, WHITE, NAVY if dark else GREY, RED) for dark in navy]
    kits[-1] = official_kit()
    wardrobe = Wardrobe(np.full(n, 2.0), np.full(n, 1.05), tuple(kits), (SKINS[1],) * n, tuple(range(21, 21 + n)))
    turf = np.tile(np.array((70, 125, 80), float), (720, 1280, 1)) + rng.normal(0, 5, (720, 1280, 1))
    image = turf.clip(0, 255).astype(np.uint8)
    boxes, _ = People(wardrobe, random_light(rng)).draw(image, np.zeros(image.shape[:2], np.uint16), camera,
                                                        stand_up(crowd, wardrobe, rng))
    return image, boxes, navy


def found(boxes: np.ndarray) -> Detections:
    n = len(boxes)
    return Detections(0, 0.0, boxes.astype(np.float32), np.full(n, 0.9, np.float32), np.zeros(n, np.int64))


def test_facing_role_and_cloth_of_drawn_men(reader: CropReader) -> None:
    off, roles, dark, light = [], [], [], []
    for seed in range(3):
        image, boxes, navy = filmed(FACING, seed)
        sight = reader.look(image, boxes)
        told = np.angle(np.exp(sight.facing) @ np.exp(1j * bin_angles()))
        off.append(np.abs((told - FACING + np.pi) % (2 * np.pi) - np.pi))
        roles.append(sight.role.argmax(axis=1))
        dark.append(np.median(sight.cloth[:-1][navy[:-1], :3], axis=0))
        light.append(np.median(sight.cloth[:-1][~navy[:-1], :3], axis=0))
    assert np.median(off) < np.radians(20)
    assert np.mean(np.array(off) > np.pi / 2) < 0.15
    assert (np.array(roles)[:, :-1] == 0).mean() > 0.85
    assert (np.array(roles)[:, -1] == 1).all(), "black and white stripes are an official's"
    assert (np.array(light)[:, 0] - np.array(dark)[:, 0] > 20).all(), "L of Lab: grey against navy"


def test_outlines_of_drawn_men_and_the_ground_under_them(reader: CropReader) -> None:
    """Boxes shaken by 3% of the height come back nearer to what was drawn; the ground is where the men were put."""
    given, told, ground, said = [], [], [], []
    for seed in range(3):
        image, boxes, _ = filmed(FACING, seed)
        tall = (boxes[:, 3] - boxes[:, 1])[:, None]
        shaken = boxes + np.random.default_rng(seed).normal(0, 0.03, boxes.shape) * tall
        sight = reader.look(image, shaken)
        outline = sight.outline
        spots = np.column_stack([stand_x(len(boxes)), np.full(len(boxes), STAND_Y_YD), np.zeros(len(boxes))])
        given.append(np.abs(shaken - boxes) / tall)
        told.append(np.abs(outline[:, :4] - boxes) / tall)
        said.append(outline[:, 6:10] / tall)
        stands = tightened(found(shaken), sight).ground_px
        ground.append(np.abs(stands - CAMERA.project(spots)[0]) / tall)
    assert np.mean(told) < 0.6 * np.mean(given)
    assert np.median(ground) < 0.04
    assert 0.4 < np.mean(told) / np.mean(said) < 2.5, "as wrong as it says"


def test_histograms_are_probabilities_and_small_men_are_not_read(reader: CropReader) -> None:
    image, boxes, _ = filmed(FACING)
    sight = reader.look(image, boxes)
    for log in (sight.facing, sight.tens, sight.units):
        assert np.allclose(np.exp(log).sum(axis=1), 1.0, atol=1e-4)
    small = reader.look(image[::4, ::4].copy(), boxes / 4)
    assert (small.readable == 0).all()
    assert len(reader.look(image, np.zeros((0, 4)))) == 0
    unread = reader.look(image, boxes, numbers=False)
    assert not unread.readable.any()
    np.testing.assert_allclose(unread.facing, sight.facing)


def test_a_crowd_is_looked_at_in_parts_that_do_not_matter(reader: CropReader) -> None:
    image, boxes, _ = filmed(FACING)
    alone, crowd = reader.look(image, boxes), reader.look(image, np.tile(boxes, (20, 1)))
    for name in Sight.__dataclass_fields__:
        assert np.allclose(getattr(crowd, name)[-len(boxes):], getattr(alone, name), atol=1e-4)


def test_missing_or_broken_weights_are_one_line(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"looks\.onnx: no such weights; reinstall the package"):
        CropReader(folder=tmp_path)
    (tmp_path / "looks.onnx").write_bytes(b"no network")
    with pytest.raises(ValueError, match=r"looks\.onnx: not an ONNX network") as raised:
        CropReader(folder=tmp_path)
    assert "\n" not in str(raised.value)
