"""Shapes lie where the registration puts them, and people stay in front of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from filmed_scene import LINE_X_YD, TURF_BGR, Scene, make_scene, project
from shapely.geometry import Point, Polygon

from homography.field import WIDTH_YD
from homography.types import LOST, FieldView
from tagger.cutups.overlay import OVERLAYS, RepOverlay
from tagger.cutups.palette import BLUE, VERMILLION, bgr
from tagger.cutups.turf import Label, Stroke, TurfPainter, area_of, circle_yd
from tagger.cutups.zones import Placement, zone_polygon
from vision.types import Tracks
from vision.video import read_frames

FRAME = 70


def blank(scene: Scene) -> np.ndarray:
    width, height = scene.seen.view.image_size_px
    return np.full((height, width, 3), TURF_BGR, np.uint8)


def empty(tracks: Tracks) -> Tracks:
    return Tracks(*(getattr(tracks, name)[:0] for name in ("frame_index", "time_s", "track_id", "xyxy", "observed", "kit_id",
                                                           "confidence", "foot_sigma_px")))


@pytest.mark.parametrize("corner", [(50.0, 10.0), (60.0, 30.0), (48.0, 45.0)])
def test_a_line_is_drawn_within_3_px_of_where_the_homography_puts_it(scene: Scene, corner: tuple[float, float]) -> None:
    painter = TurfPainter(scene.seen.view, empty(scene.seen.tracks))
    ends = np.array([corner, (corner[0] + 6.0, corner[1] + 2.0)])
    picture = painter.paint(blank(scene), FRAME, [Stroke(np.linspace(*ends, 20), VERMILLION, width_px=1)])
    drawn = np.argwhere(np.abs(picture.astype(int) - bgr(VERMILLION)).max(axis=2) < 60)[:, ::-1]
    wanted = project(scene.image_from_field[FRAME], np.linspace(*ends, 400))
    apart = np.linalg.norm(drawn[:, None] - wanted[None], axis=2)
    assert len(drawn) > 20
    assert apart.min(axis=1).max() <= 3.0
    assert apart.min(axis=0).max() <= 3.0


def test_an_area_covers_what_the_homography_says_to_within_3_px(scene: Scene) -> None:
    painter = TurfPainter(scene.seen.view, empty(scene.seen.tracks))
    polygon = Polygon([(50, 10), (62, 12), (60, 30), (52, 28)])
    picture = painter.paint(blank(scene), FRAME, [area_of(polygon, BLUE, None)])
    changed = np.abs(picture.astype(int) - TURF_BGR).max(axis=2) > 12
    outline = project(scene.image_from_field[FRAME], np.array(polygon.exterior.segmentize(0.1).coords))
    wanted = np.zeros(changed.shape, np.uint8)
    cv2.fillPoly(wanted, [np.rint(outline).astype(np.int32)], 1)
    ball = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    assert not (changed & (cv2.dilate(wanted, ball) == 0)).any()
    assert changed[cv2.erode(wanted, ball) == 1].all()


def test_a_scaled_frame_is_drawn_at_its_own_scale(scene: Scene) -> None:
    painter = TurfPainter(scene.seen.view, empty(scene.seen.tracks))
    half = cv2.resize(blank(scene), None, fx=0.5, fy=0.5)
    picture = painter.paint(half, FRAME, [Stroke(circle_yd(np.array([55.0, 20.0]), 0.3), VERMILLION, 1)])
    drawn = np.argwhere(np.abs(picture.astype(int) - TURF_BGR).max(axis=2) > 30)[:, ::-1].mean(axis=0)
    assert np.linalg.norm(drawn - project(scene.image_from_field[FRAME], np.array([[55.0, 20.0]]))[0] / 2) < 1.5


def test_people_stay_in_front_of_what_is_drawn_beneath_them(tmp_path: Path) -> None:
    scene = make_scene(tmp_path / "large.mp4", (1280, 720), duration_s=0.3)
    frame = list(read_frames(scene.path))[5].bgr
    painter = TurfPainter(scene.seen.view, scene.seen.tracks)
    everything = area_of(Polygon([(30, 0), (80, 0), (80, WIDTH_YD), (30, WIDTH_YD)]), BLUE, None)
    picture = painter.paint(frame, 5, [everything])
    untouched, painted = [], []
    free = np.ones(frame.shape[:2], bool)
    for x0, y0, x1, y1 in painter.boxes(5).astype(int):
        free[max(y0 - 2, 0) : y1 + 3, max(x0 - 2, 0) : x1 + 3] = False
    for x0, y0, x1, y1 in painter.boxes(5).astype(int):
        if x0 < 0 or y0 < 0 or x1 - x0 < 6 or x1 >= frame.shape[1] or y1 + 8 >= frame.shape[0]:
            continue
        inner = np.s_[y0 + 2 : y1 - 2, x0 + 2 : x1 - 2]
        untouched.append((picture[inner] == frame[inner]).all(axis=2).mean())
        beside = np.s_[y1 + 4 : y1 + 8, x0:x1]
        if free[beside].any():
            painted.append(np.abs(picture[beside].astype(int) - frame[beside]).max(axis=2)[free[beside]].mean() > 15)
    assert len(untouched) >= 18
    assert np.mean(untouched) > 0.97
    assert len(painted) >= 10
    assert all(painted)


def test_nothing_is_drawn_where_the_registration_is_lost(scene: Scene) -> None:
    view = scene.seen.view
    status = view.status.copy()
    status[FRAME] = LOST
    lost = TurfPainter(replace(view, status=status), scene.seen.tracks)
    frame = blank(scene)
    assert lost.paint(frame, FRAME, [Label((50.0, 20.0), "deep", BLUE)]) is frame
    assert lost.paint(frame, 10**6, [Label((50.0, 20.0), "deep", BLUE)]) is frame


def test_what_lies_behind_the_camera_is_cut_off(scene: Scene) -> None:
    """A camera low over the field: an area that reaches behind it must not come out upside down above the horizon."""
    size = (640, 360)
    height_yd, focal_px = 5.0, 600.0
    # Looks along +x from (60, 26), level: the horizon is the picture's middle.
    matrix = np.array([[320.0, -focal_px, focal_px * 26 - 320.0 * 60], [180.0, 0.0, focal_px * height_yd - 180.0 * 60],
                       [1.0, 0.0, -60.0]])
    view = FieldView(np.array([0]), np.linalg.inv(matrix)[None], np.array([0.2]), np.array([2]), "end-zone", None, True, None,
                     size)
    painter = TurfPainter(view, empty(scene.seen.tracks))
    picture = painter.paint(np.full((360, 640, 3), TURF_BGR, np.uint8), 0,
                            [area_of(Polygon([(40, 16), (100, 16), (100, 36), (40, 36)]), BLUE, 0.7)])
    changed = np.abs(picture.astype(int) - TURF_BGR).max(axis=2) > 12
    assert changed[200:].any()
    assert not changed[:176].any()


def test_zones_of_a_side_mirror_each_other_and_stay_apart() -> None:
    for assignment, area in [("deep-third", "left"), ("curl-flat", "left"), ("hook-curl", "left"), ("flat", "left"),
                             ("deep-half", "left"), ("deep-quarter", "left-inside")]:
        left = zone_polygon(assignment, area, 20.0)
        right = zone_polygon(assignment, area.replace("left", "right"), 20.0)
        assert left is not None
        assert right is not None
        assert left.area == pytest.approx(right.area)
        assert left.centroid.y + right.centroid.y == pytest.approx(WIDTH_YD)
        assert left.distance(right) > 0.5
    thirds = [zone_polygon("deep-third", area, 20.0) for area in ("left", "middle", "right")]
    # Common practice, no source: three deep men share the width, 17.8 yd each.
    assert [third.centroid.y for third in thirds if third] == pytest.approx([WIDTH_YD / 6, WIDTH_YD / 2, 5 * WIDTH_YD / 6])
    assert zone_polygon("man", None, 20.0) is None
    near_goal = zone_polygon("deep-third", "middle", 20.0, depth_yd=14.0)
    assert near_goal is not None
    assert near_goal.bounds[2] < 14.0


@pytest.mark.parametrize("direction", [1, -1])
def test_placement_there_and_back(direction: int) -> None:
    place = Placement(35.0, direction)
    spots = np.array([[5.0, 10.0], [-3.0, 40.0]])
    assert place.play_from_field(place.field_from_play(spots)) == pytest.approx(spots)
    # The offense attacks +x: its left sideline is the far one, y = 53 1/3.
    if direction == 1:
        assert place.field_from_play(np.array([[5.0, 0.0]]))[0] == pytest.approx([40.0, WIDTH_YD])


def test_overlay_draws_the_zone_of_each_man_and_the_cushion_at_the_event(scene: Scene) -> None:
    overlay = RepOverlay(scene.seen, scene.reading)
    shapes = overlay.shapes(4.3)
    words = [shape.words for shape in shapes if isinstance(shape, Label)]
    assert "deep ⅓ L" in words
    assert "over the top 1.2 yd" in words
    assert not any("rush" in w for w in words)
    assert overlay.shapes(1.0) == []
    line = next(s for s in shapes if isinstance(s, Stroke) and s.width_px == 3)
    receiver = overlay.where("O1", 4.3)
    assert receiver is not None
    assert np.linalg.norm(line.points_yd[-1] - receiver) < 0.05
    place = Placement(LINE_X_YD, 1)
    left_third = zone_polygon("deep-third", "left", WIDTH_YD / 3)
    assert left_third is not None
    drawn = next(s for s in shapes if hasattr(s, "outline_yd"))
    assert Polygon(drawn.outline_yd).contains(Point(place.field_from_play(np.array([left_third.centroid.coords[0]]))[0]))


def test_focus_keeps_the_others_faint(scene: Scene) -> None:
    shapes = RepOverlay(scene.seen, scene.reading, focus=frozenset({"D1"})).shapes(3.0)
    assert [s.faint for s in shapes if hasattr(s, "faint")].count(False) == 1
    assert [s.words for s in shapes if isinstance(s, Label)] == ["deep ⅓ L"]


def test_an_unknown_overlay_is_named(scene: Scene) -> None:
    with pytest.raises(ValueError, match=f"use {', '.join(OVERLAYS)}"):
        RepOverlay(scene.seen, scene.reading, parts=frozenset({"zoned"}))
