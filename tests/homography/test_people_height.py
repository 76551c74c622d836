"""People as a yardstick: their height by a camera against the textbook projection of `drawn`."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from homography.evidence import FrameEvidence
from homography.people_height import median_height_yd, plausible
from homography.solution import Solution
from tests.homography.drawn import end_zone_shot, sideline_shot

NOTHING = np.zeros((0, 2), dtype=np.float32)


def frame_with(boxes: np.ndarray, size: tuple[int, int]) -> FrameEvidence:
    return FrameEvidence(0, 0.0, size, None, None, NOTHING, NOTHING, boxes.astype(np.float32))


@given(seed=st.integers(0, 50), behind=st.booleans(), height_yd=st.floats(1.3, 2.3), people=st.integers(5, 22))
def test_people_are_as_tall_as_they_are(seed: int, behind: bool, height_yd: float, people: int) -> None:
    shot = end_zone_shot(seed, 1) if behind else sideline_shot(seed, 1)
    rng = np.random.default_rng(seed)
    middle = np.array([60.0, 26.0])
    spots = middle + rng.uniform(-8, 8, (people, 2))
    foot = shot.project(0, spots)
    head = shot.project(0, np.column_stack([spots, np.full(people, height_yd)]))
    boxes = np.column_stack([foot[:, 0] - 5, head[:, 1], foot[:, 0] + 5, foot[:, 1]])
    boxes = boxes[np.isfinite(boxes).all(axis=1)]
    angles = np.radians([shot.heading[0], shot.depression[0], shot.roll[0]])
    pose = np.array([[*angles, np.log(shot.focal[0])]])
    camera = Solution(pose, np.array(shot.centre), shot.k, shot.size)
    if len(boxes) < 5:
        assert np.isnan(median_height_yd([frame_with(boxes, shot.size)], camera))
        return
    assert median_height_yd([frame_with(boxes, shot.size)], camera) == pytest.approx(height_yd, rel=0.05)
    twice = Solution(pose, np.array(shot.centre) * [1, 1, 2], shot.k, shot.size)
    assert not plausible([frame_with(boxes, shot.size)], twice) or height_yd < 1.35
