"""Frames of one clip that took different lines for the same are brought together again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from homography import FrameEvidence, solve, solve_clip
from homography.camera import PAN, ground
from homography.solution import Solution
from homography.stretches import Stretch
from homography.tears import tears
from tests.homography.test_solve import errors_yd, watched_sideline

FIRST_AFTER = 6


@pytest.mark.slow
def test_a_solution_torn_by_one_yard_line_is_whole_again(monkeypatch: pytest.MonkeyPatch) -> None:
    shot, evidence = watched_sideline("high-school", 3)
    found: list[Solution] = []
    start_all, adjust_all = solve.start_all, solve.adjust_all

    def torn_start(stretches: Sequence[Stretch], main: object) -> tuple[Solution, list[int]]:
        solution, rows = start_all(stretches, main)  # type: ignore[arg-type]
        pose = solution.pose.copy()
        middle = np.array(solution.image_size_px)[None] / 2.0
        pans = pose[FIRST_AFTER, PAN] + np.linspace(-0.2, 0.2, 801)
        x = [ground(middle, np.array([pan, *pose[FIRST_AFTER, 1:]]), *solution.eye(0)[1:])[0, 0] for pan in pans]
        pose[FIRST_AFTER:, PAN] += pans[np.argmin(np.abs(np.array(x) - x[400] - 5.0))] - pans[400]
        return Solution(pose, solution.centre_yd, solution.distortion, solution.image_size_px), rows

    def noted(evidence: Sequence[FrameEvidence], *rest: object, **more: object) -> Solution:
        found.append(adjust_all(evidence, *rest, **more))  # type: ignore[arg-type]
        return found[-1]

    monkeypatch.setattr(solve, "start_all", torn_start)
    monkeypatch.setattr(solve, "adjust_all", noted)
    view = solve_clip(evidence)
    first, second = found
    assert tears(evidence, first).tolist() == [FIRST_AFTER]
    assert tears(evidence, second).tolist() == []
    assert view.solved_share == 1.0
    assert np.median(errors_yd(shot, view)) < 0.1
