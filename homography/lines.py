"""Painted stripes in one picture: sub-pixel ridge points with direction and width, and short dashes (hash marks).

A stripe is brighter than the turf on both sides and narrower than `widest`. It is looked for along thinned-out rows (steep
stripes) and columns (flat ones): the picture shrunk in one direction only averages along the stripe and keeps the sharpness
across it. A top-hat in one dimension takes the turf away, the centroid of what stands above half height is the point.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from homography.evidence import NO_POINTS, Ridges, widened
from homography.turf import below_edge

REFERENCE_WIDTH_PX = 1280.0
SCAN_STEP_PX = 6
GRAINY = 1.5
GRAIN_RUN_PX = 5
"""Marks are averaged over so many px of their length."""
WIDEST_PX = 23
"""Stripes wider than this (at 1280 px picture width) count as turf of another colour."""
MOST_POINTS = 2000
MOST_CANDIDATES = 4000
DIRECTIONS, OF_EACH_DIRECTION = 12, 60
NEIGHBOUR_STEPS = 2.3
NEIGHBOUR_OFF_PX = 1.3
NEIGHBOUR_TURN = 0.97
MOST_DASHES = 350
WIDE_SHARE, WIDE_CONTRAST, WIDE_REACH, MOST_WIDE, WIDE_OVERLAP = 0.6, 0.5, 2.5, 400, 0.8
"""Of the widest yard line, and of the lines' median contrast."""
BLUR_PX = 4.0
"""So wide may any line be in a reduced picture."""
LEAST_CONTRAST = 7.0
NOISE_FACTOR = 3.5
DASH_NOISE_FACTOR = 3.5
DASH_CONTRAST = 0.25
"""Of the stripes' median contrast."""
EDGE_PX, EDGE_SHARE, EDGE_LEAN, MOST_LEAN_PX = 5, 0.35, 0.22, 1.5
LEANS_TO_PX, LEAST_STEP = 4.0, 0.3
"""A line stands alone if within so many px to both sides it sinks by so much of its height."""
COHERENCE = 0.35
STEEP_NORMAL = 0.5
FLAT_NORMAL = 0.94
BAR_PX = (5.0, 9.0)
BRIGHT = 40.0
PEAK_PX, PEAK_SHARE = 7, 0.5
DASH_PX = (2.0, 70.0)

Grey = npt.NDArray[np.uint8]


def outside_boxes(xy_px: npt.NDArray[Any], boxes_xyxy: npt.NDArray[Any]) -> npt.NDArray[np.bool_]:
    """(N,) True where a point lies in no person's box (B, 4), widened."""
    if not len(boxes_xyxy) or not len(xy_px):
        return np.ones(len(xy_px), dtype=bool)
    left, top, right, bottom = widened(boxes_xyxy).T
    x, y = xy_px[:, :1], xy_px[:, 1:]
    return np.asarray(~((x > left) & (x < right) & (y > top) & (y < bottom)).any(axis=1))


def find_ridges(grey: Grey, half: Grey, boxes_xyxy: npt.NDArray[Any], edge: npt.NDArray[Any] | None = None) -> Ridges:
    """Ridges of one picture. `grey` (H, W), `half` the same at half size, `boxes_xyxy` (B, 4) px of people to leave out, `edge`
    the turf's far edge (`turf.far_edge`)."""
    height, width = grey.shape
    scale = max(width, height) / REFERENCE_WIDTH_PX
    step = max(1, round(SCAN_STEP_PX * scale))
    grainy = grain(half) > GRAINY
    if grainy:
        step *= 2
    widest = max(5, round(WIDEST_PX * scale)) | 1
    found = scan(grey, stripe_directions(half), 2, step, widest)
    table = found[below_edge(found[:, :2], edge, (width, height))]
    table = table[outside_boxes(table[:, :2], boxes_xyxy)]
    table = table[np.argsort(-np.minimum(table[:, 4], BRIGHT) * table[:, 5], kind="stable")]
    table = table[np.argsort(~first_of_its_direction(table[:, 2]), kind="stable")[:MOST_CANDIDATES]]
    neighbours = np.minimum(along_stripe_neighbours(table[:, :2], table[:, 2], NEIGHBOUR_STEPS * step), 2)
    table = table[np.argsort(-neighbours, kind="stable")]
    table = table[np.argsort(~first_of_its_direction(table[:, 2]), kind="stable")[:MOST_POINTS]]
    flat_lines = bool((np.abs(np.sin(table[:, 2])) > FLAT_NORMAL).mean() > 0.5) if len(table) else False
    paint = float(np.median(table[:, 4])) if len(table) else 0.0
    dash_xy, dash_size = find_dashes(grey, widest, scale, boxes_xyxy, edge, flat_lines, DASH_CONTRAST * paint, grainy)
    wide = find_wide(half, step, widest, WIDE_CONTRAST * paint)
    wide = wide[below_edge(wide[:, :2], edge, (width, height))]
    wide = wide[outside_boxes(wide[:, :2], boxes_xyxy)]
    table = table[~within(table, wide, WIDE_REACH * step)].astype(np.float32)
    return Ridges(table[:, :2], table[:, 2], table[:, 3], table[:, 4], dash_xy, dash_size, wide.astype(np.float32))


