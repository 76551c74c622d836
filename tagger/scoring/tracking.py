"""How well people are followed: HOTA (Luiten et al. 2021), IDF1 (Ristani et al. 2016) and switches, by trackeval."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from tagger.scoring.detection import OVERLAP, overlap
from tagger.scoring.predicted import Said
from tagger.scoring.truth import TrueClip, TrueFrame
from vision.types import BoolArray, FloatArray

ABSENT = "trackeval is not installed; pip install trackeval to score the tracking"


def tracking(pairs: Sequence[tuple[TrueClip, Said]]) -> dict[str, Any]:
    """HOTA, DetA, AssA and IDF1 over all clips (0 to 1), identity switches a clip. Null without trackeval."""
    empty: dict[str, Any] = dict.fromkeys(("hota", "deta", "assa", "idf1", "switches_per_rep"))
    try:
        from trackeval.metrics import CLEAR, HOTA, Identity
    except ImportError:
        return {**empty, "note": ABSENT}
    sequences = {str(number): sequence(clip, said) for number, (clip, said) in enumerate(pairs) if clip.frames}
    if not sequences:
        return empty
    with contextlib.redirect_stdout(io.StringIO()):  # trackeval prints its settings
        metrics = {"hota": HOTA(), "id": Identity(), "clear": CLEAR()}
        totals = {name: metric.combine_sequences({key: metric.eval_sequence(data) for key, data in sequences.items()})
                  for name, metric in metrics.items()}
    return {
        "hota": float(np.mean(totals["hota"]["HOTA"])), "deta": float(np.mean(totals["hota"]["DetA"])),
        "assa": float(np.mean(totals["hota"]["AssA"])), "idf1": float(totals["id"]["IDF1"]),
        "switches_per_rep": float(totals["clear"]["IDSW"]) / len(sequences),
    }


def sequence(clip: TrueClip, said: Said) -> dict[str, Any]:
    """One clip in trackeval's own form: ids counted from 0, a similarity matrix a frame."""
    true_ids: dict[str, int] = {}
    said_ids: dict[int, int] = {}
    ids: dict[str, list[Any]] = {"gt_ids": [], "tracker_ids": [], "similarity_scores": []}
    for frame in clip.frames:
        names, boxes = [n for n, c in zip(frame.player_id, frame.counted, strict=True) if c], frame.xyxy[frame.counted]
        found = said.frames.get(frame.index)
        tracks, found_boxes = (found.track_id, found.xyxy) if found else (np.empty(0, int), np.empty((0, 4)))
        kept = ~_on_ignored(frame, found_boxes)
        ids["gt_ids"].append(np.array([true_ids.setdefault(n, len(true_ids)) for n in names], int))
        ids["tracker_ids"].append(np.array([said_ids.setdefault(int(t), len(said_ids)) for t in tracks[kept]], int))
        ids["similarity_scores"].append(overlap(boxes, found_boxes[kept]))
    return {
        **ids, "num_gt_ids": len(true_ids), "num_tracker_ids": len(said_ids), "num_timesteps": len(clip.frames),
        "num_gt_dets": sum(map(len, ids["gt_ids"])), "num_tracker_dets": sum(map(len, ids["tracker_ids"])),
    }


def _on_ignored(frame: TrueFrame, boxes: FloatArray) -> BoolArray:
    """(M,) True for boxes whose best partner is a person of whom too little is seen: neither right nor wrong."""
    out = np.zeros(len(boxes), bool)
    if len(boxes) and len(frame.xyxy):
        overlaps = overlap(frame.xyxy, boxes)
        rows, columns = linear_sum_assignment(-np.where(overlaps >= OVERLAP, overlaps, 0.0))
        for row, column in zip(rows, columns, strict=True):
            out[column] = overlaps[row, column] >= OVERLAP and not frame.counted[row]
    return out
