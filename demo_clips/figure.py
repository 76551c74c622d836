"""People as shaded, tapered capsules: projected by the camera, drawn back to front in small supersampled crops.

Everything that can be is computed for all bodies at once; only the polygon fills run one by one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.camera import Camera
from demo_clips.glyphs import strokes
from demo_clips.light import Light
from demo_clips.shirt_marks import Marks, locate_marks, paint_head, paint_shirt
from demo_clips.wardrobe import PART_END, PART_START, PARTS, POINT, SHADOW_PARTS, Wardrobe

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
Ids = npt.NDArray[np.uint16]
_CORNERS = 7
_HALF = np.linspace(-np.pi / 2, np.pi / 2, _CORNERS)
_SHADED = 0.66
_NEAREST_YD = 1.0
# Below these heights in px: marks, the third tone, the soft cloth are not drawn; the finer the smaller the man.
_MARKED_PX, _THREE_TONES_PX, _SOFT_PX = 22, 24, 36


def capsule_outline(a: Array, b: Array) -> tuple[Array, Array]:
    """Unit directions (..., V, 2) and which end each vertex belongs to, as the vertices' centres (..., V, 2)."""
    along = b - a
    angle = np.arctan2(along[..., 1], along[..., 0])[..., None]
    turns = np.concatenate([angle + np.pi + _HALF, angle + _HALF], axis=-1)
    unit = np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    centres = np.concatenate(
        [
            np.broadcast_to(a[..., None, :], (*a.shape[:-1], _CORNERS, 2)),
            np.broadcast_to(b[..., None, :], (*b.shape[:-1], _CORNERS, 2)),
        ],
        axis=-2,
    )
    return unit, centres


def _vertex_radius(ra: Array, rb: Array) -> Array:
    return np.concatenate([np.repeat(ra[..., None], _CORNERS, -1), np.repeat(rb[..., None], _CORNERS, -1)], axis=-1)


@dataclass(frozen=True)
class _Drawing:
    """All bodies of one frame, projected: outlines per tone (N, parts, V, 2) px, the drawing order (N, parts + marks), marks,
    heights (N,) px if upright."""

    tones: list[Array]
    order: npt.NDArray[np.integer[Any]]
    marks: Marks
    tall_px: Array


def plain_numerals(numbers: tuple[int | None, ...]) -> list[list[Array]]:
    """The polylines of shirt numbers, in shares of the body height; empty where there is none."""
    return [strokes(str(k), 0.066, 0.105, 0.03) if k is not None else [] for k in numbers]


