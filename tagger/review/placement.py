"""Where a rep's play frame lies on the field, from where its players stood at the snap, and from the coach's word."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from homography.field import WIDTH_YD
from homography.types import FieldTracks
from tagger.cutups.zones import Placement
from tagger.library.records import Correction
from vision.types import FloatArray

NEAR_SNAP_S = 0.4
LINE_SHARE = 0.8
"""The line of scrimmage lies at the front of most of the offense: quarterback and backs stand behind, nobody before it."""
HALF_LINEMAN_YD = 0.5


def placement_of(
    field_tracks: FieldTracks, side_of_track: Mapping[int, str], snap_s: float | None, standing: Iterable[Correction]
) -> Placement | None:
    """The placement, or None where the snap or one of the two sides is not known (and the coach has not told)."""
    told = {c.field: c.after for c in standing if c.subject == "rep" and c.field in ("direction", "ball_xy_yd")}
    offense, defense = (_stance(field_tracks, side_of_track, side, snap_s) for side in ("offense", "defense"))
    direction = told.get("direction")
    if direction is None:
        if not len(offense) or not len(defense):
            return None
        direction = 1 if np.median(defense[:, 0]) >= np.median(offense[:, 0]) else -1
    if told.get("ball_xy_yd") is not None:
        return Placement(float(told["ball_xy_yd"][0]), int(direction))
    if not len(offense):
        return None
    front = float(np.quantile(direction * offense[:, 0], LINE_SHARE))
    return Placement(direction * (front + HALF_LINEMAN_YD), int(direction))


def _stance(field_tracks: FieldTracks, side_of_track: Mapping[int, str], side: str, snap_s: float | None) -> FloatArray:
    """(N, 2) field yards of a side's men at the snap."""
    if snap_s is None:
        return np.zeros((0, 2))
    near = np.abs(field_tracks.time_s - snap_s) <= NEAR_SNAP_S
    spots = [field_tracks.xy_yd[near & (field_tracks.track_id == track)] for track, of in side_of_track.items() if of == side]
    stood = [np.median(spot, axis=0) for spot in spots if len(spot)]
    return np.array(stood).reshape(-1, 2)


def across_of(placement: Placement, y_yd: float) -> float:
    """Yards from the offense's left sideline."""
    return WIDTH_YD - y_yd if placement.direction == 1 else y_yd
