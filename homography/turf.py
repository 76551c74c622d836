"""Where the turf ends in the picture: stands, trees and sky beyond it hold bright stripes too."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

SMALL = (160, 90)
LOOKED_AT_FROM = 0.35
COLOUR_BINS = 32
COLOUR_REACH = 13.0
LEAST_SHARE = 0.15
LEAST_REGION = 0.015
SAME_TURF = (30.0, 8.0, 8.0)
"""In L, a and b (0..255)."""
MARGIN_PX = 1.5
NEIGHBOURS = 6


def far_edge(bgr: npt.NDArray[np.uint8], boxes_xyxy: npt.NDArray[Any]) -> npt.NDArray[Any] | None:
    """(160,) for each 160th of the picture's width, the share of its height at which the turf ends; None where no colour
    prevails.

    The turf is the largest region of the hue that prevails in the picture's lower part, whatever that hue is, and the regions
    much like it: a painted end zone or logo may cut it in two."""
    small = cv2.resize(bgr, SMALL, interpolation=cv2.INTER_AREA)
    light, *colour = cv2.split(cv2.cvtColor(small, cv2.COLOR_BGR2LAB))
    lab = cv2.merge(colour)
    looked_at = np.zeros(SMALL[::-1], dtype=np.uint8)
    looked_at[int(LOOKED_AT_FROM * SMALL[1]):] = 255
    height, width = bgr.shape[:2]
    scale = np.array([SMALL[0] / width, SMALL[1] / height] * 2)
    for x0, y0, x1, y1 in (boxes_xyxy * scale).astype(int):
        looked_at[max(y0, 0):max(y1 + 1, 0), max(x0, 0):max(x1 + 1, 0)] = 0
    counts = cv2.calcHist([lab], [0, 1], looked_at, [COLOUR_BINS, COLOUR_BINS], [0, 256, 0, 256])
    counts = cv2.GaussianBlur(counts, (3, 3), 0)
    mode = (np.array(np.unravel_index(int(counts.argmax()), counts.shape)) + 0.5) * (256 / COLOUR_BINS)
    like = (np.abs(lab.astype(np.float32) - mode).max(axis=2) < COLOUR_REACH).astype(np.uint8)
    if like[looked_at > 0].mean() < LEAST_SHARE:
        return None
    opened = cv2.morphologyEx(like, cv2.MORPH_OPEN, np.ones((2, 3), np.uint8))
    like = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    regions, label, stats, _ = cv2.connectedComponentsWithStats(like, connectivity=8)
    if regions < 2:
        return None
    region = like_the_largest(label, stats[:, cv2.CC_STAT_AREA], cv2.merge([light, lab]))
    has: npt.NDArray[Any] = np.asarray(region.any(axis=0))
    top = np.where(has, region.argmax(axis=0), SMALL[1]).astype(float)
    # A column hidden by a person or a logo takes the edge of its neighbours.
    padded = np.pad(np.where(has, top, np.inf), NEIGHBOURS, constant_values=np.inf)
    near = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1), axis=1)
    count = np.maximum(np.isfinite(near).sum(axis=1), 1)
    top = (near[np.arange(len(near)), (count - 1) // 2] + near[np.arange(len(near)), count // 2]) / 2.0
    top = np.where(np.isfinite(top), top, 0.0)
    return np.asarray((top - MARGIN_PX) / SMALL[1])


def like_the_largest(label: npt.NDArray[Any], area: npt.NDArray[Any], lab: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """(90, 160) True in the largest of the regions `label`, whose sizes are `area`, and in those of about its colour and
    light."""
    looks = np.array([lab[label == i].mean(axis=0) if area[i] >= LEAST_REGION * label.size else np.full(3, np.inf)
                      for i in range(1, len(area))])
    largest = int(area[1:].argmax())
    alike = (np.abs(looks - lab[label == 1 + largest].mean(axis=0)) < SAME_TURF).all(axis=1)
    alike[largest] = True
    return np.asarray(np.concatenate([[False], alike])[label])


def below_edge(xy_px: npt.NDArray[Any], edge: npt.NDArray[Any] | None, size_px: tuple[int, int]) -> npt.NDArray[np.bool_]:
    """(N,) True where a point lies on the near side of the turf's far edge."""
    if edge is None or not len(xy_px):
        return np.ones(len(xy_px), dtype=bool)
    column = np.clip((xy_px[:, 0] * len(edge) / size_px[0]).astype(int), 0, len(edge) - 1)
    return np.asarray(xy_px[:, 1] > edge[column] * size_px[1])
