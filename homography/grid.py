"""First guesses of the camera from one frame: combs of yard lines, a grid of focal lengths, and the rows that fit best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from homography.camera import LOG_FOCAL, TILT, ground, pose_of
from homography.combs import HEIGHT_YD, KEPT_COMBS, MOST_POINTS, Comb, centred_lines, end_zone_combs, sideline_combs
from homography.field import LEVELS, YARD_LINE_SPACING_YD
from homography.rows import COARSE_BLUR_YD, Based, Guess, place_rows
from homography.stripes import Stripes

C = TypeVar("C")
Array = npt.NDArray[np.float64]
Aimed = tuple[Comb, float | None]
FOCAL_GRID = np.geomspace(0.55, 6.5, 28)
FOCAL_STEPS = np.geomspace(0.93, 1.075, 7)
COMB_SHARE = 0.6
ROLL_SD = 0.02
SLOPE_NOISE = 0.002
NEAREST_HORIZON, FEWEST_MARKS = 0.06, 10
AIM_REACH, AIM_STEPS = 0.5, 129
HORIZON_STEPS = np.linspace(-0.08, 0.08, 17)
STEEP, STRIPE_SAMPLES = (0.17, 0.94), 11
"""Of a stripe's normal, its part along y: goal posts have less, yard lines more."""
ROW_WIDTH, ROW_CELLS = 0.03, 200
"""Of a row of marks, in heights of the camera."""
LEAST_TILT_RAD, FARTHEST_YD = -0.02, 110.0
"""Who films from behind the goal looks down on the field, and the nearest line that he shows is no field's length away."""
SLOPE_SCALES = (0.1, 0.05, 0.02, 0.01, 0.005)


def guess_cameras(stripes: Stripes, middle: Stripes, solid: Stripes, dash_xy_px: Array, image_size_px: tuple[int, int],
                  levels: tuple[str, ...] = tuple(LEVELS), per_level: int = 3, every_other: bool = False,
                  by_rows: bool = False) -> list[Guess]:
    """Likely cameras of one frame, best first. `middle` are the stripes as the picture's middle columns alone show them (over the
    whole picture yard lines bow over a field's crown, and break), `solid` all that may be sidelines, `dash_xy_px` (M, 2) in ideal
    px, like the stripes; with `every_other` these lie 10 yd apart, and with `by_rows` the horizon of a view from behind the goal
    is where its rows run together, not what its yard lines tell."""
    across = sorted((comb for some in (stripes, middle) for comb in end_zone_combs(some, image_size_px)), key=lambda c: -c.score)
    combs = sorted(sideline_combs(stripes, image_size_px)[:KEPT_COMBS] + across[:KEPT_COMBS], key=lambda c: -c.score)
    combs = [replace(comb, label=2 * comb.label) for comb in combs] if every_other else combs
    coarse: list[tuple[Guess, Aimed]] = []
    for comb in (comb for comb in combs if comb.score > COMB_SHARE * combs[0].score):
        ahead = aim(comb, dash_xy_px, image_size_px)
        if by_rows and comb.view == "end-zone":
            comb, ahead = run_together(comb, dash_xy_px, solid, image_size_px)
        for focal in FOCAL_GRID * image_size_px[0]:
            based = place(comb, float(focal), image_size_px, ahead)
            if based is not None:
                guesses = place_rows(based, solid, dash_xy_px, image_size_px, levels, COARSE_BLUR_YD)
                coarse += [(guess, (comb, ahead)) for guess in guesses]
    coarse.sort(key=lambda pair: -pair[0].score)
    kept: list[Guess] = []
    for guess, (comb, ahead) in apart(coarse, 2 * per_level):
        fine = []
        # The rows' distances scale with the focal length: the grid is too coarse to bring all four in line.
        for focal in np.exp(guess.pose[LOG_FOCAL]) * FOCAL_STEPS:
            based = place(comb, float(focal), image_size_px, ahead)
            if based is not None:
                fine += place_rows(based, solid, dash_xy_px, image_size_px, (guess.level,))
        kept.append(max(fine, key=lambda g: g.score, default=guess))
    ranked: list[tuple[Guess, None]] = [(guess, None) for guess in sorted(kept, key=lambda g: -g.score)]
    return [guess for guess, _ in apart(ranked, per_level)]


def apart(ranked: Sequence[tuple[Guess, C]], per_level: int) -> list[tuple[Guess, C]]:
    """The first few of each level that differ from one another."""
    kept: list[tuple[Guess, C]] = []
    for guess, comb in ranked:
        same = [other for other, _ in kept if other.level == guess.level]
        if len(same) < per_level and not any(close(other, guess) for other in same):
            kept.append((guess, comb))
    return kept


def close(a: Guess, b: Guess) -> bool:
    """Two guesses from which an adjustment would end at the same camera."""
    return (a.view == b.view and abs(a.pose[LOG_FOCAL] - b.pose[LOG_FOCAL]) < 0.1
            and bool(np.all(np.abs(a.centre_yd[1:] / b.centre_yd[1:] - 1.0) < 0.15)))


def run_together(comb: Comb, dash_xy_px: Array, solid: Stripes, size: tuple[int, int]) -> tuple[Comb, float]:
    """An end zone's comb with its horizon, and where the field runs to, from where rows of marks and steep stripes run together:
    four or five yard lines, seen as halves of a crowned field, leave the horizon open by tens of px."""
    steep = (np.abs(solid.line[:, 1]) > STEEP[0]) & (np.abs(solid.line[:, 1]) < STEEP[1])
    share = np.linspace(0.0, 1.0, STRIPE_SAMPLES)[:, None, None]
    run = (solid.ends_px[None, steep, 0] * (1.0 - share) + solid.ends_px[None, steep, 1] * share).reshape(-1, 2)
    at = np.concatenate([dash_xy_px, run]) - np.array(size) / 2.0
    found = [(*row_piles(at, horizon, size), horizon) for horizon in comb.horizon_px + HORIZON_STEPS * size[1]]
    _, ahead, horizon = max(found)
    return replace(comb, horizon_px=float(horizon)), ahead


