"""What may stand between the camera and the players: the near goal, its net, a camera hung on cables."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.backdrop import clip_near, project_polygons
from demo_clips.camera import Camera
from demo_clips.light import Light
from demo_clips.scenery import Scenery

Array = npt.NDArray[np.floating[Any]]
Image = npt.NDArray[np.uint8]
_NEAR_GOAL_YD = 3.0


def draw_foreground(image: Image, ids: npt.NDArray[np.uint16], camera: Camera, scenery: Scenery, light: Light) -> None:
    """Draw strokes and nets over the people, in place. Strokes that hide people take the pixels from their ids."""
    eye = np.asarray(camera.centre_yd)
    for ends, radius, colour in scenery.posts + scenery.wires:
        _stroke(image, ids, camera, ends, radius, tuple(int(c * min(1.0, light.ambient + 0.3)) for c in colour))
    near = [net for net in scenery.nets if np.linalg.norm(net.mean(0)[:2] - eye[:2]) < 60]
    shapes = project_polygons(camera, near) if near else []
    if shapes:
        veil = image.copy()
        for shape in shapes:
            cv2.fillPoly(veil, [np.round(shape).astype(np.int32)], (60, 60, 60))
        cv2.addWeighted(veil, 0.25, image, 0.75, 0, dst=image)


def _stroke(image: Image, ids: npt.NDArray[np.uint16], camera: Camera, ends: Array, radius: float, colour: tuple[int, ...]) -> None:
    flat, depth = camera.project(ends)
    if depth.min() < 1.0:
        kept = clip_near(ends, depth)
        if len(kept) < 2:
            return
        flat, depth = camera.project(kept[:2])
    if np.abs(flat).max() > 8000:
        return
    half = np.maximum(radius * camera.focal_px / depth, 0.3)
    along = flat[1] - flat[0]
    across = np.array([-along[1], along[0]]) / max(float(np.linalg.norm(along)), 1e-6)
    polygon = np.stack([flat[0] + across * half[0], flat[1] + across * half[1], flat[1] - across * half[1], flat[0] - across * half[0]])
    fixed = np.round(polygon * 16 - 8).astype(np.int32)
    cv2.fillConvexPoly(image, fixed, colour, cv2.LINE_AA, 4)
    if half.max() > 1.0:
        mask = np.zeros(ids.shape, np.uint8)
        cv2.fillConvexPoly(mask, fixed, 255, cv2.LINE_8, 4)
        ids[mask > 0] = 0
