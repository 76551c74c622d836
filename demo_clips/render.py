"""One rep through one camera: the film, and the truth of every frame of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips import backdrop, club, panorama
from demo_clips.camera import Camera, Mount, choose_mount
from demo_clips.encode import Mp4Writer
from demo_clips.field_design import random_field
from demo_clips.figure import People, draw_ball, visible_shares
from demo_clips.foreground import draw_strokes, draw_veils
from demo_clips.gait import Bodies
from demo_clips.kits_design import (
    SKINS,
    WHITE,
    Kit,
    contrast,
    distinct_colour,
    dress_individually,
    plain_kit,
    random_colour,
    random_kit,
)
from demo_clips.lens import Film, random_lens
from demo_clips.light import Light, random_light
from demo_clips.motion import RepMotion
from demo_clips.operator import film, random_habits
from demo_clips.overlay import Overlay
from demo_clips.scenery import Scenery
from demo_clips.surroundings import random_scenery
from demo_clips.turf import Field, crowned
from demo_clips.wardrobe import Wardrobe

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
_HEAVY = {
    "lt": 1.4,
    "lg": 1.45,
    "c": 1.4,
    "rg": 1.45,
    "rt": 1.4,
    "tackle": 1.45,
    "edge": 1.2,
    "te": 1.15,
    "linebacker": 1.12,
    "coach": 1.2,
}
RATES = {"29.97": Fraction(30000, 1001), "30": Fraction(30), "25": Fraction(25), "59.94": Fraction(60000, 1001)}


@dataclass(frozen=True)
class Look:
    """What both cameras of a rep see alike: the field, the light, the surroundings and who wears what."""

    field: Field
    light: Light
    scenery: Scenery
    wardrobe: Wardrobe
    bodies: Bodies


def design_look(motion: RepMotion, rng: np.random.Generator, own_club: bool, odd_field: bool = False) -> Look:
    """The invented club at home (`own_club`), or some other field (`odd_field`: of practice, perhaps half painted), weather and
    pair of teams at random."""
    if own_club:
        own = np.random.default_rng(club.FIELD_SEED)
        field = random_field(own, motion.level, "stadium", (club.NICKNAME, club.TOWN), (club.TEAL, club.AMBER), whole=True)
        kits: dict[str, Kit] = dict(club.KITS)
    else:
        field = crowned(random_field(rng, motion.level, "practice" if odd_field else None, whole=not odd_field))
        kits = dict(club.KITS) | _random_kits(rng)
    coach = club.TEAL if own_club else random_colour(rng)
    worn = [
        dress_individually(kits[a.kit], rng)
        if a.kit in kits and a.kit != "official"
        else kits[a.kit]
        if a.kit in kits
        else plain_kit(rng, coach if rng.random() < 0.7 else None)
        for a in motion.actors
    ]
    n = len(worn)
    bulk = np.array([_HEAVY.get(a.role, 1.03) for a in motion.actors]) + rng.normal(0, 0.05, n)
    wardrobe = Wardrobe(
        np.array([a.height_yd for a in motion.actors]),
        bulk,
        tuple(worn),
        tuple(SKINS[i] for i in rng.integers(0, len(SKINS), n)),
        tuple(a.number for a in motion.actors),
    )
    return Look(field, random_light(rng), random_scenery(rng, motion.level), wardrobe, Bodies(motion, bulk, rng))


def _random_kits(rng: np.random.Generator) -> dict[str, Kit]:
    """Two teams that can be told apart, a pinnie over the home shirt, and the passer's red."""
    pale = bool(rng.random() < 0.5)
    home, away = random_kit(rng, pale), random_kit(rng, not pale)
    if sum(abs(a - b) for a, b in zip(home.jersey, away.jersey, strict=True)) < 190:
        jersey = distinct_colour(rng, home.jersey)
        away = replace(away, jersey=jersey, sleeve=jersey, number=contrast(jersey))
    yellow = (70, 222, 214)
    close = sum(abs(a - b) for a, b in zip(home.jersey, yellow, strict=True)) < 190
    pinnie = distinct_colour(rng, home.jersey) if close or rng.random() < 0.5 else yellow
    return {
        "home": home,
        "away": away,
        "pinnie": replace(home, jersey=pinnie, number=None),
        "red": replace(home, jersey=(44, 40, 196), sleeve=(44, 40, 196), number=WHITE),
    }


