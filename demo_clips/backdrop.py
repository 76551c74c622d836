"""Paints what stands still, for a camera or a panorama: turf with its coats and wear, the ground about it, the scenery behind."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from demo_clips.camera import Camera
from demo_clips.light import Light
from demo_clips.panorama import Panorama, ray_grid
from demo_clips.scenery import Scenery, sky
from demo_clips.turf import Field, box
from homography.field import LENGTH_YD, WIDTH_YD

Array = npt.NDArray[Any]
Image = npt.NDArray[Any]
View = Camera | Panorama
_TILE = 512
_NEAR_YD = 1.0


@lru_cache(maxsize=4)
def _noise_tiles(seed: int) -> tuple[Array, Array]:
    """A smooth and a fine periodic noise tile (512 x 512 float32), mean 0, deviation about 1."""
    rng = np.random.default_rng(seed)
    fine = rng.normal(0, 1, (_TILE, _TILE)).astype(np.float32)
    smooth = np.zeros((_TILE, _TILE), np.float32)
    for cells, weight in ((8, 1.0), (24, 0.6), (64, 0.35)):
        coarse = np.pad(rng.normal(0, 1, (cells, cells)).astype(np.float32), 2, mode="wrap")
        pixels = _TILE // cells * (cells + 4)
        big = cv2.resize(coarse, (pixels, pixels), interpolation=cv2.INTER_CUBIC)
        edge = 2 * (_TILE // cells)
        part = big[edge : edge + _TILE, edge : edge + _TILE]
        smooth += weight * cv2.resize(part, (_TILE, _TILE))
    return smooth / smooth.std(), fine


def _sample(tile: Array, x: Array, y: Array, scale: float, offset: float) -> Array:
    """The periodic tile at `scale` pixels a yard."""
    u = x * np.float32(scale / _TILE) + np.float32(offset % 1.0)
    v = y * np.float32(scale / _TILE) + np.float32(offset * 0.7 % 1.0)
    u -= np.floor(u)
    v -= np.floor(v)
    return cv2.remap(tile, u * np.float32(_TILE), v * np.float32(_TILE), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)


def _dense(polygons: list[Array], step: float = 3.0) -> list[Array]:
    """The polygons with their long edges cut, so that straight lines may bend in the lens."""
    joined = np.concatenate(polygons)
    counts = np.array([len(p) for p in polygons])
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    following = np.arange(len(joined)) + 1
    following[starts + counts - 1] = starts
    edges = joined[following] - joined
    longest = np.maximum.reduceat((edges**2).sum(1), starts) > step**2
    dense = list(polygons)
    for i in np.flatnonzero(longest):
        part = slice(starts[i], starts[i] + counts[i])
        dense[i] = np.concatenate(
            [
                p + np.linspace(0, 1, max(1, int(np.hypot(*e[:2]) // step)) + 1)[:-1, None] * e
                for p, e in zip(joined[part], edges[part], strict=True)
            ]
        )
    return dense


def clip_near(points: Array, depth: Array) -> Array:
    """Cut a polygon (n, 3) where its vertices' depths fall under the near plane; empty if all do."""
    kept = []
    for i in range(len(points)):
        j = (i + 1) % len(points)
        if depth[i] >= _NEAR_YD:
            kept.append(points[i])
        if (depth[i] >= _NEAR_YD) != (depth[j] >= _NEAR_YD):
            share = (_NEAR_YD - depth[i]) / (depth[j] - depth[i])
            kept.append(points[i] + share * (points[j] - points[i]))
    return np.array(kept).reshape(-1, points.shape[1])


def project_polygons(view: View, polygons: list[Array], field: Field | None = None) -> list[Array]:
    """Pictures (n, 2) px of polygons in yards, (n, 2) on the ground (on its turf, with a `field`) or (n, 3); what is behind the
    camera is cut off."""
    if not polygons:
        return []
    dense = _dense(polygons)
    joined = np.concatenate(dense)
    if joined.shape[1] == 2:
        joined = np.column_stack([joined, np.zeros(len(joined)) if field is None else field.height(joined[:, 1])])
    counts = [len(p) for p in dense]
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    flat, depth = view.project(joined)
    near = np.minimum.reduceat(depth, starts)
    low, high = np.minimum.reduceat(flat, starts), np.maximum.reduceat(flat, starts)
    shapes = []
    width, height = view.size_px
    seen = (near < _NEAR_YD) | ((high > 0).all(1) & (low < (width, height)).all(1))
    for i in np.flatnonzero(seen):
        part = slice(starts[i], starts[i] + counts[i])
        if near[i] >= _NEAR_YD:
            shapes.append(flat[part])
            continue
        points = clip_near(joined[part], depth[part])
        if len(points) >= 3:
            shapes.append(view.project(points)[0])
    return shapes


