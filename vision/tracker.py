"""Everybody in a clip followed from first to last sight, looking at the whole clip at once.

Sure pieces frame by frame, pieces joined over gaps by what came before and after, boxes that were nobody's given to the
tracks that pass there, futures exchanged between men who met, then every track smoothed and written out on every frame.
Positions are followed on the field's plane where the picture is registered, in the picture made still by the camera's motion
where it is not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision import kalman
from vision.boxes import jacobian, map_points
from vision.exchanges import exchange
from vision.gaps import fill_gaps
from vision.ground import Ground, build_ground, scale_at
from vision.joins import drop_doubles, join
from vision.observations import Observations, gather, observe
from vision.one_light import in_one_light
from vision.pieces import Track
from vision.silhouettes import smooth_sides
from vision.tracking_settings import TrackingSettings
from vision.tracklets import build_tracklets
from vision.types import NO_KIT, Detections, FloatArray, IntArray, Tracks

HALF_TICK_S = 1e-3
"""Two cameras' frames of one moment are told apart by less than this."""

STANDING_YD = np.array([-0.4, -1.8, 0.4, 0.1])
"""Left, top, right and lower side of a standing man's box, from the ground under him, in a picture that shows nobody."""


@dataclass(frozen=True)
class Shot:
    """One camera's film of a rep, as tracking takes it.

    `detections` of some or all frames in order of time, in pixels of a picture of `image_size_px` (width, height);
    `frame_index` (F,) and `time_s` (F,) of all frames of the clip; `appearance` one (N, A) array for every entry of `detections`.
    Row by row of `frame_index`: `plane_from_image` (F, 3, 3) to yards with `plane_sigma_yd` (F,), NaN where unregistered, and
    `image_motion` (F, 3, 3), the picture of the row before to this one's. Raises ValueError where these do not fit together.
    """

    detections: Sequence[Detections]
    image_size_px: tuple[int, int]
    frame_index: IntArray
    time_s: FloatArray
    appearance: Sequence[FloatArray] | None = None
    plane_from_image: FloatArray | None = None
    plane_sigma_yd: FloatArray | None = None
    image_motion: FloatArray | None = None

    def __post_init__(self) -> None:
        _check(self.detections, self.frame_index, self.time_s, self.plane_from_image, self.plane_sigma_yd, self.image_motion)

    def moved(self, later_s: float, plane_from_own: FloatArray) -> Shot:
        """The same film on another clock and, by a 3x3 `plane_from_own`, on another plane."""
        plane = None if self.plane_from_image is None else plane_from_own @ self.plane_from_image
        return replace(self, detections=[replace(d, time_s=d.time_s + later_s) for d in self.detections],
                       time_s=self.time_s + later_s, plane_from_image=plane)

    def ground(self) -> Ground:
        """Where its people are followed."""
        heights = np.concatenate([d.xyxy[:, 3] - d.xyxy[:, 1] for d in self.detections])
        feet = np.concatenate([d.ground_px for d in self.detections])
        tall_px, amid_px = (float(np.median(heights)), np.median(feet, axis=0)) if len(heights) else (1.0, np.zeros(2))
        return build_ground(self.plane_from_image, self.plane_sigma_yd, self.image_motion, len(self.frame_index), tall_px,
                            amid_px)


def track(detections: Sequence[Detections], image_size_px: tuple[int, int], frame_index: IntArray | None = None,
          time_s: FloatArray | None = None, appearance: Sequence[FloatArray] | None = None,
          plane_from_image: FloatArray | None = None, plane_sigma_yd: FloatArray | None = None,
          image_motion: FloatArray | None = None, settings: TrackingSettings | None = None) -> Tracks:
    """Follow everybody through one clip; the arguments are those of `Shot`, `frame_index` and `time_s` by default those of the
    detections. `kit_id` is left at NO_KIT. Raises ValueError where they do not fit together."""
    if frame_index is None or time_s is None:
        frame_index = np.array([d.frame_index for d in detections], dtype=np.int64)
        time_s = np.array([d.time_s for d in detections], dtype=np.float64)
    return track_together([Shot(detections, image_size_px, frame_index, time_s, appearance, plane_from_image, plane_sigma_yd,
                                image_motion)], settings)[0]


def track_together(shots: Sequence[Shot], settings: TrackingSettings | None = None) -> list[Tracks]:
    """Follow everybody through all views of a rep at once: the tracks of each view, the same id for the same man.

    The shots of several cameras want one clock and one plane. Every camera's boxes pull at the same men, each as far as it can
    tell; who is hidden from one is held by the other.
    """
    settings = settings or TrackingSettings()
    if not any(len(d) for shot in shots for d in shot.detections):
        return [_nobody() for _ in shots]
    grounds = [shot.ground() for shot in shots]
    views = [observe(shot.detections, shot.appearance, ground,
                     dict(zip(shot.frame_index.tolist(), range(len(shot.time_s)), strict=True)), shot.image_size_px, settings)
             for shot, ground in zip(shots, grounds, strict=True)]
    obs = gather(in_one_light(views))
    if len(shots) > 1:
        off = np.eye(2) * settings.other_view_sigma_yd**2
        obs = replace(obs, covariance=obs.covariance + off, box_covariance=obs.box_covariance + off)
    people = find_people(obs, settings)
    return write_out(obs, people, shots, grounds, settings)


def find_people(obs: Observations, settings: TrackingSettings) -> list[Track]:
    """The boxes of every person, in order of time."""
    # Once is enough only where there is but one picture.
    pieces = [piece for piece in build_tracklets(obs, settings) if len(piece) > 1 or len(obs.time_s) == 1]
    pieces = drop_doubles(obs, pieces, settings)
    people = join(obs, pieces, settings)
    people = drop_doubles(obs, people, settings)
    people = exchange(obs, fill_gaps(obs, people, settings), settings)
    return [boxes for boxes in people if _is_person(obs, boxes, settings)]


