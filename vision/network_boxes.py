"""Between a picture and a detection network: letterboxing on the way in, boxes without doubles on the way out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from vision.boxes import box_area, iou, shared_area
from vision.types import Detections, FloatArray

STRIDE_PX = 32
LEAST_SIDE_PX = 160
"""An end-to-end head picks its 300 surest places: the network's picture must have as many."""
PAD_GREY = 114
"""Grey level around a letterboxed picture, as these networks are trained with."""

DOUBLED_IOU = 0.8
DOUBTFUL_DOUBLED_IOU = 0.6
SURE_CONFIDENCE = 0.5
"""A box that overlaps a surer one by more than DOUBLED_IOU is the same person boxed twice; linemen shoulder to shoulder overlap
less. Below SURE_CONFIDENCE the bound falls toward DOUBTFUL_DOUBLED_IOU: there doubles are commoner than hidden people."""

RAW_NMS_IOU = 0.65
"""The same for heads that propose each person many times."""

CONTAINED_SHARE = 0.9
CONTAINED_CONFIDENCE_RATIO = 0.5
"""A box that lies within another by this share and is less than this as sure is a part of that person."""


def letterbox(bgr: npt.NDArray[np.uint8], image_size_px: int,
              fixed_hw: tuple[int, int] | None = None) -> tuple[npt.NDArray[np.float32], float, FloatArray]:
    """The picture scaled so that its longest side is `image_size_px`, padded to multiples of 32 (or into `fixed_hw`).

    Returns the network's input (1, 3, H, W) RGB 0..1, the scale, and the (2,) offset in px: network = picture * scale + offset.
    """
    height, width = bgr.shape[:2]
    if fixed_hw is None:
        scale = image_size_px / max(height, width)
        target_h, target_w = (max(LEAST_SIDE_PX, -(-max(1, round(side * scale)) // STRIDE_PX) * STRIDE_PX)
                              for side in (height, width))
    else:
        target_h, target_w = fixed_hw
        scale = min(target_h / height, target_w / width)
    inner_w, inner_h = max(1, round(width * scale)), max(1, round(height * scale))
    if (inner_w, inner_h) != (width, height):
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
        bgr = cv2.resize(bgr, (inner_w, inner_h), interpolation=how)  # type: ignore[assignment]
    left, top = (target_w - inner_w) // 2, (target_h - inner_h) // 2
    padded = np.full((target_h, target_w, 3), PAD_GREY, np.uint8)
    padded[top:top + inner_h, left:left + inner_w] = bgr
    blob = cv2.dnn.blobFromImage(padded, 1 / 255.0, swapRB=True)
    return np.asarray(blob, dtype=np.float32), scale, np.array([left, top], dtype=np.float64)


def decode(output: npt.NDArray[Any], person: int, end_to_end: bool, class_count: int, min_confidence: float,
           path: Path | str = "weights") -> tuple[FloatArray, FloatArray]:
    """Boxes (N, 4) x0 y0 x1 y1 and confidences (N,) of the class `person` out of a network's raw output.

    End-to-end rows are (x0, y0, x1, y1, confidence, class); raw heads hold (cx, cy, w, h, a score per class) by column and are
    thinned by non-maximum suppression. Raises ValueError if the output is neither.
    """
    if output.ndim != 3 or output.shape[0] != 1:
        raise ValueError(f"{path}: gives output {output.shape}; not a detection network, export one for the task 'detect'")
    rows = output[0].astype(np.float64)
    if end_to_end or (rows.shape[1] == 6 and rows.shape[0] != 4 + class_count):
        if rows.shape[1] != 6:
            raise ValueError(f"{path}: gives output {output.shape}; wanted (1, N, 6) of an end-to-end head")
        keep = (rows[:, 4] >= min_confidence) & (rows[:, 5].round() == person)
        return rows[keep, :4], rows[keep, 4]
    if rows.shape[0] != 4 + class_count and not (class_count == 0 and rows.shape[0] >= 5):
        raise ValueError(f"{path}: gives output {output.shape}; wanted (1, {4 + class_count}, N) for {class_count} classes; "
                         "export it for the task 'detect'")
    scores = rows[4 + person]
    # A column counts as a person only where no other class is surer.
    keep = (scores >= min_confidence) & (rows[4:].argmax(axis=0) == person)
    centre, size = rows[:2, keep].T, rows[2:4, keep].T
    xyxy, confidence = np.concatenate([centre - size / 2, centre + size / 2], axis=1), scores[keep]
    chosen = suppress(xyxy, confidence, RAW_NMS_IOU)
    return xyxy[chosen], confidence[chosen]


def suppress(xyxy: FloatArray, confidence: FloatArray, iou: float) -> npt.NDArray[np.intp]:
    """Rows to keep, surest first, so that no two overlap by more than `iou`."""
    if not len(xyxy):
        return np.zeros(0, dtype=np.intp)
    xywh = np.concatenate([xyxy[:, :2], xyxy[:, 2:] - xyxy[:, :2]], axis=1)
    kept = cv2.dnn.NMSBoxes(xywh.tolist(), confidence.tolist(), 0.0, iou)
    return np.asarray(kept, dtype=np.intp).reshape(-1)


def single(xyxy: FloatArray, confidence: FloatArray) -> npt.NDArray[np.intp]:
    """Rows without doubled boxes, surest first; the less sure a box, the less it may overlap a surer one."""
    overlap = iou(xyxy, xyxy)
    bound = DOUBTFUL_DOUBLED_IOU + (DOUBLED_IOU - DOUBTFUL_DOUBLED_IOU) * np.minimum(confidence / SURE_CONFIDENCE, 1.0)
    kept: list[int] = []
    for row in np.argsort(-confidence, kind="stable").tolist():
        if not kept or overlap[row, kept].max() <= bound[row]:
            kept.append(row)
    return np.array(kept, dtype=np.intp)


def finish(frame_index: int, time_s: float, xyxy: FloatArray, confidence: FloatArray,
           height_width: tuple[int, ...]) -> Detections:
    """Clip to the picture, drop what lies outside or has no area, drop doubled and contained boxes, sort by confidence."""
    height, width = height_width[:2]
    xyxy = np.clip(xyxy, 0.0, [width, height, width, height])
    sound = np.isfinite(xyxy).all(axis=1) & (xyxy[:, 2] - xyxy[:, 0] > 1) & (xyxy[:, 3] - xyxy[:, 1] > 1)
    xyxy, confidence = xyxy[sound], confidence[sound]
    kept = single(xyxy, confidence)
    xyxy, confidence = xyxy[kept], confidence[kept]
    whole = ~_is_part(xyxy, confidence)
    n = int(whole.sum())
    return Detections(frame_index, time_s, xyxy[whole].astype(np.float32), np.clip(confidence[whole], 0, 1).astype(np.float32),
                      np.zeros(n, dtype=np.int64))


def _is_part(xyxy: FloatArray, confidence: FloatArray) -> npt.NDArray[np.bool_]:
    """(N,) True where a box lies within a much surer one."""
    area = box_area(xyxy)
    within = (shared_area(xyxy, xyxy) > CONTAINED_SHARE * area[:, None]) & (area[None] > area[:, None])
    surer: npt.NDArray[np.bool_] = confidence[:, None] < CONTAINED_CONFIDENCE_RATIO * confidence[None]
    return np.asarray((within & surer).any(axis=1))
