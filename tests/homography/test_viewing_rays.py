"""Which way the camera looks at everybody, and the facing that one view lends another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from homography.align_views import Alignment
from homography.complete import complete
from homography.locate import viewing_rays
from homography.types import LOST, SOLVED, CameraPath, FieldTracks, FieldView
from homography.view import middle_px, plane_fits, sigma_at, to_image, yd_per_px

SIZE = (1280, 720)
CENTRE = np.array([60.0, -25.0, 12.0])
PEOPLE = np.array([[48.0, 20.0], [60.0, 30.0], [70.0, 22.0]])


def registered(camera_known: bool = True, status: int = SOLVED) -> FieldView:
    """One frame from the near sideline."""
    path = CameraPath(CENTRE, *(np.array([angle]) for angle in (np.pi / 2, 0.25, 0.0, 1400.0)), distortion=0.0)
    return FieldView(np.array([7]), plane_fits(path, SIZE), np.array([0.1]), np.array([status]), "sideline", "college", True,
                     path if camera_known else None, SIZE)


def test_the_ray_leads_from_the_camera_to_the_mans_feet() -> None:
    """Checked against the geometry itself: the direction on the ground from under the camera to the man."""
    view = registered()
    feet = to_image(view, 0, PEOPLE)
    expected = np.arctan2(PEOPLE[:, 1] - CENTRE[1], PEOPLE[:, 0] - CENTRE[0])
    assert np.allclose(viewing_rays(view, 7, feet), expected, atol=1e-3)
    without = viewing_rays(registered(camera_known=False), 7, feet)
    assert np.abs(without - expected).max() < np.radians(8), "the picture's upright is a fair guess"


def test_no_ray_without_a_field() -> None:
    feet = to_image(registered(), 0, PEOPLE)
    assert np.isnan(viewing_rays(registered(status=LOST), 7, feet)).all()
    assert np.isnan(viewing_rays(registered(), 8, feet)).all(), "a frame that the view does not hold"


def tracks(ids: list[int], facing: float, frames: int = 5) -> FieldTracks:
    frame, man = (column.ravel() for column in np.meshgrid(np.arange(frames), ids, indexing="ij"))
    xy = np.stack([50.0 + man, np.full(len(man), 20.0)], axis=1)
    return FieldTracks(frame, frame / 30.0, man, man * 0, np.ones(len(man), bool), xy, np.full(len(man), 0.2),
                       np.full(len(man), facing), np.full(len(man), 0.1 * abs(facing)))


def test_a_man_of_the_other_view_keeps_his_facing_turned_onto_this_field() -> None:
    own, other = tracks([1], 0.5), tracks([1, 2], -1.0)
    lent = complete(own, other, Alignment(0.0, True, np.zeros(2), 1.0))
    theirs, mine = lent.facing_rad[lent.track_id == 2], lent.facing_rad[lent.track_id == 1]
    assert np.allclose(np.exp(1j * theirs), np.exp(1j * (np.pi - 1.0)))
    assert np.allclose(mine, 0.5), "who is in this view is told by this view"
    assert np.allclose(lent.facing_sigma_rad, np.where(lent.track_id == 2, 0.1, 0.05)), "as sure as who saw him"
    open_ = complete(own, replace(other, facing_rad=np.full(len(other), np.nan)), Alignment(0.0, False, np.zeros(2), 1.0))
    assert np.isnan(open_.facing_rad[open_.track_id == 2]).all()


def test_what_a_px_is_worth_says_how_unsure_a_spot_is() -> None:
    """Against the geometry itself: from so high above level ground at a distance d, a px up covers d^2 + h^2 over f h yards."""
    view = registered()
    camera = view.camera
    assert camera is not None
    middle = middle_px(camera.eye(0, SIZE))
    near, far = to_image(view, 0, np.array([[60.0, 5.0], [60.0, 45.0]]))
    sigma = sigma_at(view, 0, np.array([middle, near, far]))
    assert np.isclose(sigma[0], view.sigma_yd[0])
    assert sigma[1] < sigma[0] < sigma[2]
    spot = np.array([[60.0, 20.0]])
    away, height, focal = 20.0 - CENTRE[1], CENTRE[2], 1400.0
    depression = np.arctan2(height, away) - 0.25
    stretch = 1.0 / (focal * np.cos(depression) ** -2)  # rad of a px off the picture's middle
    up, aside = (away**2 + height**2) / height * stretch, np.hypot(away, height) * np.cos(depression) / focal
    assert np.isclose(yd_per_px(view, 0, to_image(view, 0, spot))[0], np.sqrt((up**2 + aside**2) / 2), rtol=0.02)
    with pytest.raises(ValueError, match="frame"):
        sigma_at(registered(status=LOST), 0, near[None])
