"""Shirts told apart: drawn men on turf, in sun and shade, and track colours by the dozen."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.kit_groups import cluster, in_units
from vision.kits import DIMENSIONS, describe
from vision.teams import SMALLEST_TEAM
from vision.types import NO_KIT

TURF = (60, 120, 70)


def pitch(seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    ground = np.tile(np.array(TURF, np.float64), (360, 640, 1)) + rng.normal(0, 6, (360, 640, 1))
    picture = ground.clip(0, 255).astype(np.uint8)
    cv2.line(picture, (0, 200), (639, 210), (230, 230, 230), 2)
    return picture


def draw(picture: np.ndarray, foot: tuple[int, int], shirt: tuple[int, ...], trousers: tuple[int, ...], helmet: tuple[int, ...],
         height: int = 50) -> list[float]:
    """One man, feet at `foot`, some turf showing between arms and legs; returns his box."""
    x, y = foot
    wide = int(height * 0.4)
    top = y - height
    cv2.rectangle(picture, (x - 4, top), (x + 4, top + height // 6), helmet, -1)
    cv2.rectangle(picture, (x - wide // 3, top + height // 6), (x + wide // 3, top + height // 2), shirt, -1)
    for leg in (-1, 1):
        cv2.rectangle(picture, (x + leg * 5 - 2, top + height // 2), (x + leg * 5 + 2, y), trousers, -1)
    return [x - wide / 2, top, x + wide / 2, y]


def team_picture(kits: list[tuple[tuple[int, ...], ...]], seed: int = 0, shade: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """A picture of men in these kits, half of it in shade if wanted, and their boxes."""
    picture = pitch(seed)
    boxes = [draw(picture, (30 + 48 * (i % 12), 100 + 110 * (i // 12)), *kit) for i, kit in enumerate(kits)]
    if shade:
        picture[:, 300:] = (picture[:, 300:] * 0.55).astype(np.uint8)
    rng = np.random.default_rng(seed)
    noisy = (picture.astype(np.float64) + rng.normal(0, 5, picture.shape)).clip(0, 255).astype(np.uint8)
    return noisy, np.array(boxes)


WHITE = ((238, 238, 238), (235, 235, 235), (240, 240, 240))
GREY = ((185, 185, 185), (200, 200, 200), (60, 60, 60))
NAVY = ((90, 40, 20), (90, 40, 20), (90, 40, 20))
RED = ((40, 30, 200), (235, 235, 235), (240, 240, 240))
STRIPES = ((130, 130, 130), (30, 30, 30), (20, 20, 20))


def kits_over_frames(kits: list[tuple[tuple[int, ...], ...]], shade: bool = False) -> np.ndarray:
    looks = []
    for seed in range(7):
        picture, boxes = team_picture(kits, seed, shade)
        looks.append(describe(picture, boxes))
    stacked = np.stack(looks, axis=1)
    return cluster([in_units(track) for track in stacked], [np.ones(len(track)) for track in stacked])


def test_describe_gives_finite_numbers_for_any_box() -> None:
    boxes = np.array([[10, 10, 30, 60], [-20, -20, 5, 5], [630, 340, 700, 400], [50, 50, 50.5, 50.5], [0, 0, 640, 360]])
    looks = describe(pitch(), boxes)
    assert looks.shape == (5, DIMENSIONS)
    assert looks.dtype == np.float32
    assert np.isfinite(looks).all()
    assert describe(pitch(), np.zeros((0, 4))).shape == (0, DIMENSIONS)


def test_shirts_have_their_colour_in_lab() -> None:
    picture, boxes = team_picture([NAVY, WHITE, RED])
    navy, white, red = describe(picture, boxes)[:, 3:6]
    assert white[0] > navy[0] + 40   # L
    assert red[1] > 40               # a, toward red
    assert navy[2] < -10             # b, toward blue


def test_shade_changes_colours_less_than_kits_do() -> None:
    sun, boxes = team_picture([WHITE, GREY] * 6)
    shade, _ = team_picture([WHITE, GREY] * 6, shade=True)
    lit, dark = describe(sun, boxes), describe(shade, boxes)
    moved = np.abs(lit[:, 3] - dark[:, 3]).max()
    assert moved < 0.5 * abs(lit[0, 3] - lit[1, 3])


@pytest.mark.parametrize("pair", [(WHITE, NAVY), (WHITE, GREY), (NAVY, RED)], ids=["white-navy", "white-grey", "navy-red"])
@pytest.mark.parametrize("shade", [False, True], ids=["sun", "half in shade"])
def test_two_teams(pair: tuple[tuple[tuple[int, ...], ...], ...], shade: bool) -> None:
    kits = [pair[i % 2] for i in range(22)]
    kit = kits_over_frames(kits, shade)
    assert len(set(kit[0::2])) == 1
    assert len(set(kit[1::2])) == 1
    assert kit[0] != kit[1]
    assert set(kit) == {0, 1}


def test_officials_have_a_kit_of_their_own_and_the_passer_in_red_has_none() -> None:
    kits = [WHITE] * 10 + [NAVY] * 11 + [STRIPES] * 2 + [RED]
    kit = kits_over_frames(kits)
    assert set(kit[:10]) == {1}
    assert set(kit[10:21]) == {0}
    assert set(kit[21:23]) == {2}
    assert kit[23] == NO_KIT


def test_one_team_alone_is_not_split() -> None:
    assert set(kits_over_frames([NAVY] * 11)) == {0}


def tracks_of(groups: tuple[tuple[float, float, int, int], ...]) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """(boxes, clear) of men around `middle`, scattered by `spread`: (middle, spread, men, boxes each)."""
    rng = np.random.default_rng(0)
    looks = [rng.normal(rng.normal(at, spread, DIMENSIONS), 1.0, (boxes, DIMENSIONS))
             for at, spread, men, boxes in groups for _ in range(men)]
    return [in_units(one) for one in looks], [np.ones(len(one)) for one in looks]


def test_short_tracks_never_found_a_kit_but_join_one() -> None:
    kit = cluster(*tracks_of(((30, 2, 11, 300), (75, 2, 11, 300), (74, 5, 2, 12), (140, 3, 2, 12))))
    assert set(kit[22:24]) == {kit[11]}
    assert set(kit[24:]) == {NO_KIT}


def test_who_plays_is_in_a_team_though_his_shirt_is_dirty_and_who_does_not_is_in_none() -> None:
    groups = ((30, 5, 11, 60), (75, 5, 10, 60), (60, 1, 1, 60), (74, 2, 2, 60))
    player = np.array([True] * 22 + [False] * 2)
    kit = cluster(*tracks_of(groups), player)
    assert kit[21] == kit[11], "far from both, nearer to the second"
    assert set(kit[22:]) == {2}, "officials, though a team wears the like"


def test_boxes_lent_to_a_neighbour_do_not_change_a_shirt() -> None:
    boxes, clear = tracks_of(((30, 2, 11, 60), (75, 2, 11, 60)))
    boxes[0] = np.concatenate([boxes[0][:35], boxes[12][:25]])
    kit = cluster(boxes, clear)
    assert kit[0] == kit[1]


def test_nobody_and_one_man() -> None:
    assert len(cluster([], [])) == 0
    assert cluster([np.zeros((3, 9))], [np.ones(3)]).tolist() == [NO_KIT]
    assert 0 < SMALLEST_TEAM < 0.5
