"""First guesses of the camera from one frame: which stripes are yard lines, five yards apart, and where the rows lie.

A level camera (no roll) whose yard lines meet in a known point has one free parameter left, the focal length, before the
spacing of the lines fixes its height and x. Sideline views: every pair of stripes and every small label gap gives such a
camera. End-zone views, whose yard lines hardly converge: three stripes and their label gaps give the horizon (the reciprocal
distance below the horizon grows evenly). Every other stripe then votes. The rows (hash marks, sidelines) give y and, as their
distances differ by level and scale with the focal length, both of these.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d

from homography.assign import hash_rows_yd
from homography.camera import LOG_FOCAL, ground, pose_of
from homography.field import LEVELS, WIDTH_YD, YARD_LINE_SPACING_YD
from homography.stripes import Stripes

Array = npt.NDArray[np.float64]
FOCAL_GRID = np.geomspace(0.55, 6.5, 11)
FINE_FOCAL_GRID = np.geomspace(0.55, 6.5, 28)
LABEL_GAPS = (1, 2, 3, 4)
HEIGHT_YD = (2.5, 45.0)
PAIR_STRIPES = 14
COMB_TOLERANCE = 0.07
WIDEST_TOLERANCE = 0.16
KEPT_COMBS = 6
COMB_SHARE = 0.6
BIN_YD = 0.25
ROW_REACH_YD = 130.0
ROW_BLUR_BINS = 1.6
MARK_SHARE = 0.12
ROLL_SD = 0.02
SLOPE_NOISE = 0.002
MARK_OFFSETS_YD = (-1 / 3, 0.0, 1 / 3)


@dataclass(frozen=True)
class Guess:
    """A camera (`pose` (4,), `centre_yd` (3,)) for one frame, with the level that its rows suggest and how its marks
    lie on them."""

    view: str
    pose: Array
    centre_yd: Array
    level: str
    mark_offset_yd: float
    score: float


@dataclass(frozen=True)
class Comb:
    """Stripes taken as yard lines: `which` (n,) with `label` (n,) in units of 5 yd; the point where they meet (3,) for a
    sideline view, the horizon's row at the picture's middle column for an end-zone view."""

    view: str
    which: npt.NDArray[np.int64]
    label: npt.NDArray[np.int64]
    horizon_px: float
    score: float


def guess_cameras(stripes: Stripes, dash_xy_px: Array, image_size_px: tuple[int, int], levels: tuple[str, ...] = tuple(LEVELS),
                  per_level: int = 4) -> list[Guess]:
    """Likely cameras of one frame, best first. `dash_xy_px` (M, 2) in ideal px, like the stripes."""
    guesses: list[Guess] = []
    combs = sorted(sideline_combs(stripes, image_size_px)[:KEPT_COMBS] + end_zone_combs(stripes, image_size_px)[:KEPT_COMBS],
                   key=lambda c: -c.score)
    combs = [comb for comb in combs if comb.score > COMB_SHARE * combs[0].score]
    for comb in combs:
        for focal in FINE_FOCAL_GRID * image_size_px[0]:
            based = place(comb, stripes, float(focal), image_size_px)
            if based is not None:
                guesses += rows(comb.view, comb.score, based, stripes, dash_xy_px, image_size_px, levels)
    kept: list[Guess] = []
    for guess in sorted(guesses, key=lambda g: -g.score):
        same = [g for g in kept if g.level == guess.level]
        if len(same) < per_level and not any(close(g, guess) for g in same):
            kept.append(guess)
    return kept


def close(a: Guess, b: Guess) -> bool:
    """Two guesses from which an adjustment would end at the same camera."""
    return (a.view == b.view and abs(a.pose[LOG_FOCAL] - b.pose[LOG_FOCAL]) < 0.13
            and bool(np.all(np.abs(a.centre_yd[1:] / b.centre_yd[1:] - 1.0) < 0.15)))


def sideline_combs(stripes: Stripes, size: tuple[int, int]) -> list[Comb]:
    """Pairs of stripes as yard lines, scored by all the others."""
    middle = np.array(size) / 2.0
    order = np.argsort(-stripes.points)[:PAIR_STRIPES]
    pairs = np.array(list(combinations(order, 2)), dtype=int).reshape(-1, 2)
    if not len(pairs):
        return []
    line = centred_lines(stripes.line, middle)
    ends = stripes.ends_px - middle
    meet = np.cross(line[pairs[:, 0]], line[pairs[:, 1]])
    focal = (FOCAL_GRID * size[0])[None, :, None]
    forward = meet[:, None] * np.concatenate([np.ones_like(focal), np.ones_like(focal), focal], axis=2) / focal
    forward = np.stack([meet[:, None, 0] / focal[..., 0], meet[:, None, 1] / focal[..., 0],
                        np.broadcast_to(meet[:, None, 2], (len(pairs), focal.shape[1]))], axis=2)
    forward *= np.sign(forward[..., 2:]) + (forward[..., 2:] == 0)
    forward /= np.linalg.norm(forward, axis=2, keepdims=True)
    up = np.stack([np.zeros_like(forward[..., 0]), -forward[..., 2], forward[..., 1]], axis=2)
    up /= np.maximum(np.linalg.norm(up, axis=2, keepdims=True), 1e-9)
    right = np.cross(forward, up)
    turn = np.stack([right, forward, up], axis=3)
    rays = np.concatenate([ends[None, None] / focal[..., None, None], np.ones((1, focal.shape[1], *ends.shape[:2], 1))], axis=-1)
    spread = np.einsum("pfij,pfsei->pfsej", turn, np.broadcast_to(rays, (len(pairs), *rays.shape[1:])))
    drop = -spread[..., 2]
    below = (drop > 1e-3).all(axis=3)
    spot = spread[..., :2] / np.maximum(drop, 1e-3)[..., None]
    index = np.arange(len(pairs))
    first = spot[index, :, pairs[:, 0], :, 0].mean(axis=2)
    second = spot[index, :, pairs[:, 1], :, 0].mean(axis=2)
    possible = (forward[..., 1] < 0.05) & below[index, :, pairs[:, 0]] & below[index, :, pairs[:, 1]] & (forward[..., 2] > 0.25)
    combs = []
    for gap in LABEL_GAPS:
        height = gap * YARD_LINE_SPACING_YD / np.maximum(np.abs(second - first), 1e-9)
        fits = possible & (height > HEIGHT_YD[0]) & (height < HEIGHT_YD[1])
        label = (spot[..., 0] - first[..., None, None]) * height[..., None, None] / YARD_LINE_SPACING_YD
        combs.append(vote(label, below & fits[..., None], stripes.points))
    found = []
    for gap, (score, label) in zip(LABEL_GAPS, combs, strict=True):
        best = score.argmax(axis=1)
        for p in np.argsort(-score[index, best])[: 2 * KEPT_COMBS]:
            if score[p, best[p]] > 0:
                which, labels = label(p, best[p])
                found.append(Comb("sideline", which, labels, np.nan, float(score[p, best[p]])))
        del gap
    return distinct(found)


def end_zone_combs(stripes: Stripes, size: tuple[int, int]) -> list[Comb]:
    """Triples of flat stripes as yard lines, scored by all the others."""
    middle = np.array(size) / 2.0
    line = centred_lines(stripes.line, middle)
    flat = np.abs(line[:, 1]) > np.cos(np.radians(25.0))
    order = np.array([s for s in np.argsort(-stripes.points) if flat[s]][:PAIR_STRIPES], dtype=int)
    if len(order) < 3:
        return []
    height = -line[:, 2] / np.where(np.abs(line[:, 1]) > 1e-6, line[:, 1], 1e-6)
    order = order[np.argsort(height[order])]
    triples = np.array(list(combinations(order, 3)), dtype=int)
    top, mid, low = height[triples].T
    found = []
    for g1 in LABEL_GAPS[:3]:
        for g2 in LABEL_GAPS[:3]:
            a, b = (mid - top) * g2, (low - mid) * g1
            horizon = (a * low - b * top) / np.where(np.abs(a - b) > 1e-9, a - b, 1e-9)
            reciprocal = 1.0 / np.maximum(height[None] - horizon[:, None], 1e-6)
            index = np.arange(len(triples))
            r_top, r_low = reciprocal[index, triples[:, 0]], reciprocal[index, triples[:, 2]]
            step = (r_top - r_low) / (g1 + g2)
            label = (reciprocal - r_low[:, None]) / np.maximum(step[:, None], 1e-12)
            good = (horizon < top - 0.004 * size[1])[:, None] & (height[None] > horizon[:, None]) & flat[None] & (step > 0)[:, None]
            # Farther stripes are so close together that their labels say little; the vote's tolerance is in px there.
            pixels = step[:, None] / reciprocal**2
            score, chosen = vote(label[:, None, :, None], good[:, None], stripes.points, np.maximum(COMB_TOLERANCE, 1.5 / np.maximum(pixels, 1e-3))[:, None])
            for t in np.argsort(-score[:, 0])[:KEPT_COMBS]:
                if score[t, 0] > 0:
                    which, labels = chosen(t, 0)
                    found.append(Comb("end-zone", which, labels, float(horizon[t]), float(score[t, 0])))
    return distinct(found)


def centred_lines(line: Array, middle: Array) -> Array:
    """Lines (S, 3) about the picture's middle."""
    return np.column_stack([line[:, :2], line[:, 2] + line[:, :2] @ middle])


