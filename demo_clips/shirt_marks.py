"""What is painted on a body: the shirt's number, an official's stripes, the helmet's stripe, face opening and mask."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.camera import Camera
from demo_clips.kits_design import Colour, Kit
from demo_clips.wardrobe import POINT

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
_REACH = 0.1


@dataclass(frozen=True)
class Marks:
    """Where the marks lie. `flat` (N, 8, 2) px: the shirt's spot, a step across and a step up it, the face; then the head, a
    step ahead, up and aside. `depth` (N, 2) yd of shirt and face; `facing`, `face_seen` (N,) cosines toward the camera."""

    flat: Array
    depth: Array
    facing: Array
    face_seen: Array


def _unit(v: Array) -> Array:
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-6))


def locate_marks(camera: Camera, points: Array, height_yd: Array, bulk: Array) -> Marks:
    """Project the marks of all bodies, `points` (N, P, 3)."""
    h = height_yd[:, None]

    def at(name: str) -> Array:
        return points[:, POINT[name]]

    up, across = _unit(at("neck") - at("pelvis")), _unit(at("shoulder_l") - at("shoulder_r"))
    front, face, view = np.cross(across, up), _unit(at("face") - at("head")), _unit(at("chest") - camera.centre_yd)
    facing = -(front * view).sum(1)
    side = np.sign(facing)[:, None]
    chest = at("chest") * 0.75 + at("pelvis") * 0.25 + front * side * 0.075 * h * bulk[:, None]
    head = at("head") * 0.7 + at("crown") * 0.3
    step = _REACH * h
    spots = [chest, chest + across * side * step, chest + up * step, head + face * 0.06 * h]
    spots += [head, head + face * step, head + up * step, head + np.cross(face, up) * step]
    flat, depth = camera.project(np.stack(spots, axis=1))
    return Marks(flat, np.stack([depth[:, 0] - 0.02, depth[:, 3] - 0.08], axis=1), facing, -(face * view).sum(1))


def paint_shirt(crop: Image, kit: Kit, digits: list[Array], flat: Array, facing: float, tall_px: float) -> None:
    """Stripes and number onto a crop; `flat` (8, 2) are the marks in its pixels, `tall_px` the man's height in them."""
    if abs(facing) < 0.25:
        return
    basis = np.stack([flat[1] - flat[0], flat[2] - flat[0]]) / _REACH
    if kit.stripes is not None:
        for x in np.linspace(-0.085, 0.085, 5):
            ends = np.round(flat[0] + np.array([[x * 0.8, -0.1], [x, 0.1]]) @ basis).astype(np.int32)
            cv2.line(crop, ends[0].tolist(), ends[1].tolist(), (*kit.stripes, 255), max(1, round(0.016 * tall_px)))
    if kit.number is None or not digits:
        return
    lines = [np.round(flat[0] + line @ basis).astype(np.int32) for line in digits]
    thickness = max(1, round(0.0105 * tall_px))
    if kit.number_edge is not None and thickness > 1:
        cv2.polylines(crop, lines, False, (*kit.number_edge, 255), thickness * 2 + 1)
    cv2.polylines(crop, lines, False, (*kit.number, 255), thickness)


def paint_head(crop: Image, kit: Kit, skin: Colour, flat: Array, seen: float, tall_px: float) -> None:
    """Helmet stripe, face opening and mask onto a crop, as in `paint_shirt`; bare heads stay as they are."""
    if not kit.helmet:
        return
    middle, ahead, above, aside = flat[4], flat[5] - flat[4], flat[6] - flat[4], flat[7] - flat[4]
    size = 0.062 * tall_px
    if kit.shell_stripe is not None:
        turn = np.linspace(0.2, 2.9, 9)[:, None]
        arc = middle + np.cos(turn) * ahead * 0.66 + np.sin(turn) * above * 0.66
        cv2.polylines(crop, [np.round(arc).astype(np.int32)], False, (*kit.shell_stripe, 255), max(1, round(size * 0.22)))
    if seen > -0.35:
        centre = middle + ahead * 0.5 - above * 0.18
        axes = (max(1, round(size * 0.5 * max(0.35, seen + 0.3))), max(1, round(size * 0.5)))
        dim = (int(skin[0] * 0.55), int(skin[1] * 0.55), int(skin[2] * 0.55), 255)
        cv2.ellipse(crop, np.round(centre).astype(int).tolist(), axes, 0, 0, 360, dim, -1)
        turn = np.linspace(-1.15, 1.15, 7)[:, None]
        for lift in (-0.1, -0.38, -0.62):
            bar = middle + np.cos(turn) * ahead * 0.8 + np.sin(turn) * aside * 0.7 + above * lift
            cv2.polylines(crop, [np.round(bar).astype(np.int32)], False, (*kit.facemask, 255), max(1, round(size * 0.13)))
