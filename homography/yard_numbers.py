"""Which yard line is which: the painted numbers, read off the turf.

Once the camera is known, the strips in which the numbers lie are laid out flat from a few moments of the clip and their median is
taken, which removes the people. Every five yards the strip is compared with the pairs of digits that may stand there; only the
place of the whole row is asked for, so that one hidden or worn number does no harm. Where no place is clearly the best the yard
line stays unknown.

Numbers: 6 ft by 4 ft a digit, at every ten yards, their bottoms toward the nearer sideline (NFHS 1-2-3g, NCAA 1-2-1h recommended,
NFL Rule 1). The digits stand on either side of their line, a foot from it (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from homography.evidence import in_boxes
from homography.field import END_ZONE_YD, LENGTH_YD, LEVELS, LINE_WIDTH_YD, WIDTH_YD, YARD_LINE_SPACING_YD
from homography.types import LOST, FieldView
from homography.view import moved, to_image

Array = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]
PX_PER_YD = 10
NEAREST_YD, FARTHEST_YD = 3.0, 17.0
"""From its sideline, the strip that is searched: rules and habits differ."""
HALF_WIDTH_YD = 2.2
GAPS_YD = (0.15, 1.0 / 3.0)
SLACK_YD = 0.5
"""By how much numbers may stand off their place along the field."""
LEAST_PX_PER_YD = 6.0
"""Where a yard across the field takes fewer px, digits cannot be told apart."""
FONTS = (("sans-serif", "bold"), ("serif", "bold"), ("monospace", "bold"))
LIKE, UNLIKE, SPREAD = 0.62, 0.36, 0.12
"""Correlation of a painted number with the likest digits, of blank turf with the likest, and their standard deviation."""
DIGIT_SPREAD = 0.04
"""By so much another number's correlation may exceed the right one's."""
MOST_PER_PLACE, MOST_PER_DIGIT = 4.0, 3.0
LEAST_LEAD, LEAST_TOTAL, LEAST_NUMBERS = 4.0, 5.0, 2
CLEARLY, READ_FOR_ONE_AGAINST = 1.0, 5
"""A number that clearly is another one: misread, or the field is no longer one of 100 yards."""
LEAST_SHOWN = 0.9
MOST_STEPS = 30
MARGIN_YD = 0.35
SAMPLED = 7
"""Every so many px of a place show whether it is in the picture at all."""
LEAST_IN_PICTURE, MOST_LAYERS = 0.2, 6
ROW_SLACK = 2
"""Rows of the strip by which numbers of one row may lie apart."""


@dataclass(frozen=True)
class Still:
    """A picture kept for its paint: `grey` (H, W) of frame `frame_index`, and the people's boxes (B, 4) px in it."""

    frame_index: int
    grey: npt.NDArray[np.uint8]
    boxes_xyxy: npt.NDArray[Any]


def read_yard_lines(view: FieldView, stills: Sequence[Still]) -> FieldView:
    """The view with its x counted from the end line, if the numbers tell it; else the view as it is."""
    if view.yard_line_known or view.camera is None or not view.solved_share:
        return view
    row_of = {int(index): row for row, index in enumerate(view.frame_index) if view.status[row] != LOST}
    seen = [(still, row_of[still.frame_index]) for still in stills if still.frame_index in row_of]
    # The first few that show a place are asked about it: they should be far apart in time.
    pictures = [(still.grey, in_boxes(still.boxes_xyxy, still.grey.shape).astype(np.uint8), row) for still, row in seen]
    shift = best_shift(*likeness(view, pictures[::2] + pictures[1::2]))
    return view if shift is None else moved(view, np.array([[1.0, 0.0, shift], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]))


