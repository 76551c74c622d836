"""Straight stripes from oriented ridge points: a Hough transform in which each point votes only near its own direction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

ANGLE_BINS = 180
OFFSET_BIN_PX = 3.0
VOTE_SPREAD = 5
MOST_STRIPES = 26
FEWEST_POINTS = 8
INLIER_PX = 3.0
INLIER_ANGLE = np.cos(np.radians(10.0))


@dataclass(frozen=True)
class Stripes:
    """Straight stripes of one picture in ideal (undistorted) px.

    `line` (S, 3) with unit normal, `line @ (x, y, 1) = 0`; `ends_px` (S, 2, 2); `points` (S,) how many points lie on it.
    """

    line: npt.NDArray[np.float64]
    ends_px: npt.NDArray[np.float64]
    points: npt.NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.line)


def find_stripes(xy_px: npt.NDArray[Any], normal_rad: npt.NDArray[Any], most: int = MOST_STRIPES) -> Stripes:
    """The most supported straight stripes among ridge points (N, 2) with normals (N,)."""
    lines: list[list[float]] = []
    ends: list[npt.NDArray[Any]] = []
    counts: list[int] = []
    xy = xy_px.astype(np.float64)
    origin = xy.mean(axis=0) if len(xy) else np.zeros(2)
    centred = xy - origin
    reach = float(np.linalg.norm(centred, axis=1).max()) + OFFSET_BIN_PX if len(xy) else 1.0
    offsets = int(2 * reach / OFFSET_BIN_PX) + 3
    step = np.arange(-VOTE_SPREAD, VOTE_SPREAD + 1)
    angle = (np.round(normal_rad * ANGLE_BINS / np.pi).astype(int)[:, None] + step) % ANGLE_BINS
    theta = angle * np.pi / ANGLE_BINS
    offset = centred[:, :1] * np.cos(theta) + centred[:, 1:] * np.sin(theta)
    cell = angle * offsets + ((offset + reach) / OFFSET_BIN_PX).astype(int) + 1
    normal = np.stack([np.cos(normal_rad), np.sin(normal_rad)], axis=1)
    free = np.ones(len(xy), dtype=bool)
    while len(lines) < most and free.sum() >= FEWEST_POINTS:
        votes = np.bincount(cell[free].ravel(), minlength=ANGLE_BINS * offsets)
        votes[:-1] += votes[1:]
        peak = int(votes.argmax())
        if votes[peak] < FEWEST_POINTS:
            break
        turn = (peak // offsets) * np.pi / ANGLE_BINS
        line = np.array([np.cos(turn), np.sin(turn), -((peak % offsets) * OFFSET_BIN_PX - reach)])
        on = free
        for tolerance in (2.0 * INLIER_PX, INLIER_PX, INLIER_PX):
            on = free & (np.abs(centred @ line[:2] + line[2]) < tolerance) & (np.abs(normal @ line[:2]) > INLIER_ANGLE)
            if on.sum() < FEWEST_POINTS:
                break
            line = fit_line(centred[on])
        used = on if on.sum() >= FEWEST_POINTS else (cell == peak).any(axis=1) & free
        free = free & ~used
        if on.sum() < FEWEST_POINTS:
            if not used.any():
                break
            continue
        tangent = np.array([-line[1], line[0]])
        along = np.percentile(centred[on] @ tangent, [2, 98])
        foot = -line[2] * line[:2]
        ends.append(foot + along[:, None] * tangent + origin)
        lines.append([line[0], line[1], line[2] - line[:2] @ origin])
        counts.append(int(on.sum()))
    return Stripes(np.array(lines).reshape(-1, 3), np.array(ends).reshape(-1, 2, 2), np.array(counts, dtype=np.int64))


def joined(one: Stripes, other: Stripes) -> Stripes:
    """The stripes of both."""
    return Stripes(np.concatenate([one.line, other.line]), np.concatenate([one.ends_px, other.ends_px]),
                   np.concatenate([one.points, other.points]))


def fit_line(xy: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """(3,) line with unit normal through points (N, 2), least squares of the perpendicular distances."""
    middle = xy.mean(axis=0)
    normal = np.linalg.eigh((xy - middle).T @ (xy - middle))[1][:, 0]
    return np.array([normal[0], normal[1], -normal @ middle])
