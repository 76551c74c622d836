"""Everybody in a clip followed from first to last sight, looking at the whole clip at once.

Sure pieces frame by frame, pieces joined over gaps by what came before and after, boxes that were nobody's given to the
tracks that pass there, futures exchanged between men who met, then every track smoothed and written out on every frame.
Positions are followed on the field's plane where the picture is registered, in the picture made still by the camera's motion
where it is not.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision import kalman
from vision.boxes import jacobian, map_points
from vision.exchanges import exchange
from vision.gaps import fill_gaps
from vision.ground import Ground, build_ground, place
from vision.joins import drop_doubles, join
from vision.observations import Observations, observe
from vision.pieces import Track
from vision.tracking_settings import TrackingSettings
from vision.tracklets import build_tracklets
from vision.types import NO_KIT, Detections, FloatArray, IntArray, Tracks


def track(detections: Sequence[Detections], image_size_px: tuple[int, int], frame_index: IntArray | None = None,
          time_s: FloatArray | None = None, appearance: Sequence[FloatArray] | None = None,
          plane_from_image: FloatArray | None = None, plane_sigma_yd: FloatArray | None = None,
          image_motion: FloatArray | None = None, settings: TrackingSettings | None = None) -> Tracks:
    """Follow everybody through a clip.

    `detections` of some or all frames in order of time, in pixels of a picture of `image_size_px` (width, height);
    `frame_index` (F,) and `time_s` (F,) of all frames of the clip, by default those of the detections; `appearance` one
    (N, A) array for every entry of `detections`. Row by row of `frame_index`: `plane_from_image` (F, 3, 3) to yards with
    `plane_sigma_yd` (F,), NaN where unregistered, and `image_motion` (F, 3, 3), the picture of the row before to this one's.
    `kit_id` is left at NO_KIT. Raises ValueError where these do not fit together.
    """
    settings = settings or TrackingSettings()
    if frame_index is None or time_s is None:
        frame_index = np.array([d.frame_index for d in detections], dtype=np.int64)
        time_s = np.array([d.time_s for d in detections], dtype=np.float64)
    _check(detections, frame_index, time_s, plane_from_image, plane_sigma_yd, image_motion)
    row_of_frame = {int(index): row for row, index in enumerate(frame_index)}
    heights = np.concatenate([d.xyxy[:, 3] - d.xyxy[:, 1] for d in detections]) if detections else np.zeros(0)
    if not len(heights):
        return _nobody()
    ground = build_ground(plane_from_image, plane_sigma_yd, image_motion, len(frame_index), float(np.median(heights)))
    obs = observe(detections, appearance, ground, row_of_frame, settings)
    people = find_people(obs, image_size_px, settings)
    return write_out(obs, people, ground, frame_index, time_s, image_size_px, settings)


def find_people(obs: Observations, image_size_px: tuple[int, int], settings: TrackingSettings) -> list[Track]:
    """The boxes of every person, in order of time."""
    # Once is enough only where there is but one picture.
    pieces = [piece for piece in build_tracklets(obs, settings) if len(piece) > 1 or len(obs.time_s) == 1]
    pieces = drop_doubles(obs, pieces, settings)
    people = join(obs, pieces, image_size_px, settings)
    people = drop_doubles(obs, people, settings)
    people = exchange(obs, fill_gaps(obs, people, settings), settings)
    return [boxes for boxes in people if _is_person(obs, boxes, settings)]


def _is_person(obs: Observations, boxes: Track, settings: TrackingSettings) -> bool:
    first, last = int(obs.frame[boxes[0]]), int(obs.frame[boxes[-1]])
    life_s, clip_s = obs.time_s[[last, -1]] - obs.time_s[[first, 0]]
    return bool(len(boxes) >= min(settings.min_boxes, len(obs.time_s)) and life_s >= min(settings.min_life_s, clip_s)
                and len(boxes) >= settings.min_seen_share * (last - first + 1))


def write_out(obs: Observations, people: Sequence[Track], ground: Ground, frame_index: IntArray, time_s: FloatArray,
              image_size_px: tuple[int, int], settings: TrackingSettings) -> Tracks:
    """Smooth feet and sizes over all frames of the clip and put the boxes back into the picture."""
    if not people:
        return _nobody()
    n, f = len(people), len(frame_index)
    row = np.searchsorted(frame_index, obs.frame_index)
    foot, foot_spread = _smooth_feet(obs, people, row, time_s, settings)
    size = _smooth_sizes(obs, people, row, time_s, settings)
    seen, confidence = np.zeros((n, f), dtype=np.bool_), np.zeros((n, f))
    alive = np.zeros((n, f), dtype=np.bool_)
    for person, boxes in enumerate(people):
        rows = row[obs.frame[boxes]]
        seen[person, rows], confidence[person, rows] = True, obs.confidence[boxes]
        alive[person, rows[0]:rows[-1] + 1] = True
        confidence[person] = np.where(alive[person], np.interp(np.arange(f), rows, obs.confidence[boxes]), 0.0)
    who, when = np.nonzero(alive)
    image_from_ground = np.linalg.inv(ground.ground_from_image)[when]
    feet_px = map_points(image_from_ground, foot[who, when])
    slope = jacobian(image_from_ground, foot[who, when])
    foot_sigma_px = _sigma_px(foot_spread[who, when], slope, settings)
    _, _, scale = place(ground.ground_from_image[when], feet_px, np.zeros((len(when), 2, 2)))
    width, height = (np.exp(size[who, when]) * scale[:, None]).T
    xyxy = np.stack([feet_px[:, 0] - width / 2, feet_px[:, 1] - height, feet_px[:, 0] + width / 2, feet_px[:, 1]], axis=1)
    # Somebody whose middle is out of the picture is unknown, not invented.
    inside = ((feet_px[:, 0] > 0) & (feet_px[:, 0] < image_size_px[0]) & (feet_px[:, 1] > 0)
              & (feet_px[:, 1] - height < image_size_px[1])) | seen[who, when]
    order = np.lexsort((who, when))
    order = order[inside[order]]
    who, when = who[order], when[order]
    return Tracks(
        frame_index=frame_index[when].astype(np.int64), time_s=time_s[when], track_id=who + 1, xyxy=xyxy[order],
        observed=seen[who, when], kit_id=np.full(len(who), NO_KIT, dtype=np.int64), confidence=confidence[who, when],
        foot_sigma_px=foot_sigma_px[order],
    )


def _sigma_px(foot_spread: FloatArray, slope: FloatArray, settings: TrackingSettings) -> FloatArray:
    """(M,) px that, taken alike in all directions, make on the ground the sigma of feet with covariance (M, 2, 2) yd2, where
    the picture's points move by `slope` (M, 2, 2) px a yard."""
    variance = settings.alike_boxes * np.trace(foot_spread, axis1=1, axis2=2) / 2 + settings.body_sigma_yd**2
    gain = (np.linalg.inv(slope) ** 2).sum(axis=(1, 2)) / 2
    sigma: FloatArray = np.sqrt(variance / gain)
    return sigma


