"""Who is who in one view: boxes joined into people, each with kit, facing and number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from homography import locate
from homography.field import WIDTH_YD
from homography.locate import viewing_rays
from homography.types import FieldTracks, FieldView
from vision.facing import Glances, facings, glances, whose
from vision.numbers import Number, read_numbers
from vision.outfits import Wardrobe, dress
from vision.sights import Sight
from vision.tracker import Shot, track_together
from vision.types import IntArray, Tracks


def link(shot: Shot, view: FieldView, sights: Sequence[Sight | None] = ()) -> tuple[Tracks, FieldTracks]:
    """Detections joined into tracks on the field where it is known, each with its kit and, on the field, its facing; in the
    picture and in yards."""
    found = track_together([shot])[0]
    located = locate(found, view)
    worn = Wardrobe(found, shot.detections, shot.appearance or (), sights)
    tracks, = dress([worn], on_field(located) if view.solved_share else None)
    return tracks, facing_on(replace(located, kit_id=kits_of(tracks, located)), glances_at(tracks, shot, sights, view))


def glances_at(tracks: Tracks, shot: Shot, sights: Sequence[Sight | None], view: FieldView) -> Glances:
    """Everybody's looks, the facing measured from where the camera of this view stands."""
    sights = sights or [None] * len(shot.detections)
    rays = [np.zeros(0) if sight is None else viewing_rays(view, boxes.frame_index, boxes.ground_px)
            for boxes, sight in zip(shot.detections, sights, strict=True)]
    return glances(whose(tracks, shot.detections), shot.detections, sights, rays)


def facing_on(located: FieldTracks, looks: Glances) -> FieldTracks:
    """The same with everybody's facing, where the looks tell."""
    facing, sigma = facings(looks, located.time_s, located.track_id)
    return replace(located, facing_rad=facing, facing_sigma_rad=sigma)


def numbers_of(views: Sequence[tuple[Tracks, Shot]], sights: Sequence[Sequence[Sight | None]]) -> dict[int, Number]:
    """Shirt numbers by track id, voted over all views of the same tracks."""
    looked = [whose(tracks, shot.detections) for tracks, shot in views]
    times = [np.array([boxes.time_s for boxes in shot.detections]) for _, shot in views]
    return read_numbers(looked, sights, times)


def kits_of(tracks: Tracks, located: FieldTracks) -> IntArray:
    """The kit of every row of `located`, from its track."""
    kit_of = dict(zip(tracks.track_id.tolist(), tracks.kit_id.tolist(), strict=True))
    return np.array([kit_of[i] for i in located.track_id.tolist()], dtype=np.int64)


def on_field(tracks: FieldTracks) -> IntArray:
    """Ids of those who are between the sidelines most of their time."""
    ids, row = np.unique(tracks.track_id, return_inverse=True)
    inside = (tracks.xy_yd[:, 1] > 0.0) & (tracks.xy_yd[:, 1] < WIDTH_YD)
    return ids[np.bincount(row, weights=inside, minlength=len(ids)) > 0.5 * np.bincount(row, minlength=len(ids))]
