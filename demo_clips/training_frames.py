"""Still frames of people on fields, labelled: the data set that the person detector is trained on.

`write_frames` makes a folder in the layout that ultralytics reads (images/, labels/, data.yaml; one class, person). Scenes are
as varied as can be: people of every size and attitude, every view and light, and things that look like people but are not.
"""

from __future__ import annotations

import argparse
import multiprocessing
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips import backdrop, crowds
from demo_clips.camera import Camera, choose_mount
from demo_clips.field_design import random_field
from demo_clips.figure import People, draw_ball, plain_numerals, visible_shares
from demo_clips.foreground import draw_strokes, draw_veils
from demo_clips.lens import Film, random_lens, transcode
from demo_clips.light import Light, random_light
from demo_clips.overlay import Overlay
from demo_clips.scenery import Scenery
from demo_clips.surroundings import random_scenery
from demo_clips.wardrobe import Wardrobe
from homography.field import WIDTH_YD

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
LEAST_VISIBLE = 0.15
LEAST_SIDE_PX = (3.0, 9.0)
_YARDS_TALL = 1.95


def random_camera(rng: np.random.Generator, size: tuple[int, int]) -> tuple[Camera, tuple[float, float]]:
    """A camera on a random stand that looks at a random spot of the field; also that spot, yd."""
    view = str(rng.choice(["sideline", "end-zone", "low-sideline"], p=[0.52, 0.36, 0.12]))
    aim = (float(rng.uniform(8, 112)), float(np.clip(rng.normal(WIDTH_YD / 2, 8), 6, 47)))
    mount = choose_mount(view, rng, ball_x_yd=aim[0])
    toward = np.array([*aim, 0.8]) - mount.centre_yd
    distance = float(np.linalg.norm(toward))
    # Sizes of a player at the aim: mostly those of all-22 film, now and then tiny or filling the picture.
    kind = rng.random()
    tall = (
        rng.uniform(0.033, 0.09)
        if kind < 0.72
        else rng.uniform(0.018, 0.035)
        if kind < 0.82
        else np.exp(rng.uniform(np.log(0.09), np.log(0.42)))
    )
    focal = np.clip(tall * size[1] / _YARDS_TALL * distance, 0.45 * size[0], 6.0 * size[0])
    pan, tilt = np.arctan2(toward[1], toward[0]), np.arctan2(toward[2], np.hypot(toward[0], toward[1]))
    half = np.arctan(size[1] / 2 / focal)
    # Crews keep the sky out of the picture where they can.
    if rng.random() < 0.75:
        tilt -= np.clip(tilt + half + 0.02, 0.0, 0.6 * half)
    return Camera(
        mount.centre_yd,
        float(pan + rng.normal(0, 0.03)),
        float(tilt + rng.normal(0, 0.02)),
        mount.roll_rad,
        float(focal),
        size,
        mount.distortion,
    ), aim


@dataclass(frozen=True)
class Scene:
    """One finished frame and who is in it: `image` (H, W, 3) as filmed by `camera`; for everybody of `crowd` his bounding `box`
    (N, 4) px, NaN behind the camera, the `visible` share of it (N,), `points` (N, P, 3) yd and his shirt's `numerals`; `ids`
    (H, W), 1 + i where body i shows."""

    image: Image
    ids: Array
    camera: Camera
    crowd: crowds.Crowd
    wardrobe: Wardrobe
    points: Array
    numerals: list[list[Array]]
    box: Array
    visible: Array


Numerals = Callable[[tuple[int | None, ...]], list[list[Array]]]


@dataclass(frozen=True)
class Stage:
    """A field without people: `image` as `camera` sees it when it looks at `aim` (yd), the light and what stands around."""

    image: Image
    camera: Camera
    aim: tuple[float, float]
    light: Light
    scenery: Scenery


def set_stage(rng: np.random.Generator, size: tuple[int, int]) -> Stage:
    """A random field in a picture of `size` (width, height) px."""
    camera, aim = random_camera(rng, size)
    field, light = random_field(rng), random_light(rng)
    scenery = random_scenery(rng, field.level, near_xy=aim)
    return Stage(backdrop.paint(camera, field, scenery, light, fine=3), camera, aim, light, scenery)


def film_people(rng: np.random.Generator, stage: Stage, numerals: Numerals = plain_numerals) -> Scene:
    """Film random people on a stage, which stays as it is; their shirts' numbers are drawn by `numerals`."""
    camera, aim, light, scenery, image = stage.camera, stage.aim, stage.light, stage.scenery, stage.image
    size = (image.shape[1], image.shape[0])
    in_view = float(np.clip(camera.size_px[0] / camera.focal_px * np.linalg.norm(np.array([*aim, 0]) - camera.centre_yd), 6, 80))
    crowd = crowds.random_crowd(rng, *aim, in_view)
    wardrobe = crowds.wardrobe_for(crowd, rng)
    points = crowds.stand_up(crowd, wardrobe, rng)
    people = People(wardrobe, light, int(rng.integers(1 << 30)), numerals(wardrobe.numbers))
    shade = np.full(image.shape[:2], 255, np.uint8)
    people.shadows(shade, camera, points)
    soft = cv2.GaussianBlur(shade, (0, 0), 0.8)
    image = cv2.multiply(image, cv2.merge([soft] * 3), scale=1 / 255)
    ids = np.zeros(image.shape[:2], np.uint16)
    split = float(np.linalg.norm(np.array([*aim, 1.0]) - camera.centre_yd))
    draw_strokes(image, ids, camera, scenery, light, beyond_yd=split)
    boxes, areas = people.draw(image, ids, camera, points)
    if rng.random() < 0.3:
        draw_ball(image, camera, np.array([aim[0], aim[1], rng.uniform(0.1, 3.0)]), light)
    draw_strokes(image, ids, camera, scenery, light, within_yd=split)
    draw_veils(image, camera, scenery)
    film = Film(random_lens(rng, light), light, size)
    speed = rng.normal(0, 4.0, 2) * (rng.random() < 0.35)
    image = film.expose(image, (float(speed[0]), float(speed[1]) * 0.4))
    Overlay(rng, size, 0.35).apply(image)
    if rng.random() < 0.35:
        image = transcode(image, int(rng.integers(22, 70)), float(rng.choice([1.0, 0.75, 0.6])))
    return Scene(image, ids, camera, crowd, wardrobe, points, people.numerals, boxes, visible_shares(ids, areas))