class People:
    """A cast that can be drawn frame by frame. Tones are worked out once for the light. `numerals` (N) are the polylines of the
    shirts' numbers in shares of the body height, the plain ones if left out."""

    def __init__(self, wardrobe: Wardrobe, light: Light, seed: int = 0, numerals: list[list[Array]] | None = None) -> None:
        self.wardrobe, self.light = wardrobe, light
        self._radii = wardrobe.radii()
        strong = light.lamps[0][1] if light.lamps else 0.12
        dark, bright = light.ambient * (1 - 0.4 * strong), min(1.0, light.ambient + 0.35 + 0.25 * strong)
        self._tones = []
        tint = np.array(light.tint_bgr)
        for n in range(len(wardrobe.kits)):
            base = np.array(wardrobe.colours(n), dtype=float) * tint
            shaded = np.stack([base * dark, base * (dark * 0.4 + bright * 0.6), base * bright], axis=1)
            self._tones.append([[tuple(tone) for tone in part] for part in np.clip(shaded, 0, 255).astype(int).tolist()])
        rng = np.random.default_rng(seed)
        coarse = rng.normal(0, 1, (40, 40, 1)).astype(np.float32)
        cloth = cv2.resize(coarse, (240, 240), interpolation=cv2.INTER_CUBIC) * 9 + rng.normal(0, 4, (240, 240)).astype(
            np.float32
        )
        self._cloth: Image = np.clip(cv2.merge([cloth] * 3) + 128, 0, 255).astype(np.uint8)
        self.numerals = numerals or plain_numerals(wardrobe.numbers)

    def shadows(self, mask: Image, camera: Camera, points: Array, turf_yd: Array | None = None) -> None:
        """Darken `mask` (uint8, 255 = full light) where the lamps' shadows and the contact with the turf fall; people stand at
        heights `turf_yd` (N,), without them at 0."""
        turf_yd = np.zeros(len(points)) if turf_yd is None else turf_yd
        for lamp, strength in self.light.lamps:
            ground = points[..., :2] - lamp[:2] * ((points[..., 2:] - turf_yd[:, None, None]) / max(lamp[2], 0.15))
            self._fill_ground(mask, camera, ground, turf_yd, SHADOW_PARTS, self._radii, strength)
        feet = points[:, [POINT["ankle_l"], POINT["ankle_r"], POINT["pelvis"]], :2]
        both = np.stack([feet.mean(1) - 0.05, feet.mean(1) + 0.05], axis=1)
        radii = np.broadcast_to(self.wardrobe.height_yd[:, None, None] * 0.2, (len(points), 1, 2))
        self._fill_ground(mask, camera, both, turf_yd, [0], radii, 0.16, ends=(np.array([0]), np.array([1])))

    @staticmethod
    def _fill_ground(
        mask: Image,
        camera: Camera,
        ground: Array,
        turf_yd: Array,
        parts: list[int],
        radii: Array,
        strength: float,
        ends: tuple[Any, Any] = (PART_START, PART_END),
    ) -> None:
        a, b = ground[:, ends[0][parts]], ground[:, ends[1][parts]]
        unit, centres = capsule_outline(a, b)
        outline = centres + unit * _vertex_radius(radii[:, parts, 0], radii[:, parts, 1])[..., None]
        under = np.broadcast_to(turf_yd.reshape(-1, *[1] * (outline.ndim - 1)), (*outline.shape[:-1], 1))
        flat, depth = camera.project(np.concatenate([outline, under], axis=-1))
        width, height = camera.size_px
        near = (depth.min((1, 2)) > 1.0) & (flat[..., 0].max((1, 2)) > 0) & (flat[..., 0].min((1, 2)) < width)
        near &= (flat[..., 1].max((1, 2)) > 0) & (flat[..., 1].min((1, 2)) < height)
        if not near.any():
            return
        layer = np.full_like(mask, 255)
        value = int(255 * (1 - strength))
        for polygon in np.round(flat[near] * 16 - 8).astype(np.int32).reshape(-1, 2 * _CORNERS, 2):
            cv2.fillConvexPoly(layer, polygon, value, cv2.LINE_AA, 4)
        cv2.multiply(mask, layer, dst=mask, scale=1 / 255)

    def draw(
        self, image: Image, ids: Ids, camera: Camera, points: Array, shaded: npt.NDArray[np.bool_] | None = None
    ) -> tuple[Array, Array]:
        """Draw everybody into `image` and his id (1 + row) into `ids`; `shaded` (N,) marks who stands in a large shadow.

        `points` (N, P, 3) from `points_of`. Returns the silhouettes' boxes (N, 4) px, not clipped, NaN where out of the
        picture, and the silhouettes' sizes (N,) px.
        """
        n = len(points)
        boxes, areas = np.full((n, 4), np.nan), np.zeros(n)
        if n == 0:
            return boxes, areas
        flat, depth = camera.project(points)
        drawing = self._prepare(camera, points, flat, depth)
        width, height = camera.size_px
        outline, drawn = drawing.tones[0], (self._radii[..., 0] > 0)[..., None]
        low = np.where(drawn, outline.min(2), np.inf).min(1)
        high = np.where(drawn, outline.max(2), -np.inf).max(1)
        tall = high[:, 1] - low[:, 1]
        seen = (
            (depth.min(1) > _NEAREST_YD) & (high > 0).all(1) & (low < (width, height)).all(1) & (tall > 2) & (tall < 3 * height)
        )
        boxes[seen] = np.concatenate([low, high], axis=1)[seen]
        for i in np.argsort(-depth[:, POINT["pelvis"]]):
            if seen[i]:
                crop, origin = self._crop(int(i), drawing, boxes[i], _SHADED if shaded is not None and shaded[i] else 1.0)
                areas[i] = _paste(image, ids, crop, origin, int(i) + 1)
        return boxes, areas

    def _prepare(self, camera: Camera, points: Array, flat: Array, depth: Array) -> _Drawing:
        scale = camera.focal_px / np.maximum(depth[:, POINT["pelvis"]], 0.5)
        unit, centres = capsule_outline(flat[:, PART_START], flat[:, PART_END])
        radius = _vertex_radius(self._radii[..., 0] * scale[:, None], self._radii[..., 1] * scale[:, None])[..., None]
        glow = np.array(camera.camera_from_world @ self.light.main)
        shift = glow[:2] / max(np.linalg.norm(glow[:2]), 0.3) * (0.5 if glow[2] < 0 else 0.62)
        tones = [centres + radius * (unit * size + shift * aside) for size, aside in ((1.0, 0.0), (0.82, 0.17), (0.5, 0.42))]
        marks = locate_marks(camera, points, self.wardrobe.height_yd, self.wardrobe.bulk)
        part_depth = (depth[:, PART_START] + depth[:, PART_END]) / 2
        order = np.argsort(-np.concatenate([part_depth, marks.depth], axis=1), axis=1)
        return _Drawing(tones, order, marks, scale * self.wardrobe.height_yd)

    def _crop(self, i: int, drawing: _Drawing, box: Array, dim: float) -> tuple[Image, tuple[int, int]]:
        """Body i alone, premultiplied BGRA, and where its corner lies."""
        x0, y0 = (int(v) for v in np.floor(box[:2]) - 1)
        w, h = (int(v) for v in np.ceil(box[2:]) + 1 - (x0, y0))
        tall = float(drawing.tall_px[i])
        fine = 4 if tall < 45 else 3 if tall < 100 else 2
        crop: Image = np.zeros((h * fine, w * fine, 4), np.uint8)
        shapes = [np.round((t[i] - (x0, y0)) * fine - 0.5).astype(np.int32) for t in drawing.tones]
        colours, empty = self._tones[i], self._radii[i, :, 0] <= 0
        levels = 2 if tall < _THREE_TONES_PX else len(shapes)
        for s in drawing.order[i]:
            if s >= len(PARTS):
                if tall >= _MARKED_PX:
                    self._mark(crop, i, s == len(PARTS), drawing.marks, (x0, y0), fine, tall)
            elif not empty[s]:
                for level in range(levels):
                    cv2.fillConvexPoly(crop, shapes[level][s], (*colours[s][level], 255))
        if tall > _SOFT_PX:
            crop = np.asarray(cv2.blur(crop, (fine + 1, fine + 1)), np.uint8)
        small = np.asarray(cv2.resize(crop, (w, h), interpolation=cv2.INTER_AREA), np.uint8)
        if tall > _SOFT_PX:
            small[..., :3] = cv2.multiply(np.ascontiguousarray(small[..., :3]), cv2.resize(self._cloth, (w, h)), scale=dim / 128)
        elif dim < 1:
            small[..., :3] = small[..., :3] * dim
        return small, (x0, y0)

    def _mark(self, crop: Image, i: int, shirt: bool, marks: Marks, origin: tuple[int, int], fine: int, tall: float) -> None:
        flat = (marks.flat[i] - origin) * fine - 0.5
        if shirt:
            paint_shirt(crop, self.wardrobe.kits[i], self.numerals[i], flat, float(marks.facing[i]), tall * fine)
        else:
            paint_head(crop, self.wardrobe.kits[i], self.wardrobe.skins[i], flat, float(marks.face_seen[i]), tall * fine)


