"""What everybody wears: colours of every box with the turf and the light taken out. Runs on the stream of frames; the teams are
told apart at the end (`vision.kit_groups`)."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from vision.boxes import shared_area
from vision.types import FloatArray

ROWS, CORE_COLUMNS, RING_COLUMNS = 32, 10, 4
"""Samples taken of a box: rows over its height, columns over its middle half, columns of turf on either side."""

PARTS = {"helmet": (0.02, 0.16), "torso": (0.20, 0.50), "legs": (0.52, 0.80)}
"""Heights of a standing man's parts from the top of his box, as shares of it."""

CORE = (0.25, 0.75)
"""The middle of a box across, where he is and not the turf."""

RING = (0.05, 0.35)
"""Where the turf around him is sampled: this far outside the box, as shares of its height."""

TURF_TOLERANCE = 11.0
TURF_LIGHTNESS_TOLERANCE = 22.0
"""A sample this near to the turf's colour (a, b of CIE Lab) and lightness is turf."""

INSET = 0.12
"""A body fills its box but for this share on either side."""

MIN_SAMPLES = 6
REFERENCE_LIGHT = 60.0
"""Lightness that the turf around a man is brought to, so that sun and shade cancel."""

DIMENSIONS = 12
"""L, a, b of helmet, torso and legs (light removed), the torso's spread of L, the share of pixels that are not turf, and how
far the torso's most saturated tenth stands out (trim and numbers)."""


def describe(bgr: npt.NDArray[np.uint8], xyxy: FloatArray) -> npt.NDArray[np.float32]:
    """Colours (N, 12) of the people in boxes (N, 4) of a picture (H, W, 3); see DIMENSIONS. Always finite."""
    out = np.zeros((len(xyxy), DIMENSIONS), dtype=np.float32)
    if not len(xyxy):
        return out
    turf = _turf_colour(bgr)
    boxes = np.asarray(xyxy, dtype=np.float64)
    at_x, at_y = _sample_points(boxes)
    picked = cv2.remap(bgr, at_x.reshape(-1, at_x.shape[2]), at_y.reshape(-1, at_x.shape[2]), cv2.INTER_LINEAR,
                       borderMode=cv2.BORDER_REPLICATE)
    lab = _lab(np.asarray(picked, dtype=np.uint8)).reshape(*at_x.shape, 3)
    is_turf = np.hypot(lab[..., 1] - turf[1], lab[..., 2] - turf[2]) < TURF_TOLERANCE
    is_turf &= np.abs(lab[..., 0] - turf[0]) < TURF_LIGHTNESS_TOLERANCE
    ring, ring_turf = lab[:, :, CORE_COLUMNS:, 0], is_turf[:, :, CORE_COLUMNS:]
    light = _masked_quantile(ring, ring_turf, 0.5, float(turf[0]))
    # Lab lightness + 16 scales with the illumination's cube root, so shade is one factor.
    factor = ((REFERENCE_LIGHT + 16) / (light + 16))[:, None, None]
    core, body = lab[:, :, :CORE_COLUMNS], ~is_turf[:, :, :CORE_COLUMNS]
    own = body & ~_behind_others(boxes, at_x[:, :, :CORE_COLUMNS], at_y[:, :, :CORE_COLUMNS])
    body = np.where((own.sum(axis=(1, 2)) >= 2 * MIN_SAMPLES)[:, None, None], own, body)
    core = np.stack([(core[..., 0] + 16) * factor - 16, core[..., 1] * factor, core[..., 2] * factor], axis=-1)
    whole = [_masked_quantile(core[..., channel], body, 0.5, 0.0) for channel in range(3)]
    for place, (low, high) in enumerate(PARTS.values()):
        rows = slice(round(low * ROWS), round(high * ROWS))
        for channel in range(3):
            out[:, 3 * place + channel] = _masked_quantile(core[:, rows, :, channel], body[:, rows], 0.5, whole[channel])
    rows = slice(round(PARTS["torso"][0] * ROWS), round(PARTS["torso"][1] * ROWS))
    torso, seen = core[:, rows], body[:, rows]
    out[:, 9] = _masked_quantile(torso[..., 0], seen, 0.75, 0.0) - _masked_quantile(torso[..., 0], seen, 0.25, 0.0)
    out[:, 10] = 100 * body.mean(axis=(1, 2))
    out[:, 11] = _masked_quantile(np.hypot(torso[..., 1], torso[..., 2]), seen, 0.9, 0.0)
    return out


