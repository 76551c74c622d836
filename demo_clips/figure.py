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
from demo_clips.kits_design import BLACK, Colour, Kit
from demo_clips.light import Light
from demo_clips.skeleton import JOINT, JOINTS

Array = npt.NDArray[np.floating[Any]]
Image = npt.NDArray[np.uint8]

# Further points along a limb: (from, to, share).
_BETWEEN = (("knee_l", "ankle_l", 0.35), ("knee_r", "ankle_r", 0.35), ("shoulder_l", "elbow_l", 0.72),
            ("shoulder_r", "elbow_r", 0.72), ("head", "crown", 0.5), ("pelvis", "chest", 0.25))
_POINT = JOINT | {name: len(JOINTS) + i for i, name in
                  enumerate(("sock_l", "sock_r", "cuff_l", "cuff_r", "brow", "belt"))}

# Capsules: name, ends, radii as shares of the body height, how much `bulk` widens them.
_CAPSULES = (
    ("shoe", "heel_l", "toe_l", 0.024, 0.022, 0.2), ("shoe", "heel_r", "toe_r", 0.024, 0.022, 0.2),
    ("shin", "knee_l", "ankle_l", 0.038, 0.026, 0.5), ("shin", "knee_r", "ankle_r", 0.038, 0.026, 0.5),
    ("sock", "sock_l", "ankle_l", 0.038, 0.027, 0.5), ("sock", "sock_r", "ankle_r", 0.038, 0.027, 0.5),
    ("thigh", "hip_l", "knee_l", 0.066, 0.043, 0.8), ("thigh", "hip_r", "knee_r", 0.066, 0.043, 0.8),
    ("hips", "hip_l", "hip_r", 0.069, 0.069, 0.8),
    ("torso", "belt", "chest", 0.08, 0.09, 1.0), ("torso", "shoulder_l", "hip_l", 0.058, 0.055, 0.8),
    ("torso", "shoulder_r", "hip_r", 0.058, 0.055, 0.8), ("yoke", "shoulder_l", "shoulder_r", 0.066, 0.066, 0.3),
    ("neck", "neck", "head", 0.032, 0.03, 0.3),
    ("head", "head", "crown", 0.066, 0.058, 0.0), ("cap", "brow", "crown", 0.054, 0.05, 0.0),
    ("upper_arm", "shoulder_l", "elbow_l", 0.038, 0.032, 0.6), ("upper_arm", "shoulder_r", "elbow_r", 0.038, 0.032, 0.6),
    ("sleeve", "shoulder_l", "cuff_l", 0.055, 0.043, 0.5), ("sleeve", "shoulder_r", "cuff_r", 0.055, 0.043, 0.5),
    ("forearm", "elbow_l", "wrist_l", 0.031, 0.023, 0.5), ("forearm", "elbow_r", "wrist_r", 0.031, 0.023, 0.5),
    ("hand", "wrist_l", "hand_l", 0.022, 0.024, 0.2), ("hand", "wrist_r", "hand_r", 0.022, 0.024, 0.2),
)
_NAMES = [c[0] for c in _CAPSULES]
_A, _B = (np.array([_POINT[c[i]] for c in _CAPSULES]) for i in (1, 2))
_RADII = np.array([c[3:5] for c in _CAPSULES])
_BULK = np.array([c[5] for c in _CAPSULES])
_HEAD, _CAP, _YOKE = _NAMES.index("head"), _NAMES.index("cap"), _NAMES.index("yoke")
_SLEEVES = [i for i, name in enumerate(_NAMES) if name == "sleeve"]
_CORNERS = 7
_HALF = np.linspace(-np.pi / 2, np.pi / 2, _CORNERS)
_TONES = 3
_SHADOW_PARTS = [i for i, name in enumerate(_NAMES) if name not in ("cap", "sock", "hand", "neck", "sleeve")]


