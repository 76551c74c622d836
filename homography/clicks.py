"""A person's clicks on named marks of the field, and the camera of one frame that they give."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from homography.camera import LOG_FOCAL, distort, pose_of, project, rotation
from homography.crown import USUAL_CROWN
from homography.hypotheses import START_DISTORTION
from homography.marks import Mark, parse_mark
from homography.refine import CAMERA_HEIGHT_SD_YD, CAMERA_HEIGHT_YD
from homography.residuals import STEPS, spread
from homography.solution import SHARED, Part, Solution

Array = npt.NDArray[np.float64]
FEWEST = 4
CLICK_SIGMA = 0.0015
"""Of the picture's width: how far off a person clicks."""
WORST_SIGMAS = 4.0
CAMERA_SIGMAS = 2.5
"""A camera farther than this from every camera that films football explains the clicks only because they are wrong."""
ROLL_SD_RAD = 0.05
DISTORTION_SD = 0.012
STARTS = 5
FOCALS = np.geomspace(0.5, 8.0, 9)
"""Of the picture's width: focal lengths to start from."""


@dataclass(frozen=True)
class Click:
    """A mark and where it was clicked, px of the registered picture, in one frame of the clip."""

    mark: Mark
    xy_px: tuple[float, float]
    frame_index: int


def click(words: str, xy_px: Sequence[float], frame_index: int) -> Click:
    """A click on the mark of these words. Raises ValueError as `parse_mark` does."""
    return Click(parse_mark(words), (float(xy_px[0]), float(xy_px[1])), int(frame_index))


@dataclass(frozen=True)
class Spots:
    """Clicks as rows of the adjustment: `row` (N,) of the solution, `xy_px` and `xy_yd` (N, 2)."""

    row: npt.NDArray[np.int64]
    xy_px: Array
    xy_yd: Array
    sigma_px: float

    def __call__(self, solution: Solution, size: int) -> Part:
        """Differences between the projected marks and the clicks, with their derivatives."""
        n = len(self.row)
        pose, centre, distortion = spread(solution)
        away = solution.crown.raised(self.xy_yd) - centre[:, None]
        seen = np.einsum("vnij,vnj->vni", rotation(pose[:, self.row]), away)
        middle = np.array(solution.image_size_px) / 2.0
        ideal = middle + seen[..., :2] / seen[..., 2:] * np.exp(pose[:, self.row, LOG_FOCAL, None])
        bent = np.stack([distort(one, k, solution.image_size_px) for one, k in zip(ideal, distortion, strict=True)])
        slope = np.zeros((n, 2, 4 + SHARED))
        slope[..., :8] = np.moveaxis((bent[1:] - bent[0]) / STEPS[:, None, None], 0, 2)
        shared = np.broadcast_to(np.arange(size - SHARED, size), (n, SHARED))
        columns = np.concatenate([4 * self.row[:, None] + np.arange(4), shared], axis=1)
        return Part((bent[0] - self.xy_px).ravel() / self.sigma_px, slope.reshape(2 * n, -1) / self.sigma_px,
                    np.repeat(columns, 2, axis=0))


def spots_of(clicks: Sequence[Click], level: str, row_of: dict[int, int], width_px: int) -> Spots:
    """Those of the clicks whose frame has a row in the solution."""
    mine = [one for one in clicks if one.frame_index in row_of]
    return Spots(np.array([row_of[one.frame_index] for one in mine], dtype=np.int64),
                 np.array([one.xy_px for one in mine], dtype=float).reshape(-1, 2),
                 np.array([one.mark.xy_yd(level) for one in mine], dtype=float).reshape(-1, 2), CLICK_SIGMA * width_px)


def camera_from_clicks(clicks: Sequence[Click], image_size_px: tuple[int, int], level: str) -> Solution:
    """The camera of one frame from at least four clicks in it. Raises ValueError with one line where they are too few, lie on
    one line, or contradict each other."""
    views = {one.mark.view for one in clicks}
    if len(views) > 1:
        words = [next(one.mark.words for one in clicks if one.mark.view == view) for view in sorted(views)]
        raise ValueError(f"{words[1]!r} is seen from a sideline, {words[0]!r} from an end zone: name all marks from one camera")
    check_spread(clicks, level)
    camera = best_camera(clicks, image_size_px, level)[0]
    if camera is None:
        raise ValueError(_contradiction(clicks, image_size_px, level))
    return camera


def best_camera(clicks: Sequence[Click], image_size_px: tuple[int, int], level: str) -> tuple[Solution | None, Array]:
    """The camera that sees the clicks best, None if even that is none; and how far off each click is, in standard deviations."""
    starts = sorted(_starts(clicks, image_size_px, level), key=lambda one: one[0])[:STARTS]
    fitted = [_fit(clicks, image_size_px, level, pose, centre) for _, pose, centre in starts]
    if not fitted:
        return None, np.full(len(clicks), np.inf)
    camera, misses, oddity = min(fitted, key=lambda one: float((one[1] ** 2).sum()) + one[2] ** 2)
    return (None if misses.max() > WORST_SIGMAS or oddity > CAMERA_SIGMAS else camera), misses