class Shot:
    """One camera's film of a rep, frame by frame."""

    def __init__(
        self, motion: RepMotion, look: Look, mount: Mount, time_s: Array, size_px: tuple[int, int], rng: np.random.Generator
    ) -> None:
        self._motion, self._look, self.time_s, self.mount = motion, look, time_s, mount
        self.cameras = film(motion, mount, random_habits(rng), time_s, size_px, rng)
        self._panorama = panorama.cover(self.cameras)
        self._backdrop = backdrop.paint(self._panorama, look.field, look.scenery, look.light, fine=2)
        self._people = People(look.wardrobe, look.light, int(rng.integers(1 << 30)))
        self._film = Film(random_lens(rng, look.light), look.light, size_px)
        self._overlay = Overlay(rng, size_px, 0.3)
        self._sun_spots = look.scenery.shade(look.light.main) if look.light.lamps else []
        self._exposure = 1.0 + float(rng.uniform(0, 0.05)) * np.sin(
            time_s * float(rng.uniform(0.2, 0.8)) + float(rng.uniform(0, 6))
        )

    def clean(self, index: int) -> tuple[Image, npt.NDArray[np.uint16], Array, Array]:
        """Frame `index` before the lens: picture, ids (0 = nobody, 1 + actor), silhouettes' boxes (N, 4) px and sizes (N,)."""
        camera, look = self.cameras[index], self._look
        image = self._panorama.look(self._backdrop, camera)
        points = look.bodies.at(float(self.time_s[index]))
        turf_yd = look.field.height(points[:, 0, 1])
        points[..., 2] += turf_yd[:, None]
        shade = np.full(image.shape[:2], 255, np.uint8)
        self._people.shadows(shade, camera, points, turf_yd)
        image = cv2.multiply(image, cv2.merge([cv2.GaussianBlur(shade, (3, 3), 0)] * 3), scale=1 / 255)
        ids = np.zeros(image.shape[:2], np.uint16)
        split = float(np.linalg.norm(points[:, 0].mean(0) - camera.centre_yd))
        draw_strokes(image, ids, camera, look.scenery, look.light, beyond_yd=split)
        shaded = self._shaded(points[:, 0, :2])
        boxes, areas = self._people.draw(image, ids, camera, points, shaded)
        row = min(int(np.searchsorted(self._motion.time_s, self.time_s[index])), len(self._motion.time_s) - 1)
        ball = self._motion.ball_xyz_yd[row]
        draw_ball(image, camera, np.append(ball[:2], ball[2] + look.field.height(ball[1])), look.light)
        draw_strokes(image, ids, camera, look.scenery, look.light, within_yd=split)
        draw_veils(image, camera, look.scenery)
        return image, ids, boxes, areas

    def finish(self, index: int, clean: Image) -> Image:
        """The frame as it goes into the file: exposed, blurred by motion, noisy, with overlays."""
        now, then = self.cameras[index], self.cameras[max(index - 1, 0)]
        shift = ((now.pan_rad - then.pan_rad) * now.focal_px, (now.tilt_rad - then.tilt_rad) * now.focal_px)
        image = self._film.expose(clean, shift, float(self._exposure[index]))
        self._overlay.apply(image)
        return image

    def _shaded(self, xy: Array) -> npt.NDArray[np.bool_]:
        shaded = np.zeros(len(xy), bool)
        for polygon in self._sun_spots:
            contour = polygon.astype(np.float32)
            shaded |= np.array([cv2.pointPolygonTest(contour, (float(x), float(y)), False) >= 0 for x, y in xy], dtype=bool)
        return shaded


def frame_truth(
    index: int, time_s: float, camera: Camera, field: Field, names: list[str], boxes: Array, shares: Array
) -> dict[str, Any]:
    """One frame's entry of truth.json; people out of the picture have no box."""
    width, height = camera.size_px
    rows = []
    for name, box, share in zip(names, boxes, shares, strict=True):
        if np.isfinite(box[0]):
            x0, y0, x1, y1 = np.clip(box, 0, [width, height] * 2)
            if x1 - x0 >= 1 and y1 - y0 >= 1:
                rows.append([name, *(round(float(v), 1) for v in (x0, y0, x1, y1)), round(float(share), 2)])
    matrix = camera.image_from_field(field.height if field.crown_yd else None)
    return {
        "index": index,
        "time_s": round(time_s, 6),
        "image_from_field": [[float(f"{v:.7g}") for v in row] for row in matrix],
        "pan_rad": round(camera.pan_rad, 6),
        "tilt_rad": round(camera.tilt_rad, 6),
        "roll_rad": round(camera.roll_rad, 6),
        "focal_px": round(camera.focal_px, 2),
        "boxes": rows,
    }


def render_clip(
    motion: RepMotion,
    look: Look,
    view: str,
    path: Path,
    size_px: tuple[int, int],
    rate: Fraction,
    duration_s: float,
    direction: int,
    rng: np.random.Generator,
    quality: int = 25,
) -> dict[str, Any]:
    """Film the rep into `path` and return the clip's part of the truth."""
    count = int(duration_s * rate)
    time_s = np.array([float(i / rate) for i in range(count)])
    ball_x = float(motion.ball_xyz_yd[int(np.searchsorted(motion.time_s, motion.snap_s) - 1), 0])
    shot = Shot(motion, look, choose_mount(view, rng, direction, ball_x), time_s, size_px, rng)
    names, frames = [a.player_id for a in motion.actors], []
    with Mp4Writer(path, size_px, rate, quality) as writer:
        for i in range(count):
            clean, ids, boxes, areas = shot.clean(i)
            frames.append(frame_truth(i, float(time_s[i]), shot.cameras[i], look.field, names, boxes, visible_shares(ids, areas)))
            writer.write(shot.finish(i, clean))
    return {
        "view": view,
        "file": path.name,
        "width_px": size_px[0],
        "height_px": size_px[1],
        "camera": {"centre_yd": [round(c, 3) for c in shot.mount.centre_yd], "distortion": round(shot.mount.distortion, 6)},
        "turf": {"crown_yd": round(look.field.crown_yd, 3), "crown_power": round(look.field.crown_power, 3)},
        "frames": frames,
    }
