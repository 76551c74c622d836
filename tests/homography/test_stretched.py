"""A camera behind the goal and the one that sees nearly the same of a field twice as long."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from homography.camera import project
from homography.hypotheses import Hypothesis, stretched
from homography.solution import Solution, possible

SIZE = (1280, 720)
SPOTS = np.stack(np.meshgrid(np.arange(0.0, 60.0, 10.0), np.arange(0.0, 54.0, 9.0)), axis=-1).reshape(-1, 2)


def camera(pan: float, tilt: float, focal: float, centre: tuple[float, float, float]) -> Hypothesis:
    pose = np.array([[pan, tilt, 0.0, np.log(focal)]])
    return Hypothesis("end-zone", "college", (0,), Solution(pose, np.array(centre), -0.01, SIZE), 100.0)


@given(
    pan=st.floats(-1.5, 1.5), tilt=st.floats(-1.4, 1.5), focal=st.floats(50.0, 1e5), x=st.floats(-200.0, 200.0),
    y=st.floats(-100.0, 150.0), height=st.floats(0.01, 60.0),
)  # fmt: skip
def test_whatever_is_asked_a_camera_or_none(pan: float, tilt: float, focal: float, x: float, y: float, height: float) -> None:
    other = stretched(camera(pan, tilt, focal, (x, y, height)))
    assert other is None or (possible(other.solution) and other.solution.every_other)


@given(pan=st.floats(-0.1, 0.1), tilt=st.floats(0.06, 0.2), focal=st.floats(1200, 2600), x=st.floats(-45.0, -15.0),
       y=st.floats(18.0, 35.0), height=st.floats(7.0, 16.0))  # fmt: skip
def test_it_sees_the_field_twice_as_long_in_nearly_the_same_places(
    pan: float, tilt: float, focal: float, x: float, y: float, height: float
) -> None:
    one = camera(pan, tilt, focal, (x, y, height))
    other = stretched(one)
    assume(other is not None)  # too little turf in the picture
    assert other is not None
    solution = one.solution
    px = project(SPOTS, solution.pose[0], solution.centre_yd, solution.distortion, SIZE)
    with np.errstate(invalid="ignore"):
        seen = ((px > 0) & (px < np.array(SIZE))).all(axis=1) & (px[:, 1] > 0.4 * SIZE[1])
    assume(seen.sum() >= 6)
    there = project(SPOTS[seen] * [2.0, 1.0], other.solution.pose[0], other.solution.centre_yd, other.solution.distortion, SIZE)
    assert np.nanmedian(np.linalg.norm(there - px[seen], axis=1)) < 20.0