def _is_person(obs: Observations, boxes: Track, settings: TrackingSettings) -> bool:
    first, last = int(obs.frame[boxes[0]]), int(obs.frame[boxes[-1]])
    life_s, clip_s = obs.time_s[[last, -1]] - obs.time_s[[first, 0]]
    return bool(len(boxes) >= min(settings.min_boxes, len(obs.time_s)) and life_s >= min(settings.min_life_s, clip_s)
                and len(boxes) >= settings.min_seen_share * (last - first + 1))


def write_out(obs: Observations, people: Sequence[Track], shots: Sequence[Shot], grounds: Sequence[Ground],
              settings: TrackingSettings) -> list[Tracks]:
    """Smooth feet over all frames of all views, sizes over each view's own, and put the boxes back into the pictures."""
    if not people:
        return [_nobody() for _ in shots]
    time_s = np.unique(np.concatenate([obs.time_s, *(shot.time_s for shot in shots)]))
    foot, foot_spread = _smooth_feet(obs, people, np.searchsorted(time_s, obs.time_s), time_s, settings)
    return [_write_shot(obs, people, view, shot, ground, foot[:, rows], foot_spread[:, rows], settings)
            for view, (shot, ground) in enumerate(zip(shots, grounds, strict=True))
            for rows in [np.searchsorted(time_s, shot.time_s)]]


def _write_shot(obs: Observations, people: Sequence[Track], view: int, shot: Shot, ground: Ground, foot: FloatArray,
                foot_spread: FloatArray, settings: TrackingSettings) -> Tracks:
    """One view's tracks from everybody's feet (N, F, 2) with their covariance (N, F, 2, 2) on its frames."""
    n, f = len(people), len(shot.time_s)
    row = np.searchsorted(shot.frame_index, obs.frame_index)
    own = [boxes[obs.view[obs.frame[boxes]] == view] for boxes in people]
    seen, confidence = np.zeros((n, f), dtype=np.bool_), np.zeros((n, f))
    alive = np.zeros((n, f), dtype=np.bool_)
    for person, (boxes, mine) in enumerate(zip(people, own, strict=True)):
        first_s, last_s = obs.time_s[obs.frame[boxes[[0, -1]]]]
        alive[person] = (shot.time_s >= first_s - HALF_TICK_S) & (shot.time_s <= last_s + HALF_TICK_S)
        rows = row[obs.frame[mine]]
        seen[person, rows] = True
        if len(mine):
            confidence[person] = np.where(alive[person], np.interp(np.arange(f), rows, obs.confidence[mine]), 0.0)
    who, when = np.nonzero(alive & np.isfinite(foot[:, :, 0]))
    image_from_ground = np.linalg.inv(ground.ground_from_image)[when]
    slope = jacobian(image_from_ground, foot[who, when])
    foot_sigma_px = _sigma_px(foot_spread[who, when], slope, settings)
    stands, scale = np.full((n, f, 2), np.nan), np.full((n, f), np.nan)
    stands[who, when] = map_points(image_from_ground, foot[who, when])
    scale[who, when] = scale_at(ground.ground_from_image[when], stands[who, when])
    sides = _smooth_boxes(obs, own, row, stands, scale, shot.time_s, settings)[who, when] * scale[who, when, None]
    ground_px = stands[who, when]
    xyxy = np.tile(ground_px, 2) + sides
    # Somebody whose middle is out of the picture is unknown, not invented.
    middle = (xyxy[:, 0] + xyxy[:, 2]) / 2
    inside = ((middle > 0) & (middle < shot.image_size_px[0]) & (xyxy[:, 3] > 0) & (xyxy[:, 1] < shot.image_size_px[1])
              ) | seen[who, when]
    order = np.lexsort((who, when))
    order = order[inside[order]]
    who, when = who[order], when[order]
    return Tracks(
        frame_index=shot.frame_index[when].astype(np.int64), time_s=shot.time_s[when], track_id=who + 1, xyxy=xyxy[order],
        observed=seen[who, when], kit_id=np.full(len(who), NO_KIT, dtype=np.int64), confidence=confidence[who, when],
        foot_sigma_px=foot_sigma_px[order], ground_px=ground_px[order],
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


def _smooth_boxes(obs: Observations, people: Sequence[Track], row: IntArray, stands: FloatArray, scale: FloatArray,
                  time_s: FloatArray, settings: TrackingSettings) -> FloatArray:
    """Sides (N, F, 4) of the boxes from where the men stand (N, F, 2) px, in units of the picture's `scale` (N, F) there. Who
    has no box here is as large as people are."""
    n, f = scale.shape
    sides, sigma = np.full((n, f, 4), np.nan), np.full((n, f, 4), np.nan)
    for person, boxes in enumerate(people):
        rows = row[obs.frame[boxes]]
        sides[person, rows] = (obs.xyxy[boxes] - np.tile(stands[person, rows], 2)) / scale[person, rows, None]
        sigma[person, rows] = obs.side_sigma_px[boxes] / scale[person, rows, None]
    known = sides[np.isfinite(sides[..., 0])]
    usual = np.median(known, axis=0) if len(known) else STANDING_YD
    smooth = smooth_sides(time_s, sides, sigma, settings)
    # Before the first box here he is as large as there.
    for person, boxes in enumerate(people):
        if len(boxes):
            first = int(row[obs.frame[boxes[0]]])
            smooth[person, :first] = smooth[person, first]
    return np.where(np.isfinite(smooth), smooth, usual)


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
