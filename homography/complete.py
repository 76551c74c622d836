"""One view's field tracks completed from another view of the same rep, where both name the same men alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.align_views import Alignment
from homography.types import FieldTracks

Array = npt.NDArray[np.floating[Any]]
LONGEST_GAP_S = 0.2


def complete(own: FieldTracks, other: FieldTracks, how: Alignment) -> FieldTracks:
    """`own` and, for every frame of it, whoever only the `other` view has then: out of this picture, or behind its edge. `how`
    leads from the other's clock and field to this one's. Those rows count as bridged, not as seen."""
    frames, at = np.unique(own.frame_index, return_index=True)
    time_s = own.time_s[at]
    have = set(zip(own.track_id.tolist(), own.frame_index.tolist(), strict=True))
    blocks = [_Rows(own.frame_index, own.time_s, own.track_id, own.kit_id, own.observed, own.xy_yd, own.sigma_yd, own.facing_rad,
                    own.facing_sigma_rad)]
    for man in np.unique(other.track_id):
        rows = np.flatnonzero(other.track_id == man)
        at_s = other.time_s[rows] + how.offset_s
        known, xy, sigma = _at(at_s, how.field(other.xy_yd[rows]), other.sigma_yd[rows], time_s)
        facing = _angles_at(at_s, other.facing_rad[rows] + np.pi * how.half_turn, time_s)
        facing_sigma = np.interp(time_s, at_s, other.facing_sigma_rad[rows], left=np.nan, right=np.nan)
        new = np.array([k for k in np.flatnonzero(known) if (int(man), int(frames[k])) not in have], dtype=np.int64)
        blocks.append(_Rows(frames[new], time_s[new], np.full(len(new), man), np.full(len(new), other.kit_id[rows[0]]),
                            np.zeros(len(new), dtype=np.bool_), xy[new], sigma[new], facing[new], facing_sigma[new]))
    columns = [np.concatenate([getattr(block, name) for block in blocks]) for name in _Rows.__dataclass_fields__]
    order = np.lexsort((columns[2], columns[0]))
    return FieldTracks(*(column[order] for column in columns))


@dataclass(frozen=True)
class _Rows:
    """Rows of field tracks in any order, the columns in the order of FieldTracks."""

    frame_index: npt.NDArray[np.integer]
    time_s: npt.NDArray[np.floating]
    track_id: npt.NDArray[np.integer]
    kit_id: npt.NDArray[np.integer]
    observed: npt.NDArray[np.bool_]
    xy_yd: npt.NDArray[np.floating]
    sigma_yd: npt.NDArray[np.floating]
    facing_rad: npt.NDArray[np.floating]
    facing_sigma_rad: npt.NDArray[np.floating]


def _angles_at(own_s: Array, angle: Array, wanted_s: Array) -> Array:
    """(W,) angles at the wanted times; NaN beyond and beside what is not known."""
    turned = [np.interp(wanted_s, own_s, part, left=np.nan, right=np.nan) for part in (np.cos(angle), np.sin(angle))]
    return np.arctan2(turned[1], turned[0])


def _at(own_s: Array, xy: Array, sigma: Array, wanted_s: Array) -> tuple[npt.NDArray[np.bool_], Array, Array]:
    """Which of the wanted times fall into a track, where he is then (W, 2) and how sure (W,)."""
    after = np.clip(np.searchsorted(own_s, wanted_s), 1, max(1, len(own_s) - 1))
    inside = (wanted_s >= own_s[0]) & (wanted_s <= own_s[-1])
    if len(own_s) > 1:
        inside &= own_s[after] - own_s[after - 1] <= LONGEST_GAP_S
    place = np.stack([np.interp(wanted_s, own_s, xy[:, axis]) for axis in (0, 1)], axis=1)
    return inside, place, np.interp(wanted_s, own_s, sigma)