def drawn_size(rng: np.random.Generator, size: tuple[int, int]) -> tuple[int, int]:
    """A random smaller size (even) that a picture is drawn in before it is stretched to `size`."""
    drawn = float(rng.choice([1.0, 0.85, 0.67, 0.5, 0.42], p=[0.52, 0.16, 0.16, 0.1, 0.06]))
    return int(size[0] * drawn) // 2 * 2, int(size[1] * drawn) // 2 * 2


def compose(rng: np.random.Generator, size: tuple[int, int]) -> tuple[Image, Array]:
    """One finished frame (H, W, 3) and its people (N, 4) px."""
    small = drawn_size(rng, size)
    scene = film_people(rng, set_stage(rng, small))
    image = scene.image
    keep = (scene.visible >= LEAST_VISIBLE) & np.isfinite(scene.box[:, 0])
    clipped = np.clip(scene.box[keep], 0, np.tile(small, 2)) * np.tile(np.array(size) / small, 2)
    clipped = clipped[((clipped[:, 2:] - clipped[:, :2]) >= LEAST_SIDE_PX).all(1)]
    if small != size:
        image = cv2.resize(image, size, interpolation=(cv2.INTER_LINEAR, cv2.INTER_CUBIC)[int(rng.integers(2))])
    return np.asarray(image, np.uint8), clipped


def _write_one(index: int, seed: int, out_dir: Path, size: tuple[int, int]) -> int:
    """Write frame `index` and its labels; returns the number of people."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, index])
    image, boxes = compose(rng, size)
    part = "val" if index % 40 == 0 else "train"
    name = f"{seed}-{index:06d}"
    scale = np.array([size[0], size[1]] * 2)
    rows = [f"0 {(x0 + x1) / 2:.6f} {(y0 + y1) / 2:.6f} {x1 - x0:.6f} {y1 - y0:.6f}" for x0, y0, x1, y1 in boxes / scale]
    (out_dir / "labels" / part / f"{name}.txt").write_text("\n".join(rows))
    cv2.imwrite(str(out_dir / "images" / part / f"{name}.jpg"), image, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 96))])
    return len(boxes)


def _report(results: Iterable[int], count: int, progress: Callable[[int, int], None] | None) -> None:
    for done, _ in enumerate(results, 1):
        if progress:
            progress(done, count)


def _drop_unpaired(out_dir: Path) -> None:
    """Delete frames that were being written when the rendering was ended: labels without a whole picture."""
    for label in (out_dir / "labels").glob("*/*.txt"):
        image = out_dir / "images" / label.parent.name / f"{label.stem}.jpg"
        if not image.is_file() or image.read_bytes()[-2:] != b"\xff\xd9":
            image.unlink(missing_ok=True)
            label.unlink()


class Stop(Exception):
    """Raised by a `progress` callback to end the rendering early; what is written stays and is used."""


def write_frames(
    seed: int,
    count: int,
    out_dir: Path,
    size: tuple[int, int] = (1280, 720),
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Write `count` labelled frames of `size` (width, height) px and return the path of data.yaml.

    The same seed and index give the same frame on any number of workers. Every fortieth frame goes to the validation part.
    Raises ValueError on a count or size that makes no frame.
    """
    if count < 1 or min(size) < 64:
        raise ValueError(f"training frames: {count} of {size[0]}x{size[1]}; ask for at least one of 64 px or more")
    for kind in ("images", "labels"):
        for part in ("train", "val"):
            (out_dir / kind / part).mkdir(parents=True, exist_ok=True)
    work = partial(_write_one, seed=seed, out_dir=out_dir, size=size)
    try:
        if workers <= 1:
            _report(map(work, range(count)), count, progress)
        else:
            with multiprocessing.get_context("spawn").Pool(workers) as pool:
                _report(pool.imap_unordered(work, range(count), chunksize=4), count, progress)
    except Stop:
        _drop_unpaired(out_dir)
    recipe = out_dir / "data.yaml"
    recipe.write_text(f"path: {out_dir.resolve()}\ntrain: images/train\nval: images/val\nnames:\n  0: person\n")
    return recipe


def main() -> None:
    parser = argparse.ArgumentParser(description="Render labelled frames for training the person detector.")
    parser.add_argument("out_dir", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=7000)
    parser.add_argument("--size", type=int, nargs=2, default=(1280, 720), metavar=("WIDTH", "HEIGHT"))
    parser.add_argument("--workers", type=int, default=multiprocessing.cpu_count())
    given = parser.parse_args()
    print(write_frames(given.seed, given.count, given.out_dir, tuple(given.size), given.workers))


if __name__ == "__main__":
    main()
