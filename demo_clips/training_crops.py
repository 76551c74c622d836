"""Pictures of single people, labelled: the data set that torso facing, shirt numbers and kit colours are learned from.

    python -m demo_clips.training_crops CROPS --frames 6000

Scenes are filmed as for `training_frames`; of everybody in them a portrait is kept in the film's own pixels, with his box in it.
Shards `CROPS/train-*.npz` and `CROPS/val-*.npz` hold parallel arrays, see `PORTRAIT` and `Labels`.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.motion import POSES
from demo_clips.numerals import random_numerals
from demo_clips.shirt_marks import locate_marks
from demo_clips.training_frames import Scene, Stop, drawn_size, film_people, set_stage

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
PORTRAIT = (160, 128)
"""Height and width of a portrait, px."""
TALLEST_PX = 112.0
"""Men whose box is taller are reduced to this; smaller ones keep the film's pixels."""
SIZES = ((1280, 720), (1600, 900), (1920, 1080), (854, 480))
SIZE_CHANCES = (0.4, 0.2, 0.28, 0.12)
FRAMES_PER_SHARD = 8
TAKES = 4
"""So many crowds are filmed on each field: painting it takes most of the time."""
MOST_PER_FRAME = 36
LEAST_VISIBLE = 0.15
LEAST_TALL_PX = 11.0
VALIDATION_EVERY = 24
ROLES = ("player", "official", "other")
LYING = tuple(POSES.index(name) for name in ("dive", "ground"))
_REACH = 0.1
"""The marks on a shirt are given as steps of this share of the body height."""


@dataclass(frozen=True)
class Labels:
    """What is known of N portraits. `box` (N, 4) px in the portrait and `foot` (N, 2), the point of the ground under the man's
    middle; `facing_rad` of the torso relative to the camera's viewing ray, in the field's plane: 0 looks away from the camera,
    +-pi into it, growing leftward in the picture; `square` the cosine between the shirt's side that shows and the camera,
    negative for the back; `shown_px` the box's height on film; `digits` (N, 2) of the number (10: no tens), -1 where none is
    worn; `digit_seen` (N, 2) the share of each that nobody hides, 0 where it
    is not drawn; `role` index into ROLES; `upright` False for men on the ground; `cloth` (N, 3, 3) BGR of shirt, trousers,
    helmet (skin where there is none); `visible` the share of the silhouette."""

    picture: Array
    box: Array
    foot: Array
    facing_rad: Array
    square: Array
    shown_px: Array
    digits: Array
    digit_seen: Array
    role: Array
    upright: Array
    cloth: Array
    visible: Array


