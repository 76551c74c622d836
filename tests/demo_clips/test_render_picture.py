"""What is drawn against what is said of it: painted lines, boxes, ids, shares, kits and numbers."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from demo_clips import backdrop
from demo_clips.camera import Camera
from demo_clips.crowds import Crowd, random_crowd, stand_up, wardrobe_for
from demo_clips.figure import People, visible_shares
from demo_clips.kits_design import random_kit
from demo_clips.light import Light
from demo_clips.motion import POSES
from demo_clips.panorama import cover
from demo_clips.scenery import Scenery
from demo_clips.skeleton import ANGLES, JOINT, attitude, joints
from demo_clips.turf import Field, Paint, boundaries, hash_marks, line, numbers, yard_lines
from demo_clips.wardrobe import Wardrobe, points_of
from homography.field import LEVELS, WIDTH_YD

SIZE = (1280, 720)
ROWS = (15.0, 22.0, 30.0)
NOON = Light((), 0.8, (1.0, 1.0, 1.0), (0.8, 0.7, 0.6), 0.0, (0.7, 0.7, 0.7), 0.0, "clear", False)
CAMERA = Camera((60.0, -30.0, 16.0), 1.57, -0.42, 0.01, 1100.0, SIZE)


def bare_field(coats: list[Paint]) -> Field:
    return Field("college", coats, (0.1, 0.3, 0.1), (0.1, 0.1, 0.1), (0.1, 0.2, 0.1), 0.0, 0.0, True, 0.0, 0.0, 0.0, 0.0, 5.0, 1)


def lined() -> Field:
    along = [line((10.0, y), (110.0, y), 0.4) for y in ROWS]
    return bare_field([Paint(yard_lines(width=0.4) + boundaries(0.4) + along, (255, 255, 255), 1.0)])


def crossing_of_lines(picture: npt.NDArray[np.uint8], camera: Camera, x: float) -> npt.NDArray[np.float64]:
    """Sub-pixel middles of the yard line x along short horizontal scans, with the heights of the scans: (n, 2) px."""
    found = []
    for y in (10.0, 18.0, 26.0, 34.0, 42.0):
        u, v = camera.project(np.array([x, y, 0.0]))[0]
        if not (30 < u < SIZE[0] - 30 and 5 < v < SIZE[1] - 5):
            continue
        row = int(v)
        scan = picture[row, int(u) - 20 : int(u) + 21, 1].astype(float)
        scan = np.clip(scan - np.median(scan) - 10, 0, None)
        if scan.sum() > 50:
            found.append(((scan * (np.arange(41) + int(u) - 20 + 0.5)).sum() / scan.sum(), row + 0.5))
    return np.array(found)


def heights_of_rows(picture: npt.NDArray[np.uint8], camera: Camera, y: float) -> npt.NDArray[np.float64]:
    """The same for lines along the field, by short vertical scans between the yard lines."""
    found = []
    for x in np.arange(47.5, 75, 5):
        u, v = camera.project(np.array([x, y, 0.0]))[0]
        if 30 < u < SIZE[0] - 30 and 30 < v < SIZE[1] - 30:
            column = int(u)
            scan = picture[int(v) - 12 : int(v) + 13, column, 1].astype(float)
            scan = np.clip(scan - np.median(scan) - 10, 0, None)
            found.append((column + 0.5, (scan * (np.arange(25) + int(v) - 12 + 0.5)).sum() / scan.sum()))
    return np.array(found)


@pytest.mark.parametrize("through_panorama", [False, True], ids=["direct", "panorama"])
@pytest.mark.parametrize("distortion", [0.0, -0.02])
def test_painted_lines_lie_where_the_truth_says(through_panorama: bool, distortion: float) -> None:
    camera = replace(CAMERA, distortion=distortion)
    if through_panorama:
        view = cover([camera, replace(camera, pan_rad=1.7, focal_px=1250.0)])
        picture = view.look(backdrop.paint(view, lined(), Scenery(), NOON, fine=2), camera)
    else:
        picture = backdrop.paint(camera, lined(), Scenery(), NOON, fine=3)
    checked = 0
    for x in range(45, 80, 5):
        pixels = crossing_of_lines(picture, camera, float(x))
        for u, v in pixels:
            ray = camera.rays(np.array([u, v]))
            ground = np.asarray(camera.centre_yd) - ray / ray[2] * camera.centre_yd[2]
            scale = camera.focal_px / np.linalg.norm(ground - camera.centre_yd)
            assert abs(ground[0] - x) * scale < 0.5
            if distortion == 0.0:
                mapped = cv2.perspectiveTransform(np.array([[[u, v]]]), np.linalg.inv(camera.image_from_field()))[0, 0]
                assert abs(mapped[0] - x) * scale < 0.5
            checked += 1
    assert checked >= 15
    for y in ROWS:
        for u, v in heights_of_rows(picture, camera, y):
            ray = camera.rays(np.array([u, v]))
            ground = np.asarray(camera.centre_yd) - ray / ray[2] * camera.centre_yd[2]
            above = camera.project(np.array([ground[0], y, 0.0]))[0]
            assert abs(above[1] - v) < 0.5
            checked += 1
    assert checked >= 25


def test_a_crowned_field_carries_its_lines() -> None:
    field = replace(lined(), crown_yd=0.4, crown_power=1.4)
    assert field.height(np.array([-3.0, 0.0, WIDTH_YD / 2, WIDTH_YD])).tolist() == pytest.approx([0.0, 0.0, 0.4, 0.0])
    picture = backdrop.paint(CAMERA, field, Scenery(), NOON, fine=3)
    checked = 0
    for y in ROWS:
        raised = replace(CAMERA, centre_yd=(60.0, -30.0, 16.0 - float(field.height(np.array(y)))))
        for u, v in heights_of_rows(picture, raised, y):
            ray = raised.rays(np.array([u, v]))
            ground = np.asarray(raised.centre_yd) - ray / ray[2] * raised.centre_yd[2]
            assert abs(raised.project(np.array([ground[0], y, 0.0]))[0][1] - v) < 0.5
            level = CAMERA.project(np.array([ground[0], y, 0.0]))[0][1]
            assert level - v > 3.0, "the turf there stands higher than the sidelines"
            checked += 1
    assert checked >= 12


def test_turf_measures() -> None:
    """NCAA Football Rules 1-2: hash marks 60 ft from the sidelines; NFHS 53 ft 4 in.; NFL 70 ft 9 in. (from memory)."""
    for level, feet in (("college", 60.0), ("high-school", 53 + 4 / 12), ("pro", 70.75)):
        ticks = [p for p in hash_marks(level, inward=False) if np.ptp(p[:, 0]) > np.ptp(p[:, 1])]
        heights = {round(float(p[:, 1].mean()) * 3, 2) for p in ticks}
        assert heights == {round(feet, 2), round(160 - feet, 2)}
    lines = yard_lines()
    assert len(lines) == 21
    assert np.allclose([np.ptp(p[:, 0]) * 36 for p in lines], 4.0), "painted lines are 4 in. wide"
    top = max(p[:, 1].max() for p in numbers("college", arrows=False) if p[:, 1].max() < WIDTH_YD / 2)
    assert top == pytest.approx(9.0, abs=0.1), "college: tops of the numbers 9 yd from the sideline"
    assert LEVELS["college"].number_height_yd == 2.0


def one_man(
    xy: tuple[float, float], pose: str = "stand", torso: float = -np.pi / 2, number: int | None = 8
) -> tuple[Wardrobe, npt.NDArray[np.float64]]:
    kit = replace(
        random_kit(np.random.default_rng(0), light=False), jersey=(150, 40, 40), number=(250, 250, 250), number_edge=None
    )
    wardrobe = Wardrobe(np.array([2.0]), np.array([1.1]), (kit,), ((110, 140, 190),), (number,))
    angles = attitude(np.array([POSES.index(pose)]), np.zeros(1), np.zeros(1), np.zeros(1))
    return wardrobe, points_of(joints(angles, wardrobe.height_yd, wardrobe.bulk, np.array([xy]), np.array([torso])))


@pytest.mark.parametrize("pose", POSES)
def test_everybody_stands_on_the_ground(pose: str) -> None:
    angles = attitude(np.array([POSES.index(pose)]), np.ones(1), np.full(1, 3.0), np.zeros(1))
    body = joints(angles, np.array([2.0]), np.ones(1), np.array([[50.0, 20.0]]), np.array([1.0]))[0]
    assert angles.shape == (1, len(ANGLES))
    assert 0.0 <= body[:, 2].min() < 0.25
    assert body[:, 2].max() < 2.7
    if pose in ("stand", "walk", "run"):
        assert 1.7 < body[JOINT["crown"], 2] < 2.15
    assert np.linalg.norm(body[JOINT["pelvis"], :2] - (50, 20)) < 1.0


@pytest.mark.parametrize("pose", ["stand", "run", "three-point", "ground"])
def test_box_is_tight_about_the_silhouette_and_foot_is_where_he_stands(pose: str) -> None:
    wardrobe, points = one_man((61.0, 20.0), pose)
    picture = np.full((SIZE[1], SIZE[0], 3), 90, np.uint8)
    ids = np.zeros(picture.shape[:2], np.uint16)
    boxes, areas = People(wardrobe, NOON).draw(picture, ids, CAMERA, points)
    rows, columns = np.nonzero(ids)
    drawn = (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
    assert np.abs(boxes[0] - drawn).max() < 1.6
    assert areas[0] == (ids == 1).sum()
    assert (picture[ids == 0] == 90).mean() > 0.995, "nothing is drawn far outside the silhouette"
    if pose == "stand":
        foot = CAMERA.project(np.array([61.0, 20.0, 0.0]))[0]
        assert abs((boxes[0, 0] + boxes[0, 2]) / 2 - foot[0]) < 0.15 * (boxes[0, 3] - boxes[0, 1])
        assert abs(boxes[0, 3] - foot[1]) < 0.12 * (boxes[0, 3] - boxes[0, 1])
        head = CAMERA.project(np.array([61.0, 20.0, 2.0]))[0]
        assert abs(boxes[0, 1] - head[1]) < 0.1 * (boxes[0, 3] - boxes[0, 1])


def test_the_nearer_man_hides_the_farther_one() -> None:
    wardrobe, near = one_man((60.0, 18.0))
    _, far = one_man((60.0, 18.9))
    _, alone = one_man((68.0, 18.0))
    points = np.concatenate([far, near, alone])
    cast = Wardrobe(np.full(3, 2.0), np.full(3, 1.1), wardrobe.kits * 3, wardrobe.skins * 3, (1, 2, 3))
    picture, ids = np.zeros((SIZE[1], SIZE[0], 3), np.uint8), np.zeros((SIZE[1], SIZE[0]), np.uint16)
    boxes, areas = People(cast, NOON).draw(picture, ids, CAMERA, points)
    shares = visible_shares(ids, areas)
    assert shares[1] == shares[2] == 1.0
    assert 0.05 < shares[0] < 0.75
    assert np.isfinite(boxes).all()


def test_a_man_half_out_of_the_picture_and_one_behind_the_camera() -> None:
    edge = CAMERA.rays(np.array([0.0, 400.0]))
    spot = np.asarray(CAMERA.centre_yd) - edge / edge[2] * CAMERA.centre_yd[2]
    wardrobe, points = one_man((float(spot[0]), float(spot[1])))
    _, behind = one_man((60.0, -45.0))
    cast = Wardrobe(np.full(2, 2.0), np.full(2, 1.1), wardrobe.kits * 2, wardrobe.skins * 2, (1, 2))
    picture, ids = np.zeros((SIZE[1], SIZE[0], 3), np.uint8), np.zeros((SIZE[1], SIZE[0]), np.uint16)
    boxes, areas = People(cast, NOON).draw(picture, ids, CAMERA, np.concatenate([points, behind]))
    shares = visible_shares(ids, areas)
    assert boxes[0, 0] < 0 < boxes[0, 2]
    assert 0.05 < shares[0] < 0.75
    assert np.isnan(boxes[1]).all()
    assert shares[1] == 0.0


def test_number_and_facemask_show_which_way_he_faces() -> None:
    """The numbers stand on chest and back; the face opening only shows from the front."""
    close = replace(CAMERA, focal_px=5200.0, tilt_rad=-0.29, pan_rad=1.5708)
    looks = {}
    for name, torso in (("toward", -np.pi / 2), ("away", np.pi / 2), ("left", np.pi)):
        wardrobe, points = one_man((60.0, 22.0), "stand", torso)
        picture, ids = np.zeros((SIZE[1], SIZE[0], 3), np.uint8), np.zeros((SIZE[1], SIZE[0]), np.uint16)
        boxes, _ = People(wardrobe, NOON).draw(picture, ids, close, points)
        x0, y0, x1, y1 = np.round(boxes[0]).astype(int)
        looks[name] = picture[max(y0, 0) : y1, x0:x1]
    trunk = {name: look[int(len(look) * 0.2) : int(len(look) * 0.5)] for name, look in looks.items()}
    white = {name: ((part > 150).all(2)).mean() for name, part in trunk.items()}
    assert white["toward"] > 0.01
    assert white["away"] > 0.01
    size = (60, 40)
    heads = {name: cv2.resize(look[: int(len(look) * 0.14)], size).astype(float) for name, look in looks.items()}
    assert np.abs(heads["toward"] - heads["away"]).mean() > 2.0


def test_shadows_fall_away_from_the_sun() -> None:
    sun = replace(NOON, lamps=((np.array([0.8, 0.0, 0.6]), 0.5),))
    wardrobe, points = one_man((60.0, 20.0))
    mask = np.full((SIZE[1], SIZE[0]), 255, np.uint8)
    People(wardrobe, sun).shadows(mask, CAMERA, points)
    columns = np.nonzero(mask < 200)[1]
    foot = CAMERA.project(np.array([60.0, 20.0, 0.0]))[0]
    assert columns.mean() < foot[0] - 5, "sun in +x, shadow toward -x"


def test_a_crowd_comes_out_the_same_from_the_same_seed() -> None:
    pictures = []
    for _ in range(2):
        rng = np.random.default_rng(11)
        crowd: Crowd = random_crowd(rng, 60.0, 26.0, 40.0)
        wardrobe = wardrobe_for(crowd, rng)
        points = stand_up(crowd, wardrobe, rng)
        picture, ids = np.zeros((SIZE[1], SIZE[0], 3), np.uint8), np.zeros((SIZE[1], SIZE[0]), np.uint16)
        People(wardrobe, NOON).draw(picture, ids, CAMERA, points)
        pictures.append(picture)
    assert (pictures[0] == pictures[1]).all()
    assert pictures[0].any()
