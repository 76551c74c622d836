"""Which kit every track wears: the colours of the boxes that made it, clustered over the whole clip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.boxes import iou
from vision.kits import cluster, summarise
from vision.types import NO_KIT, Detections, FloatArray, IntArray, Tracks

SAME_BOX_IOU = 0.3
"""A smoothed box and the detection it came from overlap at least this much."""


def dress(tracks: Tracks, detections: Sequence[Detections], looks: Sequence[FloatArray], among: IntArray | None = None) -> Tracks:
    """`tracks` with `kit_id` filled in. `looks` holds, for every entry of `detections`, the (N, A) colours of its boxes as
    `vision.kits.describe` gives them; `among` the ids of those who may wear a kit (a crowd in the stands must not make the
    teams), everybody if left out. Raises ValueError where the first two differ in length."""
    if len(looks) != len(detections):
        raise ValueError(f"dress: {len(looks)} pictures of colours for {len(detections)} pictures of boxes")
    ids = np.unique(tracks.track_id if among is None else among)
    seen: dict[int, list[FloatArray]] = {int(i): [] for i in ids}
    clear: dict[int, list[float]] = {int(i): [] for i in ids}
    for found, look in zip(detections, looks, strict=True):
        here = np.flatnonzero((tracks.frame_index == found.frame_index) & tracks.observed & np.isin(tracks.track_id, ids))
        if not len(here) or not len(found):
            continue
        overlap = iou(tracks.xyxy[here], found.xyxy)
        hidden = (iou(found.xyxy, found.xyxy) - np.eye(len(found))).max(axis=1)
        for track_id, shared in zip(tracks.track_id[here].tolist(), overlap, strict=True):
            box = int(shared.argmax())
            if shared[box] >= SAME_BOX_IOU:
                seen[track_id].append(look[box])
                clear[track_id].append(1.0 - float(hidden[box]))
    worn = [int(i) for i in ids if seen[int(i)]]
    kits = cluster([summarise(np.stack(seen[i]), np.array(clear[i])) for i in worn], np.array([len(seen[i]) for i in worn]))
    kit_of = dict(zip(worn, kits.tolist(), strict=True))
    return replace(tracks, kit_id=np.array([kit_of.get(int(i), NO_KIT) for i in tracks.track_id], dtype=np.int64))