def label_scene(scene: Scene, image: Image, scale: float, rng: np.random.Generator, least_px: float = LEAST_TALL_PX) -> Labels:
    """Portraits of those who can be seen and are `least_px` tall, at most MOST_PER_FRAME; `image` is the scene's picture enlarged
    by `scale`."""
    box = scene.box * scale
    fits = (scene.visible >= LEAST_VISIBLE) & np.isfinite(box[:, 0]) & (box[:, 3] - box[:, 1] >= least_px)
    chosen = rng.permutation(np.flatnonzero(fits))[:MOST_PER_FRAME]
    marks = locate_marks(scene.camera, scene.points, scene.wardrobe.height_yd, scene.wardrobe.bulk)
    ray = np.array(scene.crowd.xy).reshape(-1, 2) - scene.camera.centre_yd[:2]
    facing = np.array(scene.crowd.torso) - np.arctan2(ray[:, 1], ray[:, 0])
    size = np.array([image.shape[1], image.shape[0]])
    ground, _ = scene.camera.project(np.column_stack([np.array(scene.crowd.xy).reshape(-1, 2), np.zeros(len(box))]))
    pictures, marks_px = [], []
    for i in chosen:
        corners = np.clip(box[i], 0, np.tile(size, 2)).reshape(2, 2)
        picture, placed = portrait(image, np.concatenate([corners, ground[i, None] * scale]))
        pictures.append(picture)
        marks_px.append(placed)
    placed = np.array(marks_px, np.float32).reshape(-1, 3, 2)
    kits = [scene.wardrobe.kits[i] for i in chosen]
    return Labels(
        np.array(pictures, np.uint8).reshape(-1, *PORTRAIT, 3), placed[:, :2].reshape(-1, 4), placed[:, 2],
        np.asarray((facing[chosen] + np.pi) % (2 * np.pi) - np.pi, np.float32), marks.facing[chosen].astype(np.float32),
        np.asarray(box[chosen, 3] - box[chosen, 1], np.float32),
        np.array([_digits(scene, int(i)) for i in chosen], np.int8).reshape(-1, 2),
        np.array([_digits_seen(scene, int(i), marks.flat[i], float(marks.facing[i])) for i in chosen], np.float32).reshape(-1, 2),
        np.array([{"official": 1, "plain": 2}.get(scene.crowd.kit[i], 0) for i in chosen], np.int8),
        ~np.isin(np.array(scene.crowd.pose, np.int64)[chosen], LYING),
        np.array([(kit.jersey, kit.pants, kit.shell if kit.helmet else scene.wardrobe.skins[i])
                  for kit, i in zip(kits, chosen, strict=True)], np.uint8).reshape(-1, 3, 3),
        scene.visible[chosen].astype(np.float32))


def portrait(image: Image, points: Array) -> tuple[Image, Array]:
    """A picture of PORTRAIT size about the box between the first two of `points` (K, 2), and all of them in it (K, 2)."""
    height, width = PORTRAIT
    reduce = min(1.0, TALLEST_PX / max(points[1, 1] - points[0, 1], 1.25 * (points[1, 0] - points[0, 0]), 1.0))
    middle = points[:2].mean(axis=0)
    if reduce < 1.0:
        # Room for the blur's reach, so that the reduced picture has no edge of its own.
        reach = np.ceil(np.array([width, height]) / reduce / 2 + 2).astype(int)
        low = np.floor(middle).astype(int) - reach
        rows, columns = (np.clip(np.arange(low[a], low[a] + 2 * reach[a]), 0, image.shape[1 - a] - 1) for a in (1, 0))
        part = image[np.ix_(rows, columns)]
        image = cv2.resize(part, None, fx=reduce, fy=reduce, interpolation=cv2.INTER_AREA)
        grown = np.array([image.shape[1] / part.shape[1], image.shape[0] / part.shape[0]])
        points, middle = (points - low) * grown, (middle - low) * grown
    corner = np.round(middle - np.array([width, height]) / 2).astype(int)
    rows = np.clip(np.arange(corner[1], corner[1] + height), 0, image.shape[0] - 1)
    columns = np.clip(np.arange(corner[0], corner[0] + width), 0, image.shape[1] - 1)
    return np.asarray(image[np.ix_(rows, columns)], np.uint8), points - corner


def _digits(scene: Scene, i: int) -> tuple[int, int]:
    number = scene.wardrobe.numbers[i]
    if number is None or scene.wardrobe.kits[i].number is None:
        return -1, -1
    return number // 10 if number > 9 else 10, number % 10


def _digits_seen(scene: Scene, i: int, flat: Array, square: float) -> tuple[float, float]:
    """Shares of the tens and the units digit that show; 0 where the number is not drawn, 1 for the tens of a single digit."""
    tens, units = _digits(scene, i)
    if units < 0 or abs(square) < 0.25 or scene.box[i, 3] - scene.box[i, 1] < 18 or not scene.numerals[i]:
        return 0.0, 0.0
    basis = np.stack([flat[1] - flat[0], flat[2] - flat[0]]) / _REACH
    outline = np.concatenate(scene.numerals[i])
    low, high = outline.min(axis=0), outline.max(axis=0)
    u, v = np.meshgrid(np.linspace(0.02, 0.98, 10), np.linspace(0, 1, 6))
    at = np.round(flat[0] + (low + np.stack([u, v], axis=-1) * (high - low)) @ basis).astype(int)
    height, width = scene.ids.shape
    inside = (at[..., 0] >= 0) & (at[..., 0] < width) & (at[..., 1] >= 0) & (at[..., 1] < height)
    shows = inside & (scene.ids[at[..., 1].clip(0, height - 1), at[..., 0].clip(0, width - 1)] == i + 1)
    if tens == 10:
        return 1.0, float(shows.mean())
    return float(shows[:, :5].mean()), float(shows[:, 5:].mean())