def _smooth_feet(obs: Observations, people: Sequence[Track], row: IntArray, time_s: FloatArray,
                 settings: TrackingSettings) -> tuple[FloatArray, FloatArray]:
    """Feet (N, F, 2) on the ground and their covariance (N, F, 2, 2)."""
    n, f = len(people), len(time_s)
    position, covariance = np.full((n, f, 2), np.nan), np.tile(np.eye(2), (n, f, 1, 1))
    for person, boxes in enumerate(people):
        rows = row[obs.frame[boxes]]
        position[person, rows] = obs.position[boxes]
        covariance[person, rows] = obs.box_covariance[boxes] * settings.smoothing_trust
    density = np.full((n, f), settings.max_density)
    best = kalman.smooth(kalman.Sightings(time_s, position, covariance, density), settings.motion)
    return best.position, best.position_covariance


def _smooth_sizes(obs: Observations, people: Sequence[Track], row: IntArray, time_s: FloatArray,
                  settings: TrackingSettings) -> FloatArray:
    """Logarithm of width and height (N, F, 2) in units of the picture's scale at the feet."""
    n, f = len(people), len(time_s)
    position, covariance = np.full((n, f, 2), np.nan), np.tile(np.eye(2), (n, f, 1, 1))
    scale = (obs.xyxy[:, 3] - obs.xyxy[:, 1]) / obs.height_yd
    size = np.log(np.maximum(obs.xyxy[:, 2:] - obs.xyxy[:, :2], 1.0) / scale[:, None])
    for person, boxes in enumerate(people):
        rows = row[obs.frame[boxes]]
        position[person, rows] = size[boxes]
        sigma = settings.box_size_sigma + settings.doubtful_size_sigma * (1 - obs.confidence[boxes]) ** 2
        covariance[person, rows] = np.eye(2) * (sigma**2)[:, None, None]
    density = np.full((n, f), settings.size_density)
    best = kalman.smooth(kalman.Sightings(time_s, position, covariance, density), kalman.MotionModel(1.0, settings.outlier))
    return best.position


def _check(detections: Sequence[Detections], frame_index: IntArray, time_s: FloatArray, *matrices: FloatArray | None) -> None:
    f = len(frame_index)
    if len(time_s) != f or (f > 1 and not (np.diff(time_s) > 0).all()) or (f > 1 and not (np.diff(frame_index) > 0).all()):
        raise ValueError("track: frame_index and time_s want one strictly growing entry for every frame of the clip")
    for given in matrices:
        if given is not None and len(given) != f:
            raise ValueError(f"track: {len(given)} matrices or sigmas for {f} frames")
    indices = np.array([d.frame_index for d in detections], dtype=np.int64)
    if len(indices) > 1 and not (np.diff(indices) > 0).all():
        raise ValueError("track: detections want to be in order of time, one entry a frame")
    if not np.isin(indices, frame_index).all():
        raise ValueError("track: detections of a frame that is not among frame_index")


def _nobody() -> Tracks:
    none, no = np.zeros(0), np.zeros(0, dtype=np.int64)
    return Tracks(no, none, no, np.zeros((0, 4)), np.zeros(0, dtype=np.bool_), no, none, none)