def coverage(view: View, shapes: list[Array], fine: int) -> tuple[Image, slice, slice] | None:
    """Share of each pixel (uint8) that the shapes cover, on the part of the picture that they touch."""
    if not shapes:
        return None
    width, height = view.size_px
    joined = np.concatenate(shapes)
    low = np.maximum(np.floor(joined.min(0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(joined.max(0)).astype(int) + 1, (width, height))
    if (high <= low).any():
        return None
    size = high - low
    canvas = np.zeros((size[1] * fine, size[0] * fine), np.uint8)
    for shape in shapes:
        cv2.fillPoly(canvas, [np.round(((shape - low) * fine - 0.5).clip(-30000, 30000)).astype(np.int32)], 255)
    small = canvas if fine == 1 else cv2.resize(canvas, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA)
    return small, slice(low[1], high[1]), slice(low[0], high[0])


def _turf_tone(field: Field, x: Array, y: Array, distance: Array, focal: float) -> tuple[Array, Array]:
    """Brightness factor of the turf and the smooth noise that wear follows, per pixel."""
    smooth, fine = _noise_tiles(field.seed % 4)
    blotches = _sample(smooth, x, y, 5.0, field.seed % 997)
    per_yd = float(np.clip(focal / max(float(np.median(distance)), 1.0), 4.0, 60.0))
    grain = _sample(fine, x, y, per_yd * 0.8, field.seed % 613)
    tone = 1.0 + field.blotch * blotches + field.grain * grain * np.clip(focal / distance / per_yd, 0.3, 1.3)
    if field.mow_yd:
        along = x if field.mow_across else y
        tone += field.mow_strength * np.clip(np.sin(along * (np.pi / field.mow_yd)) * 6, -1, 1)
    return tone.astype(np.float32), blotches


def paint(view: View, field: Field, scenery: Scenery, light: Light, fine: int = 3) -> Image:
    """The backdrop as the view sees it, (H, W, 3) uint8 BGR."""
    rays = ray_grid(view) if isinstance(view, Camera) else view.grid()
    reach = np.minimum(np.float32(view.centre_yd[2]) / np.maximum(-rays[..., 2], np.float32(1e-3)), np.float32(2000.0))
    x, y = (rays[..., i] * reach + np.float32(view.centre_yd[i]) for i in (0, 1))
    length = np.sqrt(np.einsum("ijk,ijk->ij", rays, rays))
    distance = np.maximum(reach * length, 1.0).astype(np.float32)
    tone, blotches = _turf_tone(field, x, y, distance, view.focal_px)
    picture = np.empty((*x.shape, 3), np.float32)
    picture[:] = np.array(field.surround_bgr, np.float32) * 255
    a = field.apron_yd
    _blend(
        picture,
        coverage(view, project_polygons(view, [box(-a - 2, -a, LENGTH_YD + a + 2, WIDTH_YD + a)]), 2),
        np.array(field.turf_bgr) * 255,
        1.0,
    )
    if field.mud:
        middle = np.exp(-(((y - WIDTH_YD / 2) / 11.0) ** 2) - ((x - 60) / 45.0) ** 4).astype(np.float32)
        amount = np.clip(blotches * 0.45 + middle * 1.3 - 0.9, 0, 1) * field.mud
        picture += amount[..., None] * (np.array(field.mud_bgr, np.float32) * 255 - picture)
    for coat in field.coats:
        eaten = 1.0 - field.wear * coat.worn * np.clip(0.35 + 0.5 * blotches, 0, 1)
        _blend(
            picture,
            coverage(view, project_polygons(view, coat.polygons, field), fine),
            np.array(coat.colour, np.float32),
            coat.opacity,
            eaten,
        )
    if light.wet:
        shine = np.clip(1.2 - np.abs(rays[..., 2]) / length * 3, 0, 1) * light.wet * np.clip(0.5 + 0.4 * blotches, 0, 1)
        picture += (shine * 70)[..., None]
    picture *= tone[..., None]
    if light.weather == "snow":
        cover = np.clip(0.35 + 0.35 * blotches, 0, 0.85)[..., None].astype(np.float32)
        picture += cover * (235 - picture)
    _shade(picture, view, scenery, light)
    fog = (1 - np.exp(-distance * (light.haze / 100.0)))[..., None]
    picture += fog * (np.array(light.haze_bgr, np.float32) * 255 - picture)
    above = rays[..., 2] > -2e-3
    if above.any():
        picture[above] = sky(rays[above], light)
    for layer in scenery.standing(view.centre_yd):
        found = coverage(view, project_polygons(view, layer.polygons), 2)
        if found is not None:
            noise = _screen_noise(found[0].shape, layer.seed, layer.noise_px)
            _blend(
                picture,
                found,
                np.array(layer.colour, np.float32) * light.ambient * 1.2,
                layer.opacity,
                1.0 + layer.rough * noise,
                modulate=True,
            )
    return np.asarray(np.clip(picture * np.array(light.tint_bgr, np.float32), 0, 255).astype(np.uint8))


def _screen_noise(shape: tuple[int, ...], seed: int, size_px: float) -> Array:
    """Noise that sticks to the picture, for foliage and crowds."""
    rng = np.random.default_rng(seed)
    coarse = rng.normal(0, 1, (int(shape[0] / size_px) + 2, int(shape[1] / size_px) + 2)).astype(np.float32)
    return cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)


def _shade(picture: Array, view: View, scenery: Scenery, light: Light) -> None:
    """The shadows of what stands still: stands, lift, posts; each lamp takes its share away."""
    for lamp, strength in light.lamps:
        polygons = scenery.cast(lamp)
        found = coverage(view, project_polygons(view, polygons), 2)
        if found is not None:
            mask, rows, columns = found
            picture[rows, columns] *= (1 - strength * mask.astype(np.float32) / 255)[..., None]


def _blend(
    picture: Array,
    found: tuple[Image, slice, slice] | None,
    colour: Array,
    opacity: float,
    factor: Array | float = 1.0,
    modulate: bool = False,
) -> None:
    """Lay `colour` over the picture where covered; `factor` scales the opacity, or with `modulate` the colour."""
    if found is None:
        return
    mask, rows, columns = found
    alpha = mask.astype(np.float32) * np.float32(opacity / 255)
    part = picture[rows, columns]
    local = factor[rows, columns] if isinstance(factor, np.ndarray) and not modulate else factor
    goal: Array = np.asarray(colour, np.float32)
    if modulate:
        goal = goal * (local[..., None] if isinstance(local, np.ndarray) else local)
    else:
        alpha = alpha * local
    part += alpha[..., None].astype(np.float32) * (goal - part)