@dataclass(frozen=True)
class Wardrobe:
    """The cast's bodies and cloth, ready to draw: `height_yd` and `bulk` (N,), one kit, skin colour and number each."""

    height_yd: Array
    bulk: Array
    kits: tuple[Kit, ...]
    skins: tuple[Colour, ...]
    numbers: tuple[int | None, ...]

    def radii(self) -> Array:
        """(N, capsules, 2) yd."""
        widen = 1.0 + (self.bulk[:, None] - 1.0) * _BULK
        radii = _RADII[None] * self.height_yd[:, None, None] * widen[..., None]
        for n, kit in enumerate(self.kits):
            if not kit.helmet:
                radii[n, _HEAD] *= 0.76
            if not kit.pads:
                radii[n, _YOKE] *= 0.75
                radii[n, _SLEEVES] *= 0.8
            if kit.helmet or kit.cap is None:
                radii[n, _CAP] *= 0.0 if kit.helmet else 0.9
        return radii

    def colours(self, n: int) -> list[Colour]:
        """Body n's colour per capsule."""
        kit, skin = self.kits[n], self.skins[n]
        sleeve_skin = kit.undershirt or skin
        by_name = {
            "shoe": kit.shoes, "shin": skin if kit.shorts else kit.pants if not kit.helmet else skin, "sock": kit.socks,
            "thigh": kit.pants, "hips": kit.pants, "torso": kit.jersey, "yoke": kit.jersey, "neck": skin,
            "head": kit.shell if kit.helmet else skin, "cap": kit.cap or (24, 30, 44), "upper_arm": sleeve_skin,
            "sleeve": kit.sleeve, "forearm": sleeve_skin, "hand": kit.gloves or skin,
        }
        if not kit.helmet and not kit.shorts:
            by_name["sock"] = kit.pants
        return [by_name[name] for name in _NAMES]


def points_of(joints: Array) -> Array:
    """(N, points, 3): the joints and the further points along limbs."""
    extra = [joints[:, JOINT[a]] * (1 - s) + joints[:, JOINT[b]] * s for a, b, s in _BETWEEN]
    return np.concatenate([joints, np.stack(extra, axis=1)], axis=1)


def capsule_outline(a: Array, b: Array, ra: Array, rb: Array) -> tuple[Array, Array]:
    """Unit directions (..., V, 2) and which end each vertex belongs to, as the vertices' centres (..., V, 2)."""
    along = b - a
    angle = np.arctan2(along[..., 1], along[..., 0])[..., None]
    turns = np.concatenate([angle + np.pi + _HALF, angle + _HALF], axis=-1)
    unit = np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    centres = np.concatenate([np.broadcast_to(a[..., None, :], (*a.shape[:-1], _CORNERS, 2)),
                              np.broadcast_to(b[..., None, :], (*b.shape[:-1], _CORNERS, 2))], axis=-2)
    return unit, centres


def _vertex_radius(ra: Array, rb: Array) -> Array:
    return np.concatenate([np.repeat(ra[..., None], _CORNERS, -1), np.repeat(rb[..., None], _CORNERS, -1)], axis=-1)


