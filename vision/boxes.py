"""Geometry of boxes (N, 4) x0 y0 x1 y1 in px."""

from __future__ import annotations

import numpy as np

from vision.types import FloatArray


def box_area(xyxy: FloatArray) -> FloatArray:
    """(N,) px squared."""
    area: FloatArray = np.prod(np.clip(xyxy[:, 2:] - xyxy[:, :2], 0, None), axis=1)
    return area


def shared_area(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N, M) px squared that each box of `a` (N, 4) shares with each of `b` (M, 4)."""
    low = np.maximum(a[:, None, :2], b[None, :, :2])
    high = np.minimum(a[:, None, 2:], b[None, :, 2:])
    shared: FloatArray = np.prod(np.clip(high - low, 0, None), axis=2)
    return shared


def iou(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N, M) intersection over union, 0 where both are empty."""
    shared = shared_area(a, b)
    union = box_area(a)[:, None] + box_area(b)[None] - shared
    out: FloatArray = np.divide(shared, union, out=np.zeros_like(union), where=union > 0)
    return out


def paired_iou(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N,) intersection over union of each box of `a` (N, 4) with its own partner in `b` (N, 4)."""
    sides = np.clip(np.minimum(a[:, 2:], b[:, 2:]) - np.maximum(a[:, :2], b[:, :2]), 0, None)
    shared = sides.prod(axis=1)
    out: FloatArray = shared / np.maximum(box_area(a) + box_area(b) - shared, 1e-9)
    return out


def covered_share(xyxy: FloatArray) -> FloatArray:
    """(N,) share of each box that people nearer to the camera (their boxes end lower) cover, at most 1."""
    nearer = xyxy[None, :, 3] > xyxy[:, None, 3]
    area = np.maximum(box_area(xyxy), 1e-9)
    covered: FloatArray = np.minimum((shared_area(xyxy, xyxy) * nearer).sum(axis=1) / area, 1.0)
    return covered


def covered_feet(xyxy: FloatArray, lowest: float = 0.35) -> FloatArray:
    """(N,) share of the `lowest` part of each box that people nearer to the camera cover, at most 1."""
    feet = xyxy.copy()
    feet[:, 1] = xyxy[:, 3] - lowest * (xyxy[:, 3] - xyxy[:, 1])
    nearer = xyxy[None, :, 3] > xyxy[:, None, 3]
    covered: FloatArray = np.minimum((shared_area(feet, xyxy) * nearer).sum(axis=1) / np.maximum(box_area(feet), 1e-9), 1.0)
    return covered


def map_points(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """(N, 2) points mapped by a homography (3, 3) or (N, 3, 3)."""
    mapped = (matrix @ np.concatenate([points, np.ones((len(points), 1))], axis=1)[..., None])[..., 0]
    flat: FloatArray = mapped[:, :2] / mapped[:, 2:]
    return flat


def jacobian(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """(N, 2, 2) derivative of `map_points` at (N, 2) points."""
    matrix = np.broadcast_to(matrix, (len(points), 3, 3))
    mapped = (matrix @ np.concatenate([points, np.ones((len(points), 1))], axis=1)[..., None])[..., 0]
    flat = mapped[:, :2] / mapped[:, 2:]
    slope: FloatArray = (matrix[:, :2, :2] - flat[:, :, None] * matrix[:, 2:, :2]) / mapped[:, 2, None, None]
    return slope
