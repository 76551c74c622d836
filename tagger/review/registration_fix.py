"""A coach's clicks on the turf: this spot of the picture is that spot of the field.

All frames of a clip share one field model, so what is wrong with it is one mapping of the field onto itself: five yards off
is a shift, whatever the camera did. Clicks therefore correct the field once, for every frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from homography.types import LOST, FieldView
from homography.view import moved, to_field
from tagger.library.records import Correction
from vision.types import FloatArray


def anchors_from(standing: Iterable[Correction], fingerprint: str) -> list[Mapping[str, Any]]:
    """The newest standing set of clicks of one clip, empty if there is none."""
    sets = [c.after for c in standing if c.subject == f"clip:{fingerprint}" and c.field == "anchors"]
    return list(sets[-1]) if sets else []


def corrected_view(view: FieldView, anchors: Iterable[Mapping[str, Any]]) -> FieldView:
    """The view with its field moved so that each anchor's picture spot lies on its field spot.

    One click shifts, two also turn and scale, three or more fit an affine map (least squares). Clicks in frames that
    are lost, or that were never solved, are left out.
    """
    rows = {int(frame): row for row, frame in enumerate(view.frame_index)}
    seen, true = [], []
    for anchor in anchors:
        row = rows.get(int(anchor["frame_index"]))
        if row is None or view.status[row] == LOST:
            continue
        spot = to_field(view, row, np.array([anchor["image_xy_px"]], dtype=float))[0]
        if np.isfinite(spot).all():
            seen.append(spot)
            true.append(anchor["field_xy_yd"])
    return moved(view, field_map(np.array(seen), np.array(true, dtype=float))) if seen else view


def field_map(seen_yd: FloatArray, true_yd: FloatArray) -> FloatArray:
    """(3, 3) map of the field onto itself that brings `seen_yd` (N, 2) to `true_yd` (N, 2), as simple as N allows."""
    matrix: FloatArray = np.eye(3)
    spread = np.ptp(seen_yd, axis=0)
    if len(seen_yd) >= 3 and _well_spread(seen_yd):
        ones = np.column_stack([seen_yd, np.ones(len(seen_yd))])
        matrix[:2] = np.linalg.lstsq(ones, true_yd, rcond=None)[0].T
    elif len(seen_yd) >= 2 and spread.max() > 1.0:
        matrix = _similarity(seen_yd, true_yd)
    else:
        matrix[:2, 2] = (true_yd - seen_yd).mean(axis=0)
    return matrix


def _well_spread(points: FloatArray) -> bool:
    """True if the points do not lie (nearly) on one line."""
    return bool(np.linalg.svd(points - points.mean(axis=0), compute_uv=False)[1] > 2.0)


def _similarity(seen: FloatArray, true: FloatArray) -> FloatArray:
    """Turn, scale and shift by least squares, as complex numbers: true = factor * seen + offset."""
    a, b = seen @ [1, 1j], true @ [1, 1j]
    centred = a - a.mean()
    factor = np.vdot(centred, b - b.mean()) / np.vdot(centred, centred)
    offset = b.mean() - factor * a.mean()
    return np.array([[factor.real, -factor.imag, offset.real], [factor.imag, factor.real, offset.imag], [0.0, 0.0, 1.0]])
