"""Where a solution leaves the film: two neighbouring frames whose poses are not what the background did between them.

Frames are carried from several anchors before they are adjusted. Where two anchors took different lines for the same, all frames
of one keep together and all of the other, and the link between them is outvoted by the paint on both sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from homography.camera import calibration, rotation, undistort
from homography.evidence import FrameEvidence
from homography.residuals import transfer
from homography.solution import Solution
from homography.turning import Turning

TORN_PX = 3.0
"""Ten times what the worst of usual links is off."""


def tears(frames: Sequence[FrameEvidence], solution: Solution) -> npt.NDArray[np.intp]:
    """Rows whose frame is torn from the one before that it follows. `frames` are those of the solution's poses."""
    turn = calibration(solution.pose, solution.image_size_px) @ rotation(solution.pose)
    matrix = turn[1:] @ np.linalg.inv(turn[:-1])
    off = np.zeros(len(frames))
    for row, frame in enumerate(frames[1:], 1):
        if frame.follows(frames[row - 1]):
            before, after = (undistort(px.astype(float), solution.distortion, solution.image_size_px)
                             for px in (frame.before_px, frame.after_px))
            moved_to = transfer(matrix[None, [row - 1] * len(before)], before)[0]
            off[row] = np.median(np.linalg.norm(moved_to - after, axis=1))
    return np.flatnonzero(off > TORN_PX)


def mended(frames: Sequence[FrameEvidence], solution: Solution, torn: npt.NDArray[np.intp]) -> Solution:
    """The solution with all poses carried from the middle of its longest part that is whole, where the background leads on."""
    ends = np.concatenate([[0], torn, [len(frames)]])
    longest = int(np.diff(ends).argmax())
    middle = int(ends[longest] + ends[longest + 1]) // 2
    carried = Turning(frames).poses(middle, solution.pose[middle], solution.distortion)
    return replace(solution, pose=np.where(np.isfinite(carried), carried, solution.pose))
