"""Which kit every track wears: the colours of the boxes that made it, clustered over the whole clip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.boxes import iou
from vision.kits import cluster, summarise
from vision.types import NO_KIT, Detections, FloatArray, IntArray, Tracks

SAME_BOX_IOU = 0.3
"""A smoothed box and the detection it came from overlap at least this much."""

MIN_SHARED = 4


@dataclass(frozen=True)
class Wardrobe:
    """One view's tracks with the boxes that made them: `looks` holds, for every entry of `detections`, the (N, A) colours of its
    boxes as `vision.kits.describe` gives them. Raises ValueError where these two differ in length."""

    tracks: Tracks
    detections: Sequence[Detections]
    looks: Sequence[FloatArray]

    def __post_init__(self) -> None:
        if len(self.looks) != len(self.detections):
            raise ValueError(f"dress: {len(self.looks)} pictures of colours for {len(self.detections)} pictures of boxes")


def dress(views: Sequence[Wardrobe], among: IntArray | None = None) -> list[Tracks]:
    """Each view's tracks with `kit_id` filled in, the same man (the same id) in the same kit in all of them. `among` are the ids
    of those who may wear a kit (a crowd in the stands must not make the teams), everybody if left out."""
    ids = np.unique(np.concatenate([view.tracks.track_id for view in views])) if among is None else np.unique(among)
    seen = [_seen(view, ids) for view in views]
    colours, boxes = _in_one_light(seen)
    worn = sorted(colours)
    kits = cluster([colours[i] for i in worn], np.array([boxes[i] for i in worn], dtype=np.float64))
    kit_of = dict(zip(worn, kits.tolist(), strict=True))
    return [replace(view.tracks, kit_id=np.array([kit_of.get(int(i), NO_KIT) for i in view.tracks.track_id], dtype=np.int64))
            for view in views]


def _seen(view: Wardrobe, ids: IntArray) -> dict[int, tuple[FloatArray, int]]:
    """Each track's colours in one view and how many boxes showed them."""
    tracks = view.tracks
    found_looks: dict[int, list[FloatArray]] = {int(i): [] for i in ids}
    clear: dict[int, list[float]] = {int(i): [] for i in ids}
    for found, look in zip(view.detections, view.looks, strict=True):
        here = np.flatnonzero((tracks.frame_index == found.frame_index) & tracks.observed & np.isin(tracks.track_id, ids))
        if not len(here) or not len(found):
            continue
        overlap = iou(tracks.xyxy[here], found.xyxy)
        hidden = (iou(found.xyxy, found.xyxy) - np.eye(len(found))).max(axis=1)
        for track_id, shared in zip(tracks.track_id[here].tolist(), overlap, strict=True):
            box = int(shared.argmax())
            if shared[box] >= SAME_BOX_IOU:
                found_looks[track_id].append(look[box])
                clear[track_id].append(1.0 - float(hidden[box]))
    return {i: (summarise(np.stack(found_looks[i]), np.array(clear[i])), len(clear[i])) for i in found_looks if clear[i]}


def _in_one_light(seen: Sequence[dict[int, tuple[FloatArray, int]]]) -> tuple[dict[int, FloatArray], dict[int, int]]:
    """Everybody's colours over all views and the boxes behind them. Front and back, sun and shade: what a view shows differently
    of those whom the first shows too is taken out of it."""
    colours, boxes = dict[int, FloatArray](), dict[int, int]()
    for view in seen:
        shared = sorted(view.keys() & colours.keys())
        light = np.median([view[i][0] - colours[i] for i in shared], axis=0) if len(shared) >= MIN_SHARED else 0.0
        for i, (colour, count) in view.items():
            before = boxes.get(i, 0)
            colours[i] = (before * colours.get(i, 0.0) + count * (colour - light)) / (before + count)
            boxes[i] = before + count
    return colours, boxes
