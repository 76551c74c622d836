"""Keeps a person's id when film is tagged anew, so that a coach's word about him still finds him.

Both taggings saw the same frames, so the same person is the one whose boxes lie on each other. The field is not asked:
the new tagging may have found it elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tagger.football.types import Reading
from vision.types import FloatArray, Tracks

MIN_SHARED_OVERLAP = 0.3
"""Mean overlap (intersection over union) over the frames that both tracks have, below which two tracks are two people."""


def same_people(old: Tracks, old_ids: Mapping[str, int], new: Tracks, new_ids: Mapping[str, int]) -> dict[str, str]:
    """Map a player of the new tagging to the player of the old one who is the same person, one to one."""
    if not old_ids or not new_ids:
        return {}
    from scipy.optimize import linear_sum_assignment  # slow to load, and most commands only read

    olds, news = list(old_ids), list(new_ids)
    score = np.zeros((len(olds), len(news)))
    for i, a in enumerate(olds):
        for j, b in enumerate(news):
            score[i, j] = _overlap(old, old_ids[a], new, new_ids[b])
    rows, columns = linear_sum_assignment(-score)
    return {news[j]: olds[i] for i, j in zip(rows, columns, strict=True) if score[i, j] >= MIN_SHARED_OVERLAP}


def _overlap(old: Tracks, old_id: int, new: Tracks, new_id: int) -> float:
    a, b = old.track_id == old_id, new.track_id == new_id
    frames, ia, ib = np.intersect1d(old.frame_index[a], new.frame_index[b], return_indices=True)
    if not len(frames):
        return 0.0
    return float(_iou(old.xyxy[a][ia], new.xyxy[b][ib]).mean())


def _iou(a: FloatArray, b: FloatArray) -> FloatArray:
    """(N,) intersection over union of boxes row by row."""
    low, high = np.maximum(a[:, :2], b[:, :2]), np.minimum(a[:, 2:], b[:, 2:])
    shared = np.clip(high - low, 0, None).prod(axis=1)
    area_a, area_b = (a[:, 2:] - a[:, :2]).prod(axis=1), (b[:, 2:] - b[:, :2]).prod(axis=1)
    out: FloatArray = shared / np.maximum(area_a + area_b - shared, 1e-9)
    return out


def new_names(players: Mapping[str, int], same: Mapping[str, str], taken: Mapping[str, int]) -> dict[str, str]:
    """A name for every player of the new tagging: his old one, or his own if it is free, or the next free number."""
    names = dict(same)
    used = set(taken) | set(same.values())
    for player in players:
        if player in names:
            continue
        stem, number = re.sub(r"\d+$", "", player), 1
        name = player
        while name in used:
            name, number = f"{stem}{number}", number + 1
        names[player] = name
        used.add(name)
    return names


def rename(reading: Reading, names: Mapping[str, str]) -> Reading:
    """The reading with its players renamed; a name that is not in `names` stays."""
    def of(player: str) -> str:
        return names.get(player, player)

    def maybe(player: str | None) -> str | None:
        return None if player is None else of(player)

    formation = reading.formation
    return replace(
        reading,
        defenders=tuple(
            replace(d, player_id=of(d.player_id), intervals=tuple(replace(i, receiver=maybe(i.receiver)) for i in d.intervals))
            for d in reading.defenders
        ),
        events=tuple(replace(e, player_id=maybe(e.player_id), against=maybe(e.against)) for e in reading.events),
        formation=None if formation is None else replace(
            formation,
            receivers={of(p): number for p, number in formation.receivers.items()},
            motions=tuple(replace(m, player_id=of(m.player_id)) for m in formation.motions),
        ),
    )