def best_shift(x_yd: Array, looks: Array) -> float | None:
    """The whole steps of 5 yd that bring the numbers where they belong; None if no place is clearly best.

    `x_yd` (N,) of places on yard lines, one for each strip that shows them; `looks` (N, R, 5) how much the turf there looks like
    10, 20, 30, 40 and 50, by the distance R of the numbers from their sideline; NaN where it does not show."""
    shifts = np.arange(-MOST_STEPS, MOST_STEPS + 1) * YARD_LINE_SPACING_YD
    if not len(x_yd):
        return None
    shown = np.isfinite(looks).all(axis=2)
    likest = np.where(shown, looks.max(axis=2), UNLIKE)
    # Log-likelihood ratio of some number against blank turf, and of each number against the likest.
    some = np.clip(((likest - UNLIKE) ** 2 - (likest - LIKE) ** 2) / (2 * SPREAD**2), -MOST_PER_PLACE, MOST_PER_PLACE)
    each = np.maximum(np.nan_to_num(looks - likest[..., None]) / DIGIT_SPREAD, -MOST_PER_DIGIT)
    total = np.zeros((len(shifts), looks.shape[1]))
    read, against = np.zeros_like(total), np.zeros_like(total)
    for k, shift in enumerate(shifts):
        number = number_at(x_yd + shift)
        there, digit = number > 0, np.maximum(number, 1) - 1
        like = each[np.arange(len(x_yd)), :, digit]
        gain = some + np.where(some > 0, like, 0.0)
        gain = np.where(there[:, None] & shown, gain, 0.0)
        total[k] = gain.sum(axis=0)
        other = there[:, None] & shown & (some > 0) & (like < -CLEARLY)
        read[k], against[k] = ((gain > 0) & ~other).sum(axis=0), other.sum(axis=0)
    best = total.max(axis=1)
    order = np.argsort(best)[::-1]
    row = int(total[order[0]].argmax())
    clear = best[order[0]] > LEAST_TOTAL and best[order[0]] - best[order[1]] > LEAST_LEAD
    clear &= read[order[0], row] >= max(LEAST_NUMBERS, READ_FOR_ONE_AGAINST * against[order[0], row])
    return float(shifts[order[0]]) if clear else None


def number_at(x_yd: Array) -> npt.NDArray[np.int64]:
    """(N,) first digit of the number painted at x (field frame), 0 where there is none."""
    yards = np.minimum(x_yd, LENGTH_YD - x_yd) - END_ZONE_YD
    tens = np.round(yards / 10.0)
    return np.where((np.abs(yards - 10.0 * tens) < 0.1) & (tens >= 1), tens, 0).astype(np.int64)


def likeness(view: FieldView, seen: Sequence[tuple[Picture, Picture, int]]) -> tuple[Array, Array]:
    """(N,) x of the yard lines as both strips show them, and (N, R, 5) what is there: see `best_shift`. `seen` are pictures, what
    people hide in them (not 0), and their rows in the view."""
    assert view.camera is not None
    start = np.floor((view.camera.centre_yd[0] - 70.0) / YARD_LINE_SPACING_YD) * YARD_LINE_SPACING_YD
    along = (np.arange(round(2 * HALF_WIDTH_YD * PX_PER_YD)) + 0.5) / PX_PER_YD - HALF_WIDTH_YD
    up = FARTHEST_YD - (np.arange(round((FARTHEST_YD - NEAREST_YD) * PX_PER_YD)) + 0.5) / PX_PER_YD
    places, looks = [], []
    for far in (False, True):
        # Read from its own sideline: to the right, and up toward the field's middle.
        sign = -1.0 if far else 1.0
        y = WIDTH_YD - up if far else up
        for line in start + np.arange(0, 190, YARD_LINE_SPACING_YD):
            patch = _patch(view, seen, np.stack(np.meshgrid(line + sign * along, y), axis=-1))
            if patch is not None:
                places.append(line)
                looks.append(_looks(patch))
    rows = len(up) - templates(1)[0].shape[0] + 1
    return np.array(places), np.array(looks).reshape(-1, rows, 5)


def _patch(view: FieldView, seen: Sequence[tuple[Picture, Picture, int]], spots: Array) -> npt.NDArray[np.float32] | None:
    """The turf at `spots` (H, W, 2), the median of the moments that show it; NaN where none does, None if none shows much."""
    layers = []
    for grey, behind, row in seen:
        size = np.array(grey.shape[::-1])
        with np.errstate(invalid="ignore"):
            sample = to_image(view, row, spots[::SAMPLED, ::SAMPLED].reshape(-1, 2))
            if not ((sample > 1) & (sample < size - 2)).all(axis=1).any():
                continue
        px = to_image(view, row, spots.reshape(-1, 2)).reshape(spots.shape)
        with np.errstate(invalid="ignore"):
            shown: npt.NDArray[np.bool_] = np.asarray(((px > 1) & (px < size - 2)).all(axis=2))
            fine = np.linalg.norm(px[1:, 0] - px[:-1, 0], axis=1).max() * PX_PER_YD > LEAST_PX_PER_YD
        if not fine or shown.mean() < LEAST_IN_PICTURE:
            continue
        x, y = cv2.split(np.where(shown[..., None], px, 0.0).astype(np.float32))
        shown &= cv2.remap(behind, x, y, cv2.INTER_NEAREST) == 0
        layers.append(np.where(shown, cv2.remap(grey, x, y, cv2.INTER_LINEAR), np.nan))
        if len(layers) == MOST_LAYERS:
            break
    if not layers:
        return None
    return median_shown(np.array(layers, dtype=np.float32))