def scan(grey: Grey, directions: tuple[npt.NDArray[Any], ...], shrunk: int, step: int, widest: int) -> npt.NDArray[Any]:
    """(N, 6) points of the stripes of a picture, of which every `step`-th row and column is looked at: x, y, normal, width,
    contrast, coherence. `directions` is the structure tensor of the picture `shrunk` so many times."""
    height, width = grey.shape
    rows = cv2.resize(grey, (width, max(1, height // step)), interpolation=cv2.INTER_AREA)
    columns = cv2.resize(grey, (max(1, width // step), height), interpolation=cv2.INTER_AREA)
    found = []
    for image, flat in ((rows, False), (np.ascontiguousarray(columns.T), True)):
        along, line, extent, contrast = scan_peaks(np.asarray(image, dtype=np.uint8), widest, flat)
        # Coordinates count from the picture's corner: the middle of pixel i is at i + 0.5. A side that the step does not divide
        # is shrunk by a little more than the step.
        across, along = (line + 0.5) * ((width if flat else height) / len(image)), along + 0.5
        xy = np.stack([across, along] if flat else [along, across], axis=1)
        normal, coherence = sample_directions(directions, xy / shrunk)
        tilted = np.abs(np.sin(normal) if flat else np.cos(normal))
        good = (tilted > (np.sqrt(1 - STEEP_NORMAL**2) if flat else STEEP_NORMAL)) & (coherence > COHERENCE)
        found.append(np.column_stack([xy, normal, extent * tilted, contrast, coherence])[good])
    return np.concatenate(found)


def first_of_its_direction(normal_rad: npt.NDArray[Any]) -> npt.NDArray[np.bool_]:
    """(N,) whether a point, the best standing first, is among the first few of the stripes of its direction: however bright the
    many yard lines are, and what is beside the field, there is room for two sidelines and for rows of marks."""
    direction = ((normal_rad / np.pi + 0.5) * DIRECTIONS).astype(int) % DIRECTIONS
    order = np.argsort(direction, kind="stable")
    first = np.searchsorted(direction[order], np.arange(DIRECTIONS))
    place = np.empty(len(normal_rad), dtype=np.int64)
    place[order] = np.arange(len(normal_rad)) - first[direction[order]]
    return place < OF_EACH_DIRECTION


def find_wide(half: Grey, step: int, widest: int, faintest: float) -> npt.NDArray[Any]:
    """(W, 4) points of stripes from about `widest` px of the whole picture to four times that, as `Ridges.wide` has them: fields
    with a broad border have them. `half` (H / 2, W / 2) is the picture at half size."""
    parts, image, shrunk, least = [], half, 2, WIDE_SHARE * widest
    for _ in range(2):
        shrunk *= 2
        smaller = cv2.resize(image, (image.shape[1] // 2, image.shape[0] // 2), interpolation=cv2.INTER_AREA)
        image = np.asarray(smaller, dtype=np.uint8)
        sparse = max(1, round(2.0 * step / shrunk))
        found = scan(image, stripe_directions(image), 1, sparse, widest // 2 | 1)
        found = found[(found[:, 3] > max(least / shrunk, BLUR_PX)) & (found[:, 4] > faintest)]
        found = found[along_stripe_neighbours(found[:, :2], found[:, 2], NEIGHBOUR_STEPS * sparse) >= 2]
        parts.append(np.column_stack([shrunk * found[:, :2], found[:, 2], shrunk * found[:, 3]])[:MOST_WIDE])
        least = WIDE_OVERLAP * shrunk * (widest // 2)
    return np.concatenate(parts)


def within(table: npt.NDArray[Any], wide: npt.NDArray[Any], reach_px: float) -> npt.NDArray[np.bool_]:
    """(N,) which points (N, 3+) of stripes are no stripes, but the grain of a `wide` one (W, 4) along which they run."""
    if not len(table) or not len(wide):
        return np.zeros(len(table), dtype=bool)
    distance, nearest = cKDTree(wide[:, :2]).query(table[:, :2])
    normal = np.stack([np.cos(wide[nearest, 2]), np.sin(wide[nearest, 2])], axis=1)
    off = np.abs(((table[:, :2] - wide[nearest, :2]) * normal).sum(axis=1))
    parallel = np.abs(np.cos(table[:, 2] - wide[nearest, 2])) > NEIGHBOUR_TURN
    return np.asarray(parallel & (distance < np.hypot(reach_px, wide[nearest, 3] / 2.0)) & (off < wide[nearest, 3] / 2.0))


def grain(half: Grey) -> float:
    """Median height of bright specks on the lower half of a half-size picture: coarse turf or a noisy sensor. Averaged over a
    longer run of a line it sinks and the line does not."""
    lower = half[half.shape[0] // 2:]
    return float(np.median(cv2.morphologyEx(lower, cv2.MORPH_TOPHAT, np.ones((1, 5), np.uint8))[::2]))


def scan_peaks(image: Grey, widest: int, flat: bool) -> tuple[npt.NDArray[Any], ...]:
    """Bright peaks along each row of `image`: (N,) sub-pixel position, row number, width at half height, height. `flat`: the
    rows are the picture's columns. The threshold follows the turf's noise, which changes with the picture's y."""
    top = cv2.morphologyEx(image, cv2.MORPH_TOPHAT, np.ones((1, widest), np.uint8))
    noise = middle_of(top[::3], 0) if flat else middle_of(top[:, ::5], 1)
    noise = cv2.blur(noise.astype(np.float32).reshape(-1, 1), (1, 31 if flat else 5), borderType=cv2.BORDER_REPLICATE).ravel()
    threshold = np.maximum(LEAST_CONTRAST, NOISE_FACTOR * noise)
    threshold = threshold[None] if flat else threshold[:, None]
    best = cv2.dilate(top, np.ones((1, 7), np.uint8))
    peak = (top == best) & (top > threshold)
    peak[:, 1:] &= ~peak[:, :-1]
    reach = widest // 2 + 1
    peak[:, :reach] = peak[:, -reach:] = False
    row, column = np.nonzero(peak)
    windows = [np.lib.stride_tricks.sliding_window_view(one, 2 * reach + 1, axis=1)[row, column - reach].astype(np.float32)
               for one in (top, image)]
    height = windows[0][:, reach]
    above = windows[0] - 0.5 * height[:, None]
    # A line between two mown bands stands on the edge of the brighter one: what is above both sides is the line.
    first, last = reach - min(EDGE_PX, reach), reach + min(EDGE_PX, reach) + 1
    left, right = windows[1][:, first:reach].min(axis=1), windows[1][:, reach + 1:last].min(axis=1)
    side = np.maximum(left, right)
    stands = windows[1][:, reach] - side
    line = stands > EDGE_SHARE * height
    above[line] = windows[1][line] - (side + 0.5 * stands)[line, None]
    above[line, :first] = above[line, last:] = 0.0
    joined = above > 0
    joined[:, reach:] = np.logical_and.accumulate(joined[:, reach:], axis=1)
    joined[:, : reach + 1] = np.logical_and.accumulate(joined[:, reach::-1], axis=1)[:, ::-1]
    above = np.where(joined, above, 0.0)
    extent = joined.sum(axis=1).astype(np.float32)
    # The peak of a narrow line on a step leans toward the brighter side.
    step = (right - left) / np.maximum(windows[1][:, reach] - (left + right) / 2.0, 1.0)
    leans = line & (extent <= LEANS_TO_PX) & (np.abs(step) > LEAST_STEP)
    lean = np.where(leans, np.clip(EDGE_LEAN * step * extent, -MOST_LEAN_PX, MOST_LEAN_PX), 0.0)
    offsets = np.arange(-reach, reach + 1, dtype=np.float32)
    total = above.sum(axis=1)
    return column + (above @ offsets) / total - lean, row, extent, height


def middle_of(values: npt.NDArray[Any], axis: int) -> npt.NDArray[Any]:
    """The (upper) median along an axis. NumPy's own turns small integers into floats first."""
    half = values.shape[axis] // 2
    return np.asarray(np.take(np.partition(values, half, axis=axis), half, axis=axis))


def stripe_directions(half: Grey) -> tuple[npt.NDArray[Any], ...]:
    """Smoothed structure tensor (xx, yy, xy) of a half-size picture."""
    gx = cv2.Scharr(half, cv2.CV_32F, 1, 0)
    gy = cv2.Scharr(half, cv2.CV_32F, 0, 1)
    return tuple(cv2.blur(product, (7, 7)) for product in (gx * gx, gy * gy, gx * gy))


def sample_directions(tensor: tuple[npt.NDArray[Any], ...], xy_px: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], ...]:
    """(N,) normal angle in (-pi/2, pi/2] and coherence 0..1 of the structure tensor at points of its picture."""
    height, width = tensor[0].shape
    column = np.clip(xy_px[:, 0].astype(int), 0, width - 1)
    row = np.clip(xy_px[:, 1].astype(int), 0, height - 1)
    xx, yy, xy = (part[row, column] for part in tensor)
    spread = np.hypot(xx - yy, 2 * xy)
    return 0.5 * np.arctan2(2 * xy, xx - yy), spread / np.maximum(xx + yy, 1e-6)


def along_stripe_neighbours(xy_px: npt.NDArray[Any], normal_rad: npt.NDArray[Any], reach_px: float) -> npt.NDArray[Any]:
    """(N,) how many other points lie within reach on the stripe that runs through each point."""
    pairs = cKDTree(xy_px).query_pairs(reach_px, output_type="ndarray")
    normal = np.stack([np.cos(normal_rad), np.sin(normal_rad)], axis=1)
    first, second = pairs.T
    between = xy_px[second] - xy_px[first]
    agree = (np.abs((between * normal[first]).sum(axis=1)) < NEIGHBOUR_OFF_PX) \
        & (np.abs((between * normal[second]).sum(axis=1)) < NEIGHBOUR_OFF_PX) \
        & (np.abs((normal[first] * normal[second]).sum(axis=1)) > NEIGHBOUR_TURN)
    return np.bincount(pairs[agree].ravel(), minlength=len(xy_px))


def find_dashes(grey: Grey, widest: int, scale: float, boxes_xyxy: npt.NDArray[Any], edge: npt.NDArray[Any] | None,
                flat_lines: bool, faintest: float = 0.0, grainy: bool = False) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
    """Short bright components: marks that stand alone, and bars that cross a yard line. `flat_lines`: the yard lines run flat
    through the picture (end-zone view), so the bars are steep; else the other way round. Opening along the bar takes the line
    away. Marks are painted with what the lines are: what is `faintest` or fainter is none."""
    first = 0 if edge is None else int(np.clip(edge.min() * grey.shape[0], 0, grey.shape[0] - widest))
    grey = grey[first:]
    if grainy:
        run = max(3, round(GRAIN_RUN_PX * scale))
        grey = np.asarray(cv2.blur(grey, (run, 1) if flat_lines else (1, run)), dtype=np.uint8)
    alone = cv2.morphologyEx(grey, cv2.MORPH_TOPHAT, np.ones((widest, widest), np.uint8))
    reach = max(3, round((BAR_PX[0] if flat_lines else BAR_PX[1]) * scale))
    along = (reach, 1) if flat_lines else (1, reach)
    level = cv2.morphologyEx(grey, cv2.MORPH_OPEN, np.ones(along, np.uint8))
    bars = cv2.morphologyEx(level, cv2.MORPH_TOPHAT, np.ones((1, widest) if flat_lines else (widest, 1), np.uint8))
    parts = []
    for image in (alone, bars):
        threshold = max(LEAST_CONTRAST * 1.5, faintest, DASH_NOISE_FACTOR * float(middle_of(image[::4, ::4].ravel(), 0)))
        # What is left between two marks that stand close together is far darker than they are.
        peak = cv2.dilate(image, np.ones((PEAK_PX, PEAK_PX), np.uint8))
        least = np.full(image.shape, int(min(threshold, 255.0)), np.uint8)
        bound = cv2.max(cv2.convertScaleAbs(peak, alpha=PEAK_SHARE), least)
        binary = cv2.compare(image, bound, cv2.CMP_GT)
        _, _, stats, centroids = cv2.connectedComponentsWithStatsWithAlgorithm(binary, 8, cv2.CV_32S, cv2.CCL_GRANA)
        size = stats[:, 2:4]
        fits = (size.max(axis=1) >= DASH_PX[0] * scale) & (size.max(axis=1) <= DASH_PX[1] * scale) & (stats[:, 4] >= 4 * scale)
        fits[0] = False
        column, row = centroids[fits].astype(int).T
        strength = image[row, column] * np.sqrt(stats[fits, 4])
        parts.append(np.column_stack([centroids[fits] + [0.5, first + 0.5], size[fits], strength]))
    table = np.concatenate(parts)
    table = table[below_edge(table[:, :2], edge, (grey.shape[1], grey.shape[0] + first))]
    table = table[outside_boxes(table[:, :2], boxes_xyxy)]
    if len(table) > MOST_DASHES:
        table = table[np.argsort(-table[:, 4], kind="stable")[:MOST_DASHES]]
    if not len(table):
        return NO_POINTS, NO_POINTS
    return table[:, :2].astype(np.float32), table[:, 2:4].astype(np.float32)