def _paste(image: Image, ids: Ids, crop: Image, origin: tuple[int, int], identity: int) -> float:
    """Lay a premultiplied crop over the picture and its solid pixels into `ids`; returns how many those are, seen or not."""
    (x0, y0), (h, w) = origin, crop.shape[:2]
    alpha = crop[..., 3]
    solid = alpha > 127
    left, top, right, bottom = max(x0, 0), max(y0, 0), min(x0 + w, image.shape[1]), min(y0 + h, image.shape[0])
    if right > left and bottom > top:
        part = slice(top - y0, bottom - y0), slice(left - x0, right - x0)
        target = image[top:bottom, left:right]
        rest = (255 - alpha[part]).astype(np.uint16)[..., None]
        target[:] = np.minimum(target * rest // 255 + crop[part][..., :3], 255).astype(np.uint8)
        ids[top:bottom, left:right][solid[part]] = identity
    return float(solid.sum())


def visible_shares(ids: Ids, areas: Array) -> Array:
    """(N,) share of each silhouette that is in the picture and hidden by nobody."""
    counts = np.bincount(ids.ravel(), minlength=1 + len(areas))[1 : 1 + len(areas)]
    return np.where(areas > 0, np.minimum(counts / np.maximum(areas, 1.0), 1.0), 0.0)


def draw_ball(image: Image, camera: Camera, xyz_yd: Array, light: Light) -> None:
    """The ball, a brown ellipse of 11 in."""
    flat, depth = camera.project(np.asarray(xyz_yd, dtype=float))
    radius = 0.12 * camera.focal_px / max(float(depth), 1.0)
    if depth > 1 and radius > 0.6:
        colour = tuple(float(c) * light.ambient for c in (42, 62, 116))
        axes = (max(1, round(radius * 16)), max(1, round(radius * 10)))
        cv2.ellipse(image, (round(flat[0] * 16), round(flat[1] * 16)), axes, 25, 0, 360, colour, -1, cv2.LINE_AA, 4)
