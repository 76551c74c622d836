"""Film that was cut: one clip with two plays, or two views of one, in a row."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from homography import FrameEvidence
from homography.align_views import same_paths
from homography.types import LOST, FieldTracks, FieldView
from vision.types import FloatArray

LEAST_S = 2.0
"""Shorter pieces are no plays."""
LEAST_PEOPLE = 10
"""A scoreboard or a title shows fewer."""
SEEN_SHARE, UNSEEN_SHARE = 0.8, 0.2
NEAR_FRAMES = 6
SAME_MAN_YD = 2.0
SAME_SHARE = 0.5
"""Of the men on the field, as many as stand after the cut where one stood before it, if the film goes on."""


def spliced_at_s(evidence: Sequence[FrameEvidence], view: FieldView, tracks: FieldTracks) -> float | None:
    """When the film goes on with another play or from another place, by the clip's clock; None if it shows one shot. A cut is
    where the background's motion is lost; that alone may be a fast turn of the camera."""
    time_s = np.array([frame.time_s for frame in evidence])
    people = np.array([len(frame.boxes_xyxy) for frame in evidence])
    seen = view.status != LOST
    cuts = [row for row, frame in enumerate(evidence) if row and not len(frame.after_px)]
    for cut in cuts:
        since_s = time_s - time_s[cut]
        sides = [(since_s >= -LEAST_S) & (since_s < 0), (since_s >= 0) & (since_s < LEAST_S)]
        whole = since_s[0] <= -LEAST_S and since_s[-1] >= LEAST_S
        if not whole or any(np.median(people[side]) < LEAST_PEOPLE for side in sides):
            continue
        shares = sorted(float(seen[side].mean()) for side in sides)
        if shares[0] < UNSEEN_SHARE and shares[1] > SEEN_SHARE:
            return float(time_s[cut])
        if shares[0] > SEEN_SHARE and not _same_men(tracks, view, cut):
            return float(time_s[cut])
    return None


def _same_men(tracks: FieldTracks, view: FieldView, cut: int) -> bool:
    """Whether most of those who are on the field after the cut stand where somebody stood before it."""
    rows = np.searchsorted(view.frame_index, tracks.frame_index)
    near = [_spots(tracks, rows, last) for last in (range(cut - 1, cut - 1 - NEAR_FRAMES, -1), range(cut, cut + NEAR_FRAMES))]
    if not all(len(spots) for spots in near):
        return True
    same = same_paths(near[0][:, None], near[1][:, None], SAME_MAN_YD)
    return len(same) > SAME_SHARE * min(len(near[0]), len(near[1]))


def _spots(tracks: FieldTracks, rows: np.ndarray, wanted: range) -> FloatArray:
    """(N, 2) field spots of those really seen in the first of the frames that shows anybody."""
    for row in wanted:
        here = (rows == row) & tracks.observed
        if here.any():
            return np.asarray(tracks.xy_yd[here])
    return np.zeros((0, 2))