def check_spread(clicks: Sequence[Click], level: str) -> None:
    """Raises ValueError unless four of the clicks lie so that no three of them are on one line."""
    if len({one.mark.words for one in clicks}) < FEWEST:
        raise ValueError(f"{len({one.mark.words for one in clicks})} different marks are clicked in one frame: at least {FEWEST} "
                         "are needed")
    words = sorted({one.mark.words for one in clicks})
    spots = np.array([parse_mark(one).xy_yd(level) for one in words])
    for i in range(len(spots)):
        for j in range(i):
            along = (spots[i] - spots[j]) / max(float(np.linalg.norm(spots[i] - spots[j])), 1e-9)
            off = np.abs((spots - spots[j]) @ np.array([-along[1], along[0]])) > 0.5
            if off.sum() < 2:
                which = "all clicks lie" if not off.any() else "all clicks but one lie"
                raise ValueError(f"{which} on one line ({words[j]}, {words[i]} ...): click two marks away from it too")


def _starts(clicks: Sequence[Click], size: tuple[int, int], level: str) -> list[tuple[float, Array, Array]]:
    """(how far off the clicks are, pose, centre) of cameras that roughly see them, for a range of focal lengths: above the field
    and looking over it as the marks are named."""
    ahead = 1 if clicks[0].mark.view == "sideline" else 0
    spots = np.array([(*one.mark.xy_yd(level), 0.0) for one in clicks])
    px = np.array([one.xy_px for one in clicks])
    found = []
    for focal in FOCALS * size[0]:
        pinhole = np.array([[focal, 0.0, size[0] / 2], [0.0, focal, size[1] / 2], [0.0, 0.0, 1.0]])
        try:
            _, turns, moves, off = cv2.solvePnPGeneric(spots, px, pinhole, None, flags=cv2.SOLVEPNP_IPPE)
        except cv2.error:
            continue
        for turn, move, error in zip(turns, moves, np.ravel(off), strict=True):
            matrix = np.asarray(cv2.Rodrigues(turn)[0], dtype=float)
            centre = -(matrix.T @ np.asarray(move, dtype=float)).ravel()
            if np.isfinite(centre).all() and centre[2] > 0.5 and matrix[2, ahead] > 0:
                found.append((float(error), pose_of(matrix, float(focal)), centre))
    return found


def _fit(clicks: Sequence[Click], size: tuple[int, int], level: str, pose: Array, centre: Array) -> tuple[Solution, Array, float]:
    """The camera nearest to a start that sees the clicks best; how far off each click is in standard deviations (N,), and how odd
    the camera is."""
    spots = np.array([one.mark.xy_yd(level) for one in clicks])
    px = np.array([one.xy_px for one in clicks])
    sigma = CLICK_SIGMA * size[0]

    def odd(values: Array) -> Array:
        return np.array([(values[6] - CAMERA_HEIGHT_YD) / CAMERA_HEIGHT_SD_YD, values[2] / ROLL_SD_RAD,
                         (values[7] - START_DISTORTION) / DISTORTION_SD])

    def rest(values: Array) -> Array:
        seen = project(spots, values[:4], values[4:7], float(values[7]), size, USUAL_CROWN)
        return np.concatenate([np.nan_to_num((seen - px).ravel() / sigma, nan=1e4), odd(values)])

    scale = np.array([0.01, 0.01, 0.01, 0.05, 1.0, 1.0, 1.0, 0.01])
    found = least_squares(rest, [*pose, *centre, START_DISTORTION], x_scale=scale, method="trf", max_nfev=60)
    misses = np.linalg.norm(found.fun[:-3].reshape(-1, 2), axis=1)
    solution = Solution(found.x[None, :4], found.x[4:7], float(found.x[7]), size)
    return solution, misses, float(np.abs(odd(found.x)).max())


def _contradiction(clicks: Sequence[Click], size: tuple[int, int], level: str) -> str:
    """One line on clicks that no camera explains: which one to look at, where leaving it out leaves the others in harmony."""
    culprits = []
    for out in range(len(clicks) if len(clicks) > FEWEST else 0):
        others = [one for k, one in enumerate(clicks) if k != out]
        try:
            check_spread(others, level)
        except ValueError:
            continue
        camera, left = best_camera(others, size, level)
        if camera is not None:
            spot = np.array([clicks[out].mark.xy_yd(level)])
            seen = project(spot, *camera.eye(0))[0]
            culprits.append((float(left.max()), float(np.hypot(*(seen - clicks[out].xy_px))), clicks[out].mark.words))
    if culprits:
        _, off_px, words = min(culprits)
        return f"the clicks contradict each other: {words!r} lies {off_px:.0f} px from where the others put it; click it again"
    return ("the clicks contradict each other: no camera sees these marks there; check which is which, left against right and "
            "near against far")
