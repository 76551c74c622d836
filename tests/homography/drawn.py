"""A small painter of fields for the registration tests: stripes as projected polygons on a turf texture, blobs for people.

Written apart from demo_clips on purpose. It has its own pinhole formula (textbook: p = K R (X - C), radial distortion on the
picture), and places paint by the rulebooks' numbers written out here.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

WIDTH = 160 / 3
HASH_FT = {"high-school": 53 + 4 / 12, "college": 60.0, "pro": 70.75}
PAINT = (225, 232, 230)


@dataclass
class Shot:
    """A camera move: per-frame heading/depression/roll in degrees and focal length in px, one centre and distortion."""

    centre: tuple[float, float, float]
    heading: np.ndarray
    depression: np.ndarray
    focal: np.ndarray
    roll: np.ndarray
    k: float = -0.015
    size: tuple[int, int] = (1280, 720)
    crown: float = 0.0
    """How far the field's middle stands above its sidelines, yd; a roof."""

    def height(self, y: np.ndarray) -> np.ndarray:
        return self.crown * np.clip(1 - np.abs(y - WIDTH / 2) / (WIDTH / 2), 0, 1)

    def matrix(self, i: int) -> np.ndarray:
        """(3, 4) projection of field points (x, y, z, 1)."""
        a, e, r = np.radians([self.heading[i], -self.depression[i], self.roll[i]])
        forward = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
        right = np.cross(forward, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        up = np.cross(right, forward)
        turn = np.stack([right, -up, forward])
        spin = np.array([[np.cos(r), np.sin(r), 0], [-np.sin(r), np.cos(r), 0], [0, 0, 1]])
        turn = spin @ turn
        k = np.array([[self.focal[i], 0, self.size[0] / 2], [0, self.focal[i], self.size[1] / 2], [0, 0, 1.0]])
        return k @ np.column_stack([turn, -turn @ np.array(self.centre)])

    def project(self, i: int, xyz: np.ndarray) -> np.ndarray:
        """(N, 2) px of points in space (N, 3), or on the turf (N, 2)."""
        points = np.column_stack([xyz, self.height(xyz[:, 1])]) if xyz.shape[1] == 2 else xyz
        h = np.column_stack([points, np.ones(len(points))]) @ self.matrix(i).T
        out = h[:, :2] / np.where(h[:, 2:] > 0.5, h[:, 2:], np.nan)
        off = out - np.array(self.size) / 2
        off[np.linalg.norm(off, axis=1) > 1.2 * self.size[0]] = np.nan  # the radial term folds back far outside the picture
        return np.array(self.size) / 2 + off * (1 + self.k * (off**2).sum(1, keepdims=True) / (self.size[0] / 2) ** 2)


@dataclass
class Paint:
    """What is painted, and how badly."""

    level: str = "high-school"
    spacing: float = 5.0
    hash_marks: str = "all"  # all | crossings | none
    border: float = 0.0
    fade: float = 0.0
    sidelines: bool = True
    soccer: bool = False
    numbers: bool = True
    logo: bool = False
    people: int = 24
    noise: float = 3.0
    colours: dict[float, tuple[int, int, int]] = field(default_factory=dict)


def stripes(paint: Paint) -> list[tuple[np.ndarray, tuple[int, int, int]]]:
    """Rectangles (x0, y0, x1, y1) in yards with their colours."""
    out: list[tuple[np.ndarray, tuple[int, int, int]]] = []
    half = 2 / 36

    def add(x0: float, y0: float, x1: float, y1: float, colour: tuple[int, int, int] = PAINT) -> None:
        out.append((np.array([x0, y0, x1, y1]), colour))

    for x in np.arange(10.0, 110.1, paint.spacing):
        add(x - half, 0, x + half, WIDTH, paint.colours.get(float(x), PAINT))
    for x in (0.0, 120.0):
        add(x - half, 0, x + half, WIDTH)
    if paint.sidelines:
        wide = max(paint.border, 4 / 36)
        add(-wide, -wide, 120 + wide, 0)
        add(-wide, WIDTH, 120 + wide, WIDTH + wide)
    inbounds = HASH_FT[paint.level] / 3
    for row in (inbounds, WIDTH - inbounds):
        for x in np.arange(11.0, 110.0, 1.0):
            on_line = abs(x / 5 - round(x / 5)) < 1e-6
            if on_line and paint.hash_marks != "none":
                add(x - 1 / 3, row - half, x + 1 / 3, row + half)
            elif paint.hash_marks == "all":
                add(x - half, row - 1 / 3, x + half, row + 1 / 3)
    if paint.soccer:
        yellow = (60, 200, 220)
        add(20, 8, 20.12, 45, yellow)
        add(36, 8, 36.12, 45, yellow)
        add(20, 8, 100, 8.12, yellow)
        add(20, 45, 100, 45.12, yellow)
    return out


def turf(seed: int) -> np.ndarray:
    """A texture of 5 px per yard covering x -60..180, y -80..140."""
    rng = np.random.default_rng(seed)
    base = rng.normal(0, 9, (1100, 1200)).astype(np.float32) + 2.2 * cv2.GaussianBlur(
        rng.normal(0, 22, (1100, 1200)).astype(np.float32), (0, 0), 4)
    bands = 6 * np.sign(np.sin(np.arange(1200) / 5 * np.pi / 5)).astype(np.float32)
    grey = base + bands
    return np.clip(np.stack([62 + grey * 0.7, 112 + grey, 66 + grey * 0.8], axis=2), 0, 255).astype(np.uint8)


def draw(shot: Shot, i: int, paint: Paint, texture: np.ndarray, people: np.ndarray,
         seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """One picture and the boxes (B, 4) of the people at `people` (B, 2) yd."""
    w, h = shot.size
    gx, gy = np.meshgrid(np.arange(0, w + 8, 8.0) + 0.5, np.arange(0, h + 8, 8.0) + 0.5)  # middles of pixels
    middle = np.array([w / 2, h / 2])
    bent = off = np.column_stack([gx.ravel(), gy.ravel()]) - middle
    for _ in range(6):
        off = bent / (1 + shot.k * (off**2).sum(1, keepdims=True) / (w / 2) ** 2)
    m = shot.matrix(i)[:, [0, 1, 3]]
    ground = np.column_stack([off + middle, np.ones(len(off))]) @ np.linalg.inv(m).T
    xy = ground[:, :2] / ground[:, 2:]
    sky = (np.sign(ground[:, 2]) != np.sign(np.linalg.inv(m)[2] @ [w / 2, h * 4, 1])) | (np.abs(xy).max(1) > 250)
    u = np.where(sky, -1e4, (xy[:, 0] + 60) * 5).reshape(gx.shape).astype(np.float32)
    v = np.where(sky, -1e4, (xy[:, 1] + 80) * 5).reshape(gx.shape).astype(np.float32)
    big = (8 * gx.shape[1], 8 * gx.shape[0])
    shift = np.array([[8, 0, 0], [0, 8, 0]], np.float32)
    um, vm = (cv2.warpAffine(a, shift, big, flags=cv2.INTER_LINEAR)[:h, :w] for a in (u, v))
    image = cv2.remap(texture, um, vm, cv2.INTER_LINEAR, borderValue=(120, 110, 105))
    rng = np.random.default_rng(seed)
    for (x0, y0, x1, y1), colour in stripes(paint):
        n = int(max(2, np.ceil(max(x1 - x0, y1 - y0) / 1.5)))
        t = np.linspace(0, 1, n)
        if x1 - x0 > y1 - y0:
            edge = np.concatenate([np.column_stack([x0 + t * (x1 - x0), 0 * t + y0]),
                                   np.column_stack([x1 + t * (x0 - x1), 0 * t + y1])])
        else:
            edge = np.concatenate([np.column_stack([0 * t + x0, y0 + t * (y1 - y0)]),
                                   np.column_stack([0 * t + x1, y1 + t * (y0 - y1)])])
        px = shot.project(i, edge)
        half = len(px) // 2
        ok = np.isfinite(px).all(1) & (np.abs(px) < 6000).all(1)
        layer = (1 - paint.fade)
        for a in range(half - 1):
            quad = np.array([px[a], px[a + 1], px[-a - 2], px[-a - 1]])
            if not ok[[a, a + 1, -a - 2, -a - 1]].all() or (quad.max(0) < 0).any() or (quad.min(0) > [w, h]).any():
                continue
            x_low, y_low = np.clip(np.floor(quad.min(0)).astype(int) - 2, 0, [w, h])
            x_high, y_high = np.clip(np.ceil(quad.max(0)).astype(int) + 3, 0, [w, h])
            if x_high <= x_low or y_high <= y_low:
                continue
            mask = np.zeros((4 * (y_high - y_low), 4 * (x_high - x_low)), np.uint8)
            # Four-fold supersampling; coordinates count from the corner, the drawing routine's from the first pixel's middle.
            cv2.fillConvexPoly(mask, np.round(((quad - [x_low, y_low]) * 4 - 0.5) * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
            share = cv2.resize(mask, (x_high - x_low, y_high - y_low), interpolation=cv2.INTER_AREA)[..., None] / 255.0 * layer
            patch = image[y_low:y_high, x_low:x_high]
            patch[:] = (patch * (1 - share) + np.array(colour) * share).astype(np.uint8)
    if paint.numbers:
        for x in range(20, 101, 10):
            for y in (8.0, WIDTH - 8.0):
                for dx in (-1.2, 0.5):
                    corner = np.array([[x + dx, y - 1], [x + dx + 0.9, y - 1], [x + dx + 0.9, y + 1], [x + dx, y + 1]])
                    px = shot.project(i, corner)
                    if np.isfinite(px).all() and (np.abs(px) < 4000).all():
                        cv2.polylines(image, [np.round(px * 16).astype(np.int32)], True, PAINT, 2, cv2.LINE_AA, 4)
    if paint.logo:
        ring = np.array([[60 + 6 * np.cos(a), WIDTH / 2 + 6 * np.sin(a)] for a in np.linspace(0, 6.28, 40)])
        for size, colour in ((1.0, (60, 40, 160)), (0.7, (220, 220, 220)), (0.5, (120, 60, 40))):
            px = shot.project(i, (ring - [60, WIDTH / 2]) * size + [60, WIDTH / 2])
            if np.isfinite(px).all() and (np.abs(px) < 6000).all():
                cv2.fillPoly(image, [np.round(px * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)
    boxes = []
    order = np.argsort(-np.linalg.norm(people - np.array(shot.centre[:2]), axis=1)) if len(people) else []
    for j in order:
        foot = float(shot.height(people[j, 1:])[0])
        px = shot.project(i, np.array([[*people[j], foot], [*people[j], foot + 1.9]]))
        if not np.isfinite(px).all() or px[0, 0] < -50 or px[0, 0] > w + 50 or px[0, 1] > h + 80 or px[0, 1] < 0:
            continue
        tall = abs(px[0, 1] - px[1, 1])
        shirt = (40, 40, 190) if j % 2 else (215, 215, 215)
        middle = ((px[0] + px[1]) / 2).round().astype(int)
        axes = (max(2, int(tall * 0.2)), max(3, int(tall * 0.5)))
        cv2.ellipse(image, (int(middle[0]), int(middle[1])), axes, 0, 0, 360, shirt, -1, cv2.LINE_AA)
        boxes.append([middle[0] - tall * 0.22, middle[1] - tall * 0.5, middle[0] + tall * 0.22, middle[1] + tall * 0.5])
    image = cv2.GaussianBlur(image, (0, 0), 0.7)
    noisy = image + rng.normal(0, paint.noise, image.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8), np.array(boxes, dtype=np.float32).reshape(-1, 4)


def sideline_shot(seed: int, frames: int = 60, size: tuple[int, int] = (1280, 720)) -> Shot:
    """A press-box camera that follows a play."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(48, 72)
    centre = (x, -rng.uniform(12, 38), rng.uniform(9, 18))
    target = np.array([x + rng.uniform(-22, 22), 26.0 + rng.uniform(-5, 3)])
    pan0 = np.degrees(np.arctan2(target[1] - centre[1], target[0] - centre[0]))
    far = np.hypot(target[1] - centre[1], target[0] - centre[0])
    width = rng.uniform(32, 58)
    focal = size[0] * np.hypot(far, centre[2]) / width
    return _move(rng, centre, pan0, np.degrees(np.arctan2(centre[2], far)), focal, frames, size)


def end_zone_shot(seed: int, frames: int = 60, size: tuple[int, int] = (1280, 720)) -> Shot:
    """A tower camera behind the end zone."""
    rng = np.random.default_rng(seed)
    centre = (-rng.uniform(5, 20), 26.67 + rng.uniform(-4, 4), rng.uniform(8, 16))
    target = np.array([rng.uniform(30, 70), 26.67 + rng.uniform(-6, 6)])
    far = np.hypot(target[1] - centre[1], target[0] - centre[0])
    pan0 = np.degrees(np.arctan2(target[1] - centre[1], target[0] - centre[0]))
    focal = size[0] * far / rng.uniform(34, 52)
    return _move(rng, centre, pan0, np.degrees(np.arctan2(centre[2], far)), focal, frames, size)


def _move(rng: np.random.Generator, centre: tuple[float, float, float], pan: float, tilt: float, focal: float, frames: int,
          size: tuple[int, int]) -> Shot:
    t = np.linspace(0, 1, frames)
    shake = cv2.GaussianBlur(rng.normal(0, 0.12, (frames, 1)), (1, 0), 0, sigmaY=2.0).ravel() if frames > 1 else np.zeros(1)
    sweep = rng.uniform(-7, 7) * (1 - np.cos(np.pi * t)) / 2 * min(1, frames / 60)
    share = t * min(1, frames / 60)
    return Shot(centre, pan + sweep + shake, tilt + rng.uniform(-1, 1) * share, focal * (1 + rng.uniform(-0.15, 0.15) * share),
                rng.normal(0, 0.5) + 0 * t, rng.uniform(-0.03, 0.0), size)


def walkers(seed: int, shot: Shot, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Start points (count, 2) yd near the middle of the picture and velocities (count, 2) yd/s."""
    rng = np.random.default_rng(seed + 7)
    m = np.linalg.inv(shot.matrix(0)[:, [0, 1, 3]])
    middle = m @ [shot.size[0] / 2, shot.size[1] * 0.55, 1]
    start = middle[:2] / middle[2] + rng.normal(0, 1, (count, 2)) * [9, 9]
    return start, rng.normal(0, 3, (count, 2))


def film(shot: Shot, paint: Paint, seed: int = 0, fps: float = 30.0):
    """Yield (picture, boxes) for each frame of the shot."""
    texture = turf(seed)
    start, speed = walkers(seed, shot, paint.people)
    for i in range(len(shot.heading)):
        people = start + speed * i / fps
        yield draw(shot, i, paint, texture, people, seed * 1000 + i)
