"""What may stand between the camera and the players: the near goal, a net, a camera hung on cables."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.backdrop import clip_near
from demo_clips.camera import Camera
from demo_clips.light import Light
from demo_clips.scenery import Scenery

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
_NEAREST_NETS_YD = 60.0


def draw_strokes(
    image: Image,
    ids: npt.NDArray[np.uint16],
    camera: Camera,
    scenery: Scenery,
    light: Light,
    beyond_yd: float = 0.0,
    within_yd: float = np.inf,
) -> None:
    """Draw posts and cables within the bounds of distance, in place. What hides people takes the pixels from their ids."""
    for ends, radius, colour in scenery.posts + scenery.wires:
        if beyond_yd <= np.linalg.norm(ends.mean(0) - camera.centre_yd) < within_yd:
            _stroke(image, ids, camera, ends, radius, tuple(int(c * min(1.0, light.ambient + 0.3)) for c in colour))


def draw_veils(image: Image, camera: Camera, scenery: Scenery) -> None:
    """Lay the meshes of nets near the camera over the picture, in place."""
    for net in scenery.nets:
        if np.linalg.norm(net.mean(0)[:2] - camera.centre_yd[:2]) > _NEAREST_NETS_YD:
            continue
        veil = image.copy()
        for line in _mesh(net):
            flat, depth = camera.project(line)
            if depth.min() > 1.0:
                a, b = np.round(np.clip(flat, -4000, 4000) * 16).astype(int).tolist()
                cv2.line(veil, a, b, (70, 70, 70), 1, cv2.LINE_AA, 4)
        cv2.addWeighted(veil, 0.3, image, 0.7, 0, dst=image)


def _mesh(net: Array, gap_yd: float = 0.5) -> list[Array]:
    """Threads (2, 3) along both edges of a quadrilateral net (4, 3)."""
    threads = []
    for a, b, c, d in ((net[0], net[1], net[3], net[2]), (net[0], net[3], net[1], net[2])):
        for share in np.linspace(0, 1, max(2, int(np.linalg.norm(b - a) / gap_yd))):
            threads.append(np.stack([a + share * (b - a), c + share * (d - c)]))
    return threads


def _stroke(
    image: Image, ids: npt.NDArray[np.uint16], camera: Camera, ends: Array, radius: float, colour: tuple[int, ...]
) -> None:
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
    polygon = np.stack(
        [flat[0] + across * half[0], flat[1] + across * half[1], flat[1] - across * half[1], flat[0] - across * half[0]]
    )
    fixed = np.round(polygon * 16 - 8).astype(np.int32)
    cv2.fillConvexPoly(image, fixed, colour, cv2.LINE_AA, 4)
    if half.max() > 1.0:
        mask = np.zeros(ids.shape, np.uint8)
        cv2.fillConvexPoly(mask, fixed, 255, cv2.LINE_8, 4)
        ids[mask > 0] = 0