class People:
    """A cast that can be drawn frame by frame. Tones are worked out once for the light."""

    def __init__(self, wardrobe: Wardrobe, light: Light, seed: int = 0) -> None:
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
        cloth = cv2.resize(coarse, (240, 240), interpolation=cv2.INTER_CUBIC) * 9 + rng.normal(0, 4, (240, 240)).astype(np.float32)
        self._cloth: Image = np.clip(cv2.merge([cloth] * 3) + 128, 0, 255).astype(np.uint8)
        self._digits = [strokes(str(k), 0.066, 0.105, 0.03) if k is not None else [] for k in wardrobe.numbers]

    def shadows(self, mask: Image, camera: Camera, points: Array) -> None:
        """Darken `mask` (uint8, 255 = full light) where the lamps' shadows and the contact with the turf fall."""
        for lamp, strength in self.light.lamps:
            ground = points[..., :2] - lamp[:2] * (points[..., 2:] / max(lamp[2], 0.15))
            self._fill_ground(mask, camera, ground, _SHADOW_PARTS, self._radii, strength)
        feet = points[:, [_POINT["ankle_l"], _POINT["ankle_r"], _POINT["pelvis"]], :2]
        both = np.stack([feet.mean(1) - 0.05, feet.mean(1) + 0.05], axis=1)
        radii = np.broadcast_to(self.wardrobe.height_yd[:, None, None] * 0.2, (len(points), 1, 2))
        self._fill_ground(mask, camera, both, [0], radii, 0.16, ends=(np.array([0]), np.array([1])))

    @staticmethod
    def _fill_ground(mask: Image, camera: Camera, ground: Array, parts: list[int], radii: Array, strength: float,
                     ends: tuple[Any, Any] = (_A, _B)) -> None:
        a, b = ground[:, ends[0][parts]], ground[:, ends[1][parts]]
        unit, centres = capsule_outline(a, b, radii[:, parts, 0], radii[:, parts, 1])
        outline = centres + unit * _vertex_radius(radii[:, parts, 0], radii[:, parts, 1])[..., None]
        flat, depth = camera.project(np.concatenate([outline, np.zeros((*outline.shape[:-1], 1))], axis=-1))
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

    def draw(self, image: Image, ids: npt.NDArray[np.uint16], camera: Camera, points: Array, shaded: npt.NDArray[np.bool_] | None = None,
             first_id: int = 1) -> tuple[Array, Array]:
        """Draw everybody into `image` and his id (`first_id` + row) into `ids`.

        `points` (N, P, 3) from `points_of`. Returns the silhouettes' boxes (N, 4) px, not clipped, NaN where out of the
        picture, and the silhouettes' sizes (N,) px.
        """
        n = len(points)
        width, height = camera.size_px
        boxes, areas = np.full((n, 4), np.nan), np.zeros(n)
        if n == 0:
            return boxes, areas
        flat, depth = camera.project(points)
        scale = camera.focal_px / np.maximum(depth[:, _POINT["pelvis"]], 0.5)
        a, b = flat[:, _A], flat[:, _B]
        ra, rb = (self._radii[..., i] * scale[:, None] for i in (0, 1))
        unit, centres = capsule_outline(a, b, ra, rb)
        radius = _vertex_radius(ra, rb)[..., None]
        outline = centres + unit * radius
        drawn = self._radii[..., 0] > 0
        low = np.where(drawn[..., None], outline.min(2), np.inf).min(1)
        high = np.where(drawn[..., None], outline.max(2), -np.inf).max(1)
        seen = (depth.min(1) > 1.0) & (high > 0).all(1) & (low < (width, height)).all(1)
        tall = high[:, 1] - low[:, 1]
        seen &= (tall > 2) & (tall < 3 * height)
        boxes[seen] = np.concatenate([low, high], axis=1)[seen]
        spots = self._marks(camera, points)
        part_depth = (depth[:, _A] + depth[:, _B]) / 2
        order = np.argsort(-np.concatenate([part_depth, spots["depth"]], axis=1), axis=1)
        glow = np.array(camera.camera_from_world @ self.light.main)
        shift = glow[:2] / max(np.linalg.norm(glow[:2]), 0.3) * (0.5 if glow[2] < 0 else 0.62)
        tones = [outline, centres + radius * (unit * 0.82 + shift * 0.17), centres + radius * (unit * 0.5 + shift * 0.42)]
        for i in np.argsort(-depth[:, _POINT["pelvis"]]):
            if seen[i]:
                areas[i] = self._draw_one(image, ids, int(i), [t[i] for t in tones], order[i], spots, boxes[i], first_id + int(i),
                                          0.66 if shaded is not None and shaded[i] else 1.0)
        return boxes, areas

    def _marks(self, camera: Camera, points: Array) -> dict[str, Array]:
        """What is painted on the body: where the number, the face opening and the helmet stripe lie in the picture."""
        h = self.wardrobe.height_yd[:, None]
        up = points[:, _POINT["neck"]] - points[:, _POINT["pelvis"]]
        up /= np.maximum(np.linalg.norm(up, axis=1, keepdims=True), 1e-6)
        across = points[:, _POINT["shoulder_l"]] - points[:, _POINT["shoulder_r"]]
        across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-6)
        front = np.cross(across, up)
        head = points[:, _POINT["head"]] * 0.7 + points[:, _POINT["crown"]] * 0.3
        face = points[:, _POINT["face"]] - points[:, _POINT["head"]]
        face /= np.maximum(np.linalg.norm(face, axis=1, keepdims=True), 1e-6)
        view = points[:, _POINT["chest"]] - camera.centre_yd
        view /= np.linalg.norm(view, axis=1, keepdims=True)
        facing = -(front * view).sum(1)
        side = np.sign(facing)[:, None]
        chest = points[:, _POINT["chest"]] * 0.75 + points[:, _POINT["pelvis"]] * 0.25 + front * side * 0.075 * h * self.wardrobe.bulk[:, None]
        side_vector = np.cross(face, up)
        stack = np.stack([chest, chest + across * side * 0.1 * h, chest + up * 0.1 * h, head + face * 0.06 * h, head,
                          head + face * 0.1 * h, head + up * 0.1 * h, head + side_vector * 0.1 * h], axis=1)
        flat, depth = camera.project(stack)
        return {"flat": flat, "facing": facing, "face_seen": -(face * view).sum(1),
                "depth": np.stack([depth[:, 0] - 0.02, depth[:, 3] - 0.08], axis=1)}

    def _draw_one(self, image: Image, ids: npt.NDArray[np.uint16], i: int, tones: list[Array], order: npt.NDArray[np.integer[Any]],
                  spots: dict[str, Array], box: Array, identity: int, dim: float) -> float:
        x0, y0 = np.floor(box[:2]).astype(int) - 1
        w, h = np.ceil(box[2:]).astype(int) + 1 - (x0, y0)
        fine = 4 if h < 45 else 3 if h < 100 else 2
        crop: Image = np.zeros((h * fine, w * fine, 4), np.uint8)
        shapes = [np.round((t - (x0, y0)) * fine - 0.5).astype(np.int32) for t in tones]
        colours, empty = self._tones[i], self._radii[i, :, 0] <= 0
        levels = 2 if h < 24 else _TONES
        for s in order:
            if s >= len(_NAMES):
                self._paint_mark(crop, i, int(s) - len(_NAMES), spots, (x0, y0), fine, h)
            elif not empty[s]:
                for level in range(levels):
                    cv2.fillConvexPoly(crop, shapes[level][s], (*colours[s][level], 255))
        if h > 36:
            crop = cv2.blur(crop, (fine + 1, fine + 1))
        small = cv2.resize(crop, (int(w), int(h)), interpolation=cv2.INTER_AREA)
        colour, alpha = np.ascontiguousarray(small[..., :3]), small[..., 3]
        if h > 40:
            colour = cv2.multiply(colour, cv2.resize(self._cloth, (int(w), int(h))), scale=dim / 128)
        elif dim < 1:
            colour = cv2.convertScaleAbs(colour, alpha=dim)
        solid = alpha > 127
        cx0, cy0, cx1, cy1 = max(x0, 0), max(y0, 0), min(x0 + w, image.shape[1]), min(y0 + h, image.shape[0])
        if cx1 > cx0 and cy1 > cy0:
            part = slice(cy0 - y0, cy1 - y0), slice(cx0 - x0, cx1 - x0)
            target = image[cy0:cy1, cx0:cx1]
            rest = (255 - alpha[part]).astype(np.uint16)[..., None]
            target[:] = (target * rest // 255 + colour[part]).clip(0, 255).astype(np.uint8)
            ids[cy0:cy1, cx0:cx1][solid[part]] = identity
        return float(solid.sum())

    def _paint_mark(self, crop: Image, i: int, which: int, spots: dict[str, Array], origin: tuple[int, int], fine: int, h: int) -> None:
        kit = self.wardrobe.kits[i]
        flat = (spots["flat"][i] - origin) * fine - 0.5
        if which == 0:
            if abs(spots["facing"][i]) < 0.25 or h < 22:
                return
            basis = np.stack([flat[1] - flat[0], flat[2] - flat[0]]) / 0.1
            if kit.stripes is not None:
                for x in np.linspace(-0.085, 0.085, 5):
                    ends = np.round(flat[0] + np.array([[x * 0.8, -0.1], [x, 0.1]]) @ basis).astype(np.int32)
                    cv2.line(crop, ends[0].tolist(), ends[1].tolist(), (*kit.stripes, 255), max(1, round(0.018 * h * fine)))
            colour = kit.number
            if colour is None or not self._digits[i]:
                return
            lines = [np.round(flat[0] + line @ basis).astype(np.int32) for line in self._digits[i]]
            thickness = max(1, round(0.016 * h * fine * 0.6))
            if kit.number_edge is not None and h > 50:
                cv2.polylines(crop, lines, False, (*kit.number_edge, 255), thickness * 2 + 1)
            cv2.polylines(crop, lines, False, (*colour, 255), thickness)
        else:
            self._paint_head(crop, kit, flat, float(spots["face_seen"][i]), fine, h, i)

    def _paint_head(self, crop: Image, kit: Kit, flat: Array, seen: float, fine: int, h: int, i: int) -> None:
        middle, ahead, above, aside = flat[4], flat[5] - flat[4], flat[6] - flat[4], flat[7] - flat[4]
        size = 0.066 * h * fine
        if not kit.helmet or h < 18:
            return
        if kit.shell_stripe is not None and h > 28:
            turn = np.linspace(0.2, 2.9, 9)
            arc = middle + np.cos(turn)[:, None] * ahead * 0.66 + np.sin(turn)[:, None] * above * 0.66
            cv2.polylines(crop, [np.round(arc).astype(np.int32)], False, (*kit.shell_stripe, 255), max(1, round(size * 0.22)))
        if seen > -0.35:
            skin = tuple(int(c * 0.55) for c in self.wardrobe.skins[i])
            centre = middle + ahead * 0.5 - above * 0.18
            axes = (max(1, round(size * 0.5 * max(0.35, seen + 0.3))), max(1, round(size * 0.5)))
            cv2.ellipse(crop, np.round(centre).astype(int).tolist(), axes, 0, 0, 360, (*skin, 255), -1)
            turn = np.linspace(-1.15, 1.15, 7)[:, None]
            for lift in (-0.1, -0.38, -0.62):
                bar = middle + np.cos(turn) * ahead * 0.8 + np.sin(turn) * aside * 0.7 + above * lift
                cv2.polylines(crop, [np.round(bar).astype(np.int32)], False, (*kit.facemask, 255), max(1, round(size * 0.13)))


def visible_shares(ids: npt.NDArray[np.uint16], areas: Array, first_id: int = 1) -> Array:
    """(N,) share of each silhouette that is in the picture and hidden by nobody."""
    counts = np.bincount(ids.ravel(), minlength=first_id + len(areas))[first_id:first_id + len(areas)]
    return np.where(areas > 0, np.minimum(counts / np.maximum(areas, 1.0), 1.0), 0.0)


def draw_ball(image: Image, camera: Camera, xyz_yd: Array, light: Light) -> None:
    """The ball, a brown ellipse of 11 in."""
    flat, depth = camera.project(np.asarray(xyz_yd, dtype=float))
    radius = 0.12 * camera.focal_px / max(float(depth), 1.0)
    if depth > 1 and radius > 0.6:
        colour = tuple(float(c) * light.ambient for c in (42, 62, 116))
        axes = (max(1, round(radius * 16)), max(1, round(radius * 10)))
        cv2.ellipse(image, (round(flat[0] * 16), round(flat[1] * 16)), axes, 25, 0, 360, colour, -1, cv2.LINE_AA, 4)


__all__ = ["BLACK", "People", "Wardrobe", "draw_ball", "points_of", "visible_shares"]
