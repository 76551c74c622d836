"""Tracks in pixels to tracks in yards."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from homography.types import LOST, FieldTracks, FieldView
from homography.view import sigma_where, to_field, yd_per_px
from vision.types import Tracks

Array = npt.NDArray[np.float64]
BEYOND_YD = 60.0
"""Points farther than this outside the field are in the stands, or above the horizon."""


def viewing_rays(view: FieldView, frame: int, foot_px: npt.NDArray[np.floating]) -> Array:
    """(N,) rad: which way over the field the camera looks at people whose feet show at (N, 2) px of a frame; NaN where the frame
    is lost or they do not stand on the ground."""
    row = int(np.searchsorted(view.frame_index, frame))
    if row == len(view.frame_index) or view.frame_index[row] != frame or view.status[row] == LOST:
        return np.full(len(foot_px), np.nan)
    foot = np.asarray(foot_px, dtype=np.float64)
    place = to_field(view, row, foot)
    # Without a camera: what lies a little higher in the picture is farther along the ray.
    ray = (to_field(view, row, foot - [0.0, 1.0]) - place) if view.camera is None else place - view.camera.centre_yd[:2]
    return np.arctan2(ray[:, 1], ray[:, 0])


def locate(tracks: Tracks, view: FieldView) -> FieldTracks:
    """Put tracks on the field, where the ground under the men's middles is. `sigma_yd` adds, in quadrature, the
    foot point's uncertainty seen through the camera and the registration's. Rows in lost frames, or whose foot is not on the
    ground, are left out; facing is unknown (NaN).

    Raises ValueError when the tracks hold a frame that the view does not."""
    row_of = {int(frame): row for row, frame in enumerate(view.frame_index)}
    missing = sorted(set(np.unique(tracks.frame_index).tolist()) - set(row_of))
    if missing:
        raise ValueError(f"tracks: frame {missing[0]} is not among the {len(row_of)} registered frames of the clip")
    foot = tracks.ground_px.astype(np.float64)
    xy, sigma = np.full((len(tracks), 2), np.nan), np.full(len(tracks), np.nan)
    for frame in np.unique(tracks.frame_index):
        row = row_of[int(frame)]
        if view.status[row] == LOST:
            continue
        mine = np.nonzero(tracks.frame_index == frame)[0]
        xy[mine] = to_field(view, row, foot[mine])
        slope = yd_per_px(view, row, foot[mine])
        sigma[mine] = np.hypot(slope * tracks.foot_sigma_px[mine], sigma_where(view, row, slope))
    keep = np.isfinite(xy).all(axis=1) & np.isfinite(sigma)
    keep[keep] = (np.abs(xy[keep] - [60.0, 26.7]) < [120.0 + BEYOND_YD, 26.7 + BEYOND_YD]).all(axis=1)
    return FieldTracks(tracks.frame_index[keep], tracks.time_s[keep], tracks.track_id[keep], tracks.kit_id[keep],
                       tracks.observed[keep], xy[keep], sigma[keep], np.full(int(keep.sum()), np.nan))