def aim(comb: Comb, dash_xy_px: Array, size: tuple[int, int]) -> float | None:
    """Where in the picture an end-zone camera's field runs to, px right of the middle: seen from there on the horizon the rows of
    marks pile up best. On a crowned field yard lines are seen as two halves that slope against one another, and from the slopes
    of these alone the camera would seem to look to the side. None for a sideline camera, or where there are few marks."""
    at = dash_xy_px - np.array(size) / 2.0
    near = at[:, 1] - comb.horizon_px > NEAREST_HORIZON * size[1]
    return row_piles(at, comb.horizon_px, size)[1] if comb.view == "end-zone" and near.sum() >= FEWEST_MARKS else None


def row_piles(at: Array, horizon_px: float, size: tuple[int, int]) -> tuple[float, float]:
    """How well points (N, 2) about the picture's middle pile up to rows that run together on the horizon, and how far right of
    the middle they do."""
    below = at[:, 1] - horizon_px
    near = below > NEAREST_HORIZON * size[1]
    ahead = np.linspace(-AIM_REACH, AIM_REACH, AIM_STEPS) * size[0]
    aside = (at[near, 0] - ahead[:, None]) / below[near]
    cell = np.clip(aside / ROW_WIDTH + ROW_CELLS / 2, 0, ROW_CELLS - 1).astype(int) + ROW_CELLS * np.arange(len(ahead))[:, None]
    piles = np.bincount(cell.ravel(), minlength=ROW_CELLS * len(ahead)).reshape(len(ahead), ROW_CELLS)
    pairs = piles[:, 1:-2] + piles[:, 2:-1]
    score = (pairs**2).sum(axis=1)
    return float(score.max()), float(ahead[score.argmax()])


def even_slopes(line: Array, horizon_px: float, weight: Array, reach: float | None) -> tuple[float, float, Array]:
    """Slope of the horizon, by how much that of the yard lines (S, 3) grows per px below it (`reach` if it is known), and the
    weights (S,) less those of the stripes that run otherwise: edges of numbers and logos cross the picture's middle column where
    yard lines do as well."""
    slope, below = -line[:, 0] / line[:, 1], horizon_px + line[:, 2] / line[:, 1]
    if reach is not None:
        return float(np.average(slope - reach * below, weights=weight)), reach, weight
    trust = np.ones_like(weight)
    level = reach = 0.0
    for scale in SLOPE_SCALES:
        use = weight * trust
        design = np.column_stack([np.ones_like(below), below])
        normal = (design * use[:, None]).T @ design + np.diag([use.sum() * (SLOPE_NOISE / ROLL_SD) ** 2, 0.0]) + 1e-9 * np.eye(2)
        level, reach = np.linalg.solve(normal, design.T @ (slope * use))
        trust = 1.0 / (1.0 + ((slope - level - reach * below) / scale) ** 2) ** 2
    return float(level), float(reach), weight * trust


def place(comb: Comb, focal: float, size: tuple[int, int], ahead: float | None = None) -> Based | None:
    """The camera of this focal length that sees the comb's stripes 5 yd apart; a sideline camera is taken to be level, the field
    of an end-zone camera runs `ahead` to there if that is known (see `aim`)."""
    middle = np.array(size) / 2.0
    line = centred_lines(comb.stripes.line[comb.which], middle)
    weight = np.minimum(comb.stripes.points[comb.which], MOST_POINTS).astype(float)
    if comb.view == "sideline":
        scaled = line * np.array([focal, focal, 1.0])
        scaled /= np.linalg.norm(scaled[:, :2], axis=1, keepdims=True) / focal
        direction = np.linalg.eigh((scaled * weight[:, None]).T @ scaled)[1][:, 0]
        direction *= np.sign(direction[2]) or 1.0
        if direction[1] > 0.05 or direction[2] < 0.25:
            return None
        up = np.array([0.0, -direction[2], direction[1]]) / np.hypot(direction[1], direction[2])
        pose = pose_of(np.stack([np.cross(direction, up), direction, up], axis=1), focal)
    else:
        tilt = np.arctan2(-comb.horizon_px, focal)
        known = None if ahead is None else float(-ahead * (np.cos(tilt) / focal) ** 2)
        level, reach, weight = even_slopes(line, comb.horizon_px, weight, known)
        pose = np.array([np.arctan(-focal * reach / np.cos(tilt)), tilt, -np.arctan(level), np.log(focal)])
    ends = comb.stripes.ends_px[comb.which].reshape(-1, 2)
    spot = ground(ends, pose, np.array([0.0, 0.0, 1.0]), 0.0, size)[:, 0]
    if not np.isfinite(spot).all():
        return None
    nearest = spot.min()
    weight = np.repeat(weight, 2) / (1.0 + spot**2 * (comb.view == "end-zone"))
    label = np.repeat(comb.label, 2) * YARD_LINE_SPACING_YD
    about = spot - np.average(spot, weights=weight)
    height = float((weight * about * label).sum() / max((weight * about**2).sum(), 1e-12))
    if height < 0:
        height, label = -height, -label
    if not HEIGHT_YD[0] < height < HEIGHT_YD[1]:
        return None
    if comb.view == "end-zone" and (pose[TILT] < LEAST_TILT_RAD or height * nearest > FARTHEST_YD):
        return None
    return Based(comb.view, pose, height, float(np.average(label - height * spot, weights=weight)), comb.score)