def vote(label, usable, points, tolerance=COMB_TOLERANCE):  # type: ignore[no-untyped-def]
    """Scores (A, B) of combs from the labels (A, B, S, E) of the stripes' ends, and a function giving a comb's stripes."""
    whole = np.round(label.mean(axis=3))
    off = np.abs(label - whole[..., None]).max(axis=3)
    span = np.abs(label.max(axis=3) - label.min(axis=3))
    hit = usable & (off < 2.0 * tolerance) & (tolerance < WIDEST_TOLERANCE)
    weight = np.where(hit, np.exp(-((off / tolerance) ** 2)), 0.0) * np.minimum(points, 60)
    # Two stripes cannot be the same yard line: the better supported one is.
    order = np.argsort(-points, kind="stable")
    whole_sorted = np.where(hit, whole, np.nan)[..., order]
    repeated = np.stack([(whole_sorted[..., :s] == whole_sorted[..., s:s + 1]).any(axis=-1) if s else np.zeros(whole.shape[:2], dtype=bool)
                         for s in range(len(order))], axis=-1)
    weight[..., order] = np.where(repeated, 0.0, weight[..., order])
    # A stripe that runs like a yard line, between two of them, speaks against the comb.
    stray = np.where(usable & ~hit & (tolerance < WIDEST_TOLERANCE) & (span < 0.1) & (off < 0.5), np.minimum(points, 60) * np.clip((off - 2 * tolerance) * 5.0, 0, 1), 0.0)
    lowest = np.where(hit, whole, np.inf).min(axis=2)
    highest = np.where(hit, whole, -np.inf).max(axis=2)
    order = np.sort(np.where(hit, whole, np.inf), axis=2)
    with np.errstate(invalid="ignore"):
        distinct_labels = 1 + ((np.diff(order, axis=2) > 0.5) & np.isfinite(order[..., 1:])).sum(axis=2)
    filled = distinct_labels / np.maximum(highest - lowest + 1, 1.0)
    good = (distinct_labels >= 2) & np.isfinite(lowest) & (highest - lowest < 25)
    score = np.where(good, (weight.sum(axis=2) - stray.sum(axis=2)) * (0.5 + 0.5 * np.where(good, filled, 0)), 0.0)

    def chosen(a: int, b: int):  # type: ignore[no-untyped-def]
        which = np.nonzero(hit[a, b])[0]
        return which, whole[a, b, which].astype(int)

    return score, chosen


