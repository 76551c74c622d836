"""Draws what the machine saw into the picture: boxes, tracks and the field's lines over the turf."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import numpy.typing as npt

from homography.field import END_ZONE_YD, LENGTH_YD, LEVELS, WIDTH_YD, YARD_LINE_SPACING_YD
from homography.types import LOST
from homography.view import to_image

if TYPE_CHECKING:
    from tagger.inspection import Inspection

Image = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]

# Blue, green, red. Colours that differ in lightness too, for eyes that do not tell red from green.
LINE_COLOUR, HASH_COLOUR, TEXT_COLOUR = (255, 200, 0), (0, 200, 255), (255, 255, 255)
KIT_COLOURS = ((255, 255, 255), (0, 140, 255), (180, 60, 255), (60, 220, 60), (160, 160, 160))
STEP_YD = 1.0
"""Lines are drawn in steps: the lens bends them, and so does the turf where it is crowned."""
FARTHEST_PX = 1e4


def draw_inspection(seen: Inspection) -> Image:
    """A copy of the frame with everything on it."""
    picture = np.ascontiguousarray(seen.frame_bgr).copy()
    if seen.view.status[seen.row] != LOST:
        for line, colour in field_lines(seen.view.level):
            _draw_line(picture, to_image(seen.view, seen.row, line), colour)
    for box in seen.detections.xyxy:
        _draw_box(picture, box, (0, 255, 255), 1)
    here = seen.tracks.frame_index == seen.view.frame_index[seen.row]
    for track, kit, box in zip(seen.tracks.track_id[here], seen.tracks.kit_id[here], seen.tracks.xyxy[here], strict=True):
        colour = KIT_COLOURS[int(kit) % len(KIT_COLOURS)]
        _draw_box(picture, box, colour, 2)
        spot = (int(box[0]), int(box[1]) - 3)
        for ink, thickness in (((0, 0, 0), 3), (colour, 1)):
            cv2.putText(picture, str(int(track)), spot, cv2.FONT_HERSHEY_SIMPLEX, 0.45, ink, thickness, cv2.LINE_AA)
    return picture


def field_lines(level: str | None) -> list[tuple[npt.NDArray[Any], Colour]]:
    """((K, 2) field yd, colour) of each line: yard lines, sidelines, and the inbounds lines if the level is known."""
    across, along = np.arange(0.0, WIDTH_YD, STEP_YD), np.arange(0.0, LENGTH_YD + STEP_YD / 2, STEP_YD)
    across = np.append(across, WIDTH_YD)
    lines = [(np.stack([np.full(len(across), x), across], axis=1), LINE_COLOUR)
             for x in (0.0, *np.arange(END_ZONE_YD, LENGTH_YD - END_ZONE_YD + 0.1, YARD_LINE_SPACING_YD), LENGTH_YD)]
    lines += [(np.stack([along, np.full(len(along), y)], axis=1), LINE_COLOUR) for y in (0.0, WIDTH_YD)]
    if level in LEVELS:
        hash_yd = LEVELS[level].hash_yd
        lines += [(np.stack([along, np.full(len(along), y)], axis=1), HASH_COLOUR) for y in (hash_yd, WIDTH_YD - hash_yd)]
    return lines


def _draw_line(picture: Image, points: npt.NDArray[Any], colour: Colour) -> None:
    there = np.isfinite(points).all(axis=1) & (np.abs(points) < FARTHEST_PX).all(axis=1)
    for a, b, seen in zip(points[:-1], points[1:], there[:-1] & there[1:], strict=True):
        if seen:
            cv2.line(picture, (round(a[0]), round(a[1])), (round(b[0]), round(b[1])), colour, 1, cv2.LINE_AA)


def _draw_box(picture: Image, box: npt.NDArray[Any], colour: Colour, thickness: int) -> None:
    x0, y0, x1, y1 = (round(float(edge)) for edge in box)
    cv2.rectangle(picture, (x0, y0), (x1, y1), colour, thickness, cv2.LINE_AA)


def write_picture(path: Path, picture: Image) -> None:
    """Raises ValueError with one line if the ending is not one of a picture or the folder cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        written = cv2.imwrite(str(path), picture)
    except cv2.error:
        written = False
    if not written:
        raise ValueError(f"{path}: cannot be written; end its name in .png or .jpg and check the folder")