def _label_frames(rng: np.random.Generator, least_px: float) -> list[Labels]:
    """The people of TAKES frames on one field."""
    size = SIZES[int(rng.choice(len(SIZES), p=SIZE_CHANCES))]
    small = drawn_size(rng, size)
    stage, found = set_stage(rng, small), []
    for _ in range(TAKES):
        varied = rng.random() < 0.6
        scene = film_people(rng, stage, partial(random_numerals, rng)) if varied else film_people(rng, stage)
        image = scene.image
        if small != size:
            image = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_CUBIC), np.uint8)
        found.append(label_scene(scene, image, size[0] / small[0], rng, least_px))
    return found


def _write_shard(shard: int, seed: int, out_dir: Path, least_px: float) -> int:
    """Write the portraits of FRAMES_PER_SHARD frames; returns how many they are."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, shard, 77])
    frames = [labels for _ in range(FRAMES_PER_SHARD // TAKES) for labels in _label_frames(rng, least_px)]
    columns: dict[str, Any] = {item.name: np.concatenate([getattr(one, item.name) for one in frames]) for item in fields(Labels)}
    part = "val" if shard % VALIDATION_EVERY == 0 else "train"
    unfinished = out_dir / f"unfinished-{seed}-{shard:06d}.tmp"
    with unfinished.open("wb") as file:
        np.savez(file, **columns)
    os.replace(unfinished, out_dir / f"{part}-{seed}-{shard:06d}.npz")
    return len(columns["box"])


def write_crops(seed: int, frames: int, out_dir: Path, workers: int = 1,
                progress: Callable[[int, int], None] | None = None, least_px: float = LEAST_TALL_PX) -> Path:
    """Write the portraits of about `frames` frames, of people `least_px` tall or more, as shards into `out_dir` and return it.

    The same seed gives the same portraits on any number of workers. A `progress` that raises Stop ends it early. Raises
    ValueError on a count below one.
    """
    if frames < 1:
        raise ValueError(f"training crops: {frames} frames; ask for at least one")
    out_dir.mkdir(parents=True, exist_ok=True)
    shards = -(-frames // FRAMES_PER_SHARD)
    work = partial(_write_shard, seed=seed, out_dir=out_dir, least_px=least_px)
    try:
        if workers <= 1:
            _report(map(work, range(shards)), shards, progress)
        else:
            with multiprocessing.get_context("spawn").Pool(workers) as pool:
                _report(pool.imap_unordered(work, range(shards)), shards, progress)
    except Stop:
        pass
    for unfinished in out_dir.glob("unfinished-*.tmp"):
        unfinished.unlink()
    return out_dir


def _report(results: Iterable[int], count: int, progress: Callable[[int, int], None] | None) -> None:
    for done, _ in enumerate(results, 1):
        if progress:
            progress(done, count)


def main() -> None:
    parser = argparse.ArgumentParser(description="Render labelled portraits for training facing, numbers and kit colours.")
    parser.add_argument("out_dir", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--frames", type=int, default=6000)
    parser.add_argument("--least-px", type=float, default=LEAST_TALL_PX, help="leave out smaller people")
    parser.add_argument("--workers", type=int, default=multiprocessing.cpu_count())
    given = parser.parse_args()
    print(write_crops(given.seed, given.frames, given.out_dir, given.workers, least_px=given.least_px))


if __name__ == "__main__":
    main()