def distinct(combs: list[Comb]) -> list[Comb]:
    """Combs best first, without those that label the same stripes alike."""
    kept: list[Comb] = []
    seen = set()
    for comb in sorted(combs, key=lambda c: -c.score):
        labels = comb.label - comb.label.min()
        key = (tuple(comb.which), tuple(labels)) if comb.label[0] <= comb.label[-1] else (tuple(comb.which), tuple(labels.max() - labels))
        if key not in seen:
            seen.add(key)
            kept.append(comb)
    return kept


def place(comb: Comb, stripes: Stripes, focal: float, size: tuple[int, int]) -> tuple[Array, float, float] | None:
    """Pose (4,), height and x of the level camera of this focal length that sees the comb's stripes 5 yd apart."""
    middle = np.array(size) / 2.0
    line = centred_lines(stripes.line[comb.which], middle)
    weight = np.minimum(stripes.points[comb.which], 60).astype(float)
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
        slope = -line[:, 0] / line[:, 1]
        row = -line[:, 2] / line[:, 1]
        # Slopes of yard lines change evenly with their distance below the horizon; at the horizon they have its own slope.
        design = np.column_stack([np.ones_like(row), comb.horizon_px - row]) * np.sqrt(weight)[:, None]
        normal = design.T @ design + np.diag([weight.sum() * (SLOPE_NOISE / ROLL_SD) ** 2, 0.0])
        level, reach = np.linalg.solve(normal + 1e-9 * np.eye(2), design.T @ (slope * np.sqrt(weight)))
        pose = np.array([np.arctan(-focal * reach / np.cos(tilt)), tilt, -np.arctan(level), np.log(focal)])
    ends = stripes.ends_px[comb.which].reshape(-1, 2)
    spot = ground(ends, pose, np.array([0.0, 0.0, 1.0]), 0.0, size)[:, 0]
    if not np.isfinite(spot).all():
        return None
    weight = np.repeat(weight, 2) / (1.0 + spot**2 * (comb.view == "end-zone"))
    label = np.repeat(comb.label, 2) * YARD_LINE_SPACING_YD
    about = spot - np.average(spot, weights=weight)
    height = float((weight * about * label).sum() / max((weight * about**2).sum(), 1e-12))
    if height < 0:
        height, label = -height, -label
    if not HEIGHT_YD[0] < height < HEIGHT_YD[1]:
        return None
    return pose, height, float(np.average(label - height * spot, weights=weight))


