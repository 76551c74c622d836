"""What the machine saw at one moment, as JSON."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

from homography.assign import hash_rows_yd
from homography.field import END_ZONE_YD, LENGTH_YD, WIDTH_YD, YARD_LINE_SPACING_YD
from homography.types import LOST, STATUS_NAMES, CameraPath, FieldView
from homography.view import to_image
from tagger.inspection import Inspection

LEAST_APART_PX = 6.0


def inspection_to_json(seen: Inspection) -> dict[str, Any]:
    """Boxes as [x0, y0, x1, y1, confidence] and tracks as {track_id, box, kit}, in px of `width` x `height`. `field_from_image`
    is the plane that fits best; `crossings` says where each yard line that shows meets a sideline or an inbounds line, bent by
    the lens and the crown of the turf."""
    height, width = seen.frame_bgr.shape[:2]
    view, found, row = seen.view, seen.detections, seen.row
    lost = view.status[row] == LOST
    here = seen.tracks.frame_index == view.frame_index[row]
    return {
        "width": width, "height": height, "time_s": seen.time_s,
        "boxes": [[*map(float, box), float(p)] for box, p in zip(found.xyxy, found.confidence, strict=True)],
        "field_from_image": None if lost else view.field_from_image[row].tolist(),
        "camera": None if lost or view.camera is None else camera_at(view.camera, row),
        "crossings": [] if lost else crossings(view, row),
        "status": STATUS_NAMES[int(view.status[row])],
        "sigma_yd": None if lost else float(view.sigma_yd[row]),
        "yard_line_known": view.yard_line_known, "view": view.view, "level": view.level, "reason": view.reason,
        "tracks": [{"track_id": int(track), "box": [float(edge) for edge in box], "kit": int(kit), "observed": bool(seen_here)}
                   for track, box, kit, seen_here in zip(seen.tracks.track_id[here], seen.tracks.xyxy[here],
                                                         seen.tracks.kit_id[here], seen.tracks.observed[here], strict=True)],
    }


def camera_at(camera: CameraPath, row: int) -> dict[str, Any]:
    """The camera of one frame by the names of `CameraPath`."""
    values = {f.name: getattr(camera, f.name) for f in fields(camera)}
    return {name: value if np.ndim(value) == 0 else value.tolist() if name == "centre_yd" else float(value[row])
            for name, value in values.items()}


def crossings(view: FieldView, row: int) -> list[dict[str, Any]]:
    """{"xy_yd", "xy_px"} of the crossings of yard lines with sidelines and inbounds lines that lie in the picture, up to where
    yard lines run together. Where the yard line is unknown, so is where the goals are."""
    rows_yd = sorted([0.0, WIDTH_YD] + ([*hash_rows_yd(view.level)] if view.level else []))
    first, last = (END_ZONE_YD, LENGTH_YD - END_ZONE_YD) if view.yard_line_known else (-LENGTH_YD, 2 * LENGTH_YD)
    spots = np.stack(np.meshgrid(np.arange(first, last + 1e-6, YARD_LINE_SPACING_YD), rows_yd, indexing="ij"), axis=-1)
    px = to_image(view, row, spots.reshape(-1, 2)).reshape(spots.shape)
    with np.errstate(invalid="ignore"):
        seen = np.asarray(((px >= 0) & (px < np.array(view.image_size_px))).all(axis=2))
        seen[:-1] &= np.linalg.norm(np.diff(px, axis=0), axis=2) > LEAST_APART_PX
    return [{"xy_yd": spot.round(4).tolist(), "xy_px": at.round(2).tolist()}
            for spot, at in zip(spots[seen], px[seen], strict=True)]
