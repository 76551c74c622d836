"""Which kit every track wears: the colours of the boxes that made it, sorted over the whole clip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.boxes import iou
from vision.facing import whose
from vision.kit_groups import cluster, in_units, middle
from vision.looks import COLOURS
from vision.sights import Sight
from vision.types import NO_KIT, Detections, FloatArray, IntArray, Tracks

MIN_SHARED = 4
"""Men seen by both cameras from whom the difference of their light is told."""


@dataclass(frozen=True)
class Wardrobe:
    """One view's tracks with the boxes that made them: `looks` holds, for every entry of `detections`, what its boxes wear as
    `vision.looks.appearance` has it or its (N, 12) colours alone, `sights` what their crops told (None where nobody looked, empty
    where nobody ever did). Raises ValueError where these differ in length."""

    tracks: Tracks
    detections: Sequence[Detections]
    looks: Sequence[FloatArray]
    sights: Sequence[Sight | None] = ()

    def __post_init__(self) -> None:
        if len(self.looks) != len(self.detections) or len(self.sights) not in (0, len(self.detections)):
            raise ValueError(f"dress: {len(self.looks)} pictures of colours and {len(self.sights)} of crops for "
                             f"{len(self.detections)} pictures of boxes")


@dataclass(frozen=True)
class _Seen:
    """One man's boxes: colours (B, A), how clear each is (B,), and his role (3,) if crops tell it."""

    boxes: FloatArray
    clear: FloatArray
    role: FloatArray | None


def dress(views: Sequence[Wardrobe], among: IntArray | None = None) -> list[Tracks]:
    """Each view's tracks with `kit_id` filled in, the same man (the same id) in the same kit in all of them. `among` are the ids
    of those who may wear a kit (a crowd in the stands must not make the teams), everybody if left out."""
    ids = np.unique(np.concatenate([view.tracks.track_id for view in views])) if among is None else np.unique(among)
    looked_at = all(any(sight is not None for sight in view.sights) for view in views)
    everybody = _in_one_light([_seen(view, ids, looked_at) for view in views])
    worn = sorted(everybody)
    roles = [everybody[i].role for i in worn]
    player = np.array([role is None or role.argmax() == 0 for role in roles], dtype=np.bool_) if looked_at else None
    kits = cluster([everybody[i].boxes for i in worn], [everybody[i].clear for i in worn], player)
    kit_of = dict(zip(worn, kits.tolist(), strict=True))
    return [replace(view.tracks, kit_id=np.array([kit_of.get(int(i), NO_KIT) for i in view.tracks.track_id], dtype=np.int64))
            for view in views]


def _seen(view: Wardrobe, ids: IntArray, looked_at: bool) -> dict[int, _Seen]:
    """Each track's boxes in one view; only those whose crops were looked at, if that is asked for."""
    owners = whose(view.tracks, view.detections)
    colours, clear, roles = dict[int, list[FloatArray]](), dict[int, list[float]](), dict[int, list[FloatArray]]()
    wanted = set(ids.tolist())
    for entry in np.unique(owners.entry):
        sight, xyxy = view.sights[entry] if looked_at else None, view.detections[entry].xyxy
        if looked_at and sight is None:
            continue
        units = in_units(view.looks[entry][:, COLOURS], None if sight is None else sight.cloth)
        shows = 1.0 - (iou(xyxy, xyxy) - np.eye(len(xyxy))).max(axis=1)
        mine = owners.entry == entry
        for box, man in zip(owners.box[mine].tolist(), owners.track_id[mine].tolist(), strict=True):
            if man in wanted:
                colours.setdefault(man, []).append(units[box])
                clear.setdefault(man, []).append(float(shows[box]))
                if sight is not None:
                    roles.setdefault(man, []).append(sight.role[box])
    return {man: _Seen(np.stack(colours[man]), np.array(clear[man]), np.mean(roles[man], axis=0) if man in roles else None)
            for man in colours}


def _in_one_light(views: Sequence[dict[int, _Seen]]) -> dict[int, _Seen]:
    """Everybody's boxes of all views. Front and back, sun and shade: what a view shows differently of those whom the first shows
    too is taken out of it."""
    everybody = dict[int, _Seen]()
    for view in views:
        shared = sorted(view.keys() & everybody.keys())
        light = np.median([middle(view[i].boxes, view[i].clear) - middle(everybody[i].boxes, everybody[i].clear)
                           for i in shared], axis=0) if len(shared) >= MIN_SHARED else 0.0
        for man, seen in view.items():
            other = everybody.get(man)
            lit = replace(seen, boxes=seen.boxes - light)
            everybody[man] = lit if other is None else _Seen(
                np.concatenate([other.boxes, lit.boxes]), np.concatenate([other.clear, lit.clear]), _role(other, lit))
    return everybody


def _role(one: _Seen, other: _Seen) -> FloatArray | None:
    """Both views' word on a man's role, by how many boxes each had."""
    if one.role is None or other.role is None:
        return other.role if one.role is None else one.role
    told: FloatArray = (len(one.boxes) * one.role + len(other.boxes) * other.role) / (len(one.boxes) + len(other.boxes))
    return told