def rows(view: str, score: float, based: tuple[Array, float, float], stripes: Stripes, dash_xy_px: Array, size: tuple[int, int],
         levels: tuple[str, ...]) -> list[Guess]:
    """The best distances to the near sideline, by level, for a camera that is known but for its y."""
    pose, height, x = based
    centre = np.array([x, 0.0, height])
    bins = int(2 * ROW_REACH_YD / BIN_YD)
    marks, solid = np.zeros(bins), np.zeros(bins)
    spot = ground(dash_xy_px, pose, centre, 0.0, size)
    spot = spot[np.isfinite(spot).all(axis=1) & (np.abs(spot[:, 1]) < ROW_REACH_YD - 1)]
    off = spot[:, 0] - np.round(spot[:, 0])
    comb_weight = np.exp(-((off / MARK_SHARE) ** 2)) - MARK_SHARE * np.sqrt(np.pi) + 0.1
    np.add.at(marks, ((spot[:, 1] + ROW_REACH_YD) / BIN_YD).astype(int), comb_weight)
    ends = ground(stripes.ends_px.reshape(-1, 2), pose, centre, 0.0, size).reshape(-1, 2, 2)
    along = np.abs(ends[:, 0] - ends[:, 1])
    with np.errstate(invalid="ignore"):
        level_row = (along[:, 1] < 0.06 * along[:, 0]) & (along[:, 0] > 4.0) & (np.abs(ends[..., 1]).max(axis=1) < ROW_REACH_YD - 1)
    place_of = ((ends[level_row, :, 1].mean(axis=1) + ROW_REACH_YD) / BIN_YD).astype(int)
    np.add.at(solid, place_of, np.minimum(stripes.points[level_row], 40) * 0.4)
    marks = np.sqrt(np.maximum(gaussian_filter1d(marks, ROW_BLUR_BINS), 0.0))
    solid = np.sqrt(gaussian_filter1d(solid, ROW_BLUR_BINS))
    found = []
    low, high = (2.0, 90.0) if view == "sideline" else (-55.0, 15.0)
    start = np.arange(int((low + ROW_REACH_YD) / BIN_YD), int((min(high, ROW_REACH_YD - WIDTH_YD - 1) + ROW_REACH_YD) / BIN_YD))
    across = round(WIDTH_YD / BIN_YD)
    for level in levels:
        totals = []
        for offset in MARK_OFFSETS_YD:
            near, far = (round((row + inward * offset) / BIN_YD) for row, inward in zip(hash_rows_yd(level), (1.0, -1.0), strict=True))
            totals.append(marks[start + near] + marks[start + far] + solid[start] + solid[start + across])
        total = np.array(totals)
        for _ in range(2):
            habit, best = np.unravel_index(int(total.argmax()), total.shape)
            if total[habit, best] <= 0:
                break
            y0 = (start[best] + 0.5) * BIN_YD - ROW_REACH_YD
            # End-zone cameras look along +x with +y to the left, so both views share the field's orientation.
            found.append(Guess(view, pose, np.array([x, -y0, height]), level, MARK_OFFSETS_YD[habit],
                               float(score * (1.0 + 0.12 * total[habit, best]))))
            total[:, max(0, best - 12): best + 12] = 0.0
    return found
