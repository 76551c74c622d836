"""The simulated camera against OpenCV's projection and against itself: projection, rays, homography, panorama."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_clips.camera import Camera, choose_mount
from demo_clips.motion import POSES, Actor, RepMotion
from demo_clips.operator import film, random_habits
from demo_clips.panorama import cover

SIZE = (1280, 720)


def looking(pan: float = 1.5, tilt: float = -0.35, roll: float = 0.01, focal: float = 1500.0, k: float = -0.02) -> Camera:
    return Camera((60.0, -40.0, 18.0), pan, tilt, roll, focal, SIZE, k)


CAMERAS = st.builds(
    looking,
    st.floats(0.9, 2.2),
    st.floats(-0.6, -0.15),
    st.floats(-0.05, 0.05),
    st.floats(700, 4000),
    st.sampled_from([0.0, -0.03, -0.01, 0.004]),
)


def test_projection_agrees_with_opencv() -> None:
    camera = looking()
    points = np.random.default_rng(1).uniform((40, 5, 0), (80, 50, 3), (50, 3))
    width, height = SIZE
    rotation = camera.camera_from_world
    vector, _ = cv2.Rodrigues(rotation)
    # OpenCV's k1 acts on the normalised radius, ours on the radius over half the width.
    k1 = camera.distortion * (camera.focal_px / (width / 2)) ** 2
    intrinsic = np.array([[camera.focal_px, 0, width / 2], [0, camera.focal_px, height / 2], [0, 0, 1]])
    translation = -rotation @ np.asarray(camera.centre_yd)
    expected, _ = cv2.projectPoints(points, vector, translation, intrinsic, np.array([k1, 0, 0, 0]))
    assert np.abs(camera.project(points)[0] - expected[:, 0]).max() < 1e-6


def test_pan_and_tilt_mean_what_they_say() -> None:
    across = Camera((60, -40, 18), np.pi / 2, -0.3, 0.0, 1000, SIZE)
    left, right = across.project(np.array([[50, 20, 0], [70, 20, 0]]))[0]
    assert left[0] < 640 < right[0], "a sideline camera sees +x to the right"
    along = Camera((-20, 26, 14), 0.0, -0.2, 0.0, 1000, SIZE)
    left, right = along.project(np.array([[40, 40, 0], [40, 10, 0]]))[0]
    assert left[0] < 640 < right[0], "an end-zone camera sees -y to the right"
    near, far = along.project(np.array([[20, 26, 0], [90, 26, 0]]))[0]
    assert far[1] < near[1], "far is up"


@settings(max_examples=40, deadline=None)
@given(CAMERAS)
def test_rays_go_back_through_their_pixels(camera: Camera) -> None:
    pixels = np.random.default_rng(0).uniform((0, 0), SIZE, (30, 2))
    again, depth = camera.project(np.asarray(camera.centre_yd) + 50 * camera.rays(pixels))
    assert (depth > 0).all()
    assert np.abs(again - pixels).max() < 0.01


@settings(max_examples=40, deadline=None)
@given(CAMERAS)
def test_homography_is_exact_without_distortion_and_the_best_with_it(camera: Camera) -> None:
    u, v = np.meshgrid(np.linspace(10, 1270, 16), np.linspace(10, 710, 9))
    pixels = np.stack([u.ravel(), v.ravel()], axis=1)
    rays = camera.rays(pixels)
    ground = np.asarray(camera.centre_yd)[:2] - rays[:, :2] / np.minimum(rays[:, 2:], -1e-3) * camera.centre_yd[2]
    on_turf = (rays[:, 2] < 0) & (ground > -8).all(1) & (ground < (128, 61)).all(1)
    if on_turf.sum() < 30:
        return
    ground, pixels = ground[on_turf], pixels[on_turf]
    error = np.linalg.norm(cv2.perspectiveTransform(ground[None], camera.image_from_field())[0] - pixels, axis=1)
    if camera.distortion == 0.0:
        assert error.max() < 1e-5
    else:
        plain = np.linalg.norm(cv2.perspectiveTransform(ground[None], camera.pinhole_from_field)[0] - pixels, axis=1)
        assert (error**2).mean() < (plain**2).mean() + 1e-9
        assert np.sqrt((error**2).mean()) < 5.0


def test_panorama_shows_what_the_camera_sees() -> None:
    cameras = [looking(), looking(pan=1.6, focal=1300.0)]
    view = cover(cameras)
    spots = np.array([[55.0, 20.0, 0.0], [65.0, 30.0, 0.0], [60.0, 12.0, 1.0]])
    painted = np.zeros((view.size_px[1], view.size_px[0], 3), np.uint8)
    for u, v in view.project(spots)[0]:
        cv2.circle(painted, (round((u - 0.5) * 16), round((v - 0.5) * 16)), 60, (255, 255, 255), -1, cv2.LINE_AA, 4)
    for camera in cameras:
        seen = view.look(painted, camera)[..., 0]
        for u, v in camera.project(spots)[0]:
            x, y = int(u), int(v)
            patch = seen[y - 9 : y + 10, x - 9 : x + 10].astype(float)
            rows, columns = np.mgrid[y - 9 : y + 10, x - 9 : x + 10] + 0.5
            assert abs((patch * columns).sum() / patch.sum() - u) < 0.3
            assert abs((patch * rows).sum() / patch.sum() - v) < 0.3


def test_unknown_view_is_refused() -> None:
    with pytest.raises(ValueError, match="view: 'moon'"):
        choose_mount("moon", np.random.default_rng(0))


def spread_out(seconds: float = 4.0) -> RepMotion:
    """22 men at the line and deep, who run downfield after 2 s."""
    rng = np.random.default_rng(3)
    time_s = np.arange(0, seconds, 1 / 30)
    start = np.column_stack([60 + np.repeat([-1.5, 1.5], 11) * rng.uniform(0.5, 8, 22), rng.uniform(4, 49, 22)])
    ahead = np.maximum(time_s - 2.0, 0) * 4
    xy = start[:, None] + np.stack([ahead, np.zeros_like(ahead)], axis=1)[None]
    actors = tuple(
        Actor(f"P{i}", "offense" if i < 11 else "defense", "wr", "wr", i + 1, "home" if i < 11 else "away", 2.0)
        for i in range(22)
    )
    pose = np.where(time_s < 2.0, POSES.index("two-point"), POSES.index("run"))[None].repeat(22, 0)
    ball = np.column_stack([60 + ahead, np.full_like(ahead, 26), np.full_like(ahead, 1.0)])
    return RepMotion("college", time_s, 2.0, seconds - 0.5, actors, xy, np.zeros((22, len(time_s))), pose, ball)


@pytest.mark.parametrize("view", ["sideline", "end-zone"])
def test_the_operator_has_everybody_in_the_picture_at_the_snap(view: str) -> None:
    motion = spread_out()
    row = int(motion.snap_s * 30)
    for seed in range(8):
        rng = np.random.default_rng(seed)
        cameras = film(motion, choose_mount(view, rng), random_habits(rng), motion.time_s, SIZE, rng)
        pixels, depth = cameras[row].project(np.column_stack([motion.xy_yd[:, row], np.full(22, 1.0)]))
        inside = ((pixels > 0) & (pixels < SIZE)).all(1)
        assert inside.mean() > 0.95
        assert 15 < np.median(2.0 * cameras[row].focal_px / depth) < 160
        turns = np.abs(np.diff([c.pan_rad for c in cameras]))
        assert turns.max() < 0.06, "no operator turns faster than some 100 degrees a second"