def _turf_colour(bgr: npt.NDArray[np.uint8]) -> FloatArray:
    """(3,) Lab of the ground: the commonest colour of the picture's lower two thirds."""
    small = cv2.resize(bgr[bgr.shape[0] // 3:], (160, 60), interpolation=cv2.INTER_NEAREST)
    lab = _lab(np.asarray(small, dtype=np.uint8)).reshape(-1, 3)
    counts, a_edges, b_edges = np.histogram2d(lab[:, 1], lab[:, 2], bins=32, range=[[-64, 64], [-64, 64]])
    a, b = np.unravel_index(int(counts.argmax()), counts.shape)
    middle = np.array([a_edges[a] + 2, b_edges[b] + 2])
    near = np.abs(lab[:, 1:] - middle).max(axis=1) < 8
    colour: FloatArray = np.median(lab[near], axis=0)
    return colour


def _lab(bgr: npt.NDArray[np.uint8]) -> FloatArray:
    """CIE Lab with L 0..100, a and b around 0."""
    lab = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2LAB), dtype=np.float32)
    lab -= np.array([0, 128, 128], dtype=np.float32)
    lab[..., 0] *= 100 / 255
    return lab


def _sample_points(xyxy: FloatArray) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Where every box's middle and the ground beside it are sampled: x and y (N, ROWS, CORE_COLUMNS + 2 RING_COLUMNS) px."""
    x0, y0, x1, y1 = (side[:, None] for side in xyxy.T)
    height = y1 - y0
    core = x0 + (x1 - x0) * np.linspace(*CORE, CORE_COLUMNS)
    beside = height * np.linspace(*RING, RING_COLUMNS)
    columns = np.concatenate([core, x0 - beside, x1 + beside], axis=1) - 0.5
    rows = y0 + height * (np.arange(ROWS) + 0.5) / ROWS - 0.5
    shape = (len(xyxy), ROWS, columns.shape[1])
    return (np.ascontiguousarray(np.broadcast_to(columns[:, None, :], shape), dtype=np.float32),
            np.ascontiguousarray(np.broadcast_to(rows[:, :, None], shape), dtype=np.float32))


def _behind_others(xyxy: FloatArray, at_x: FloatArray, at_y: FloatArray) -> npt.NDArray[np.bool_]:
    """True where a sample of somebody falls into the box of another man who stands nearer to the camera."""
    hidden = np.zeros(at_x.shape, dtype=np.bool_)
    for row, other in np.argwhere((shared_area(xyxy, xyxy) > 0) & (xyxy[None, :, 3] > xyxy[:, None, 3])):
        x0, y0, x1, y1 = xyxy[other]
        inset = INSET * (x1 - x0)
        hidden[row] |= (at_x[row] > x0 + inset) & (at_x[row] < x1 - inset) & (at_y[row] > y0) & (at_y[row] < y1)
    return hidden


def _masked_quantile(values: FloatArray, mask: npt.NDArray[np.bool_], quantile: float,
                     otherwise: FloatArray | float) -> FloatArray:
    """(N,) quantile of each (N, ...) row's values where `mask`, `otherwise` where these are too few."""
    flat, kept = values.reshape(len(values), -1), mask.reshape(len(values), -1)
    count = kept.sum(axis=1)
    ordered = np.sort(np.where(kept, flat, np.inf), axis=1)
    rank = np.clip(np.round(quantile * (count - 1)), 0, None).astype(np.int64)
    found: FloatArray = np.where(count >= MIN_SAMPLES, ordered[np.arange(len(flat)), rank], otherwise)
    return found