def median_shown(layers: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The median over the first axis of what is not NaN; NaN where all is. (NumPy's own goes pixel by pixel here.)"""
    count = np.isfinite(layers).sum(axis=0)
    ordered = np.sort(layers, axis=0)  # NaN last
    middle = [np.take_along_axis(ordered, np.maximum(at, 0)[None], axis=0)[0] for at in ((count - 1) // 2, count // 2)]
    return np.where(count > 0, (middle[0] + middle[1]) / 2, np.nan).astype(np.float32)


def _looks(patch: npt.NDArray[np.float32]) -> Array:
    """(R, 5) the best correlation of each number by its distance from the sideline, farthest first; NaN where too little shows.
    The yard line itself is left out."""
    middle, half = patch.shape[1] // 2, round((LINE_WIDTH_YD / 2 + 0.1) * PX_PER_YD)
    clean = patch.copy()
    clean[:, middle - half:middle + half] = np.nan
    shown = np.isfinite(clean)
    turf = median_shown(clean.T)[:, None]
    clean = np.where(shown, clean, np.where(np.isfinite(turf), turf, 0.0)).astype(np.float32)
    height = templates(1)[0].shape[0]
    shown[:, middle - half:middle + half] = True
    share = np.lib.stride_tricks.sliding_window_view(shown.mean(axis=1), height).mean(axis=1)
    found = np.array([[np.nan_to_num(cv2.matchTemplate(clean, template, cv2.TM_CCOEFF_NORMED)).max(axis=1)
                       for template in templates(tens)] for tens in range(1, 6)]).max(axis=1).T
    found = np.lib.stride_tricks.sliding_window_view(np.pad(found, ((ROW_SLACK, ROW_SLACK), (0, 0)), mode="edge"),
                                                     2 * ROW_SLACK + 1, axis=0).max(axis=2)
    return np.where(share[:, None] >= LEAST_SHOWN, found, np.nan)


@cache
def templates(tens: int) -> tuple[npt.NDArray[np.float32], ...]:
    """Pictures of a number (its first digit `tens`) in several types, as large as the rules have it, with a margin of turf."""
    # Slow to import, and only film with a field needs them.
    from matplotlib.font_manager import FontProperties
    from matplotlib.path import Path as Outline
    from matplotlib.textpath import TextPath

    level = LEVELS["college"]
    digit_w, digit_h = level.number_width_yd, level.number_height_yd
    width, height = 2 * (HALF_WIDTH_YD - SLACK_YD), digit_h + 2 * MARGIN_YD
    x = (np.arange(round(width * PX_PER_YD)) + 0.5) / PX_PER_YD - width / 2
    y = height / 2 - (np.arange(round(height * PX_PER_YD)) + 0.5) / PX_PER_YD
    spots = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    out = []
    for (family, weight), gap in product(FONTS, GAPS_YD):
        picture = np.zeros(len(spots), dtype=np.float32)
        for digit, left in ((str(tens), -gap - digit_w), ("0", gap)):
            outline = TextPath((0, 0), digit, size=1.0, prop=FontProperties(family=family, weight=weight))
            box = outline.get_extents()
            scale = np.array([digit_w / box.width, digit_h / box.height])
            corner = np.array([left, -digit_h / 2])
            placed = Outline((outline.vertices - [box.x0, box.y0]) * scale + corner, outline.codes)
            picture += placed.contains_points(spots)
        out.append(np.asarray(cv2.GaussianBlur(picture.reshape(len(y), len(x)), (0, 0), 1.2), dtype=np.float32))
    return tuple(out)
