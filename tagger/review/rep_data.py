"""What the page gets of one rep: the reading in force with its reasons and log, and the moving things of each view."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from homography.camera import ideal_from_field
from homography.field import LEVELS
from homography.types import LOST, STATUS_NAMES, FieldTracks, FieldView
from tagger.cutups.zones import Placement, zone_polygon
from tagger.football.vocabulary import AREAS, ASSIGNMENTS
from tagger.library.effective import standing
from tagger.library.reading_json import family_of, likeliest, reading_to_json, situation_to_json
from tagger.library.records import ClipArrays, Correction, StoredClip, StoredRep
from tagger.library.store import RosterEntry
from tagger.review.both_views import alignment_of, completed, other_view, same_men, shown
from tagger.review.clicked_film import on_field_of
from tagger.review.other_view import same_tracks
from tagger.review.placement import placement_of
from tagger.review.registration_fix import anchors_from, corrected_view
from tagger.review.track_fixes import fixes_from, followed_together, refit, track_of
from vision.types import Tracks

DEEPEST_ZONE_YD = 60.0


def version_of(rep: StoredRep) -> int:
    """What a coach's page says it has seen: the newest row of the rep's log."""
    return max((correction.correction_id for correction in rep.corrections), default=0)


def rep_data(rep: StoredRep, stale: bool, roster: Iterable[RosterEntry] = ()) -> dict[str, Any]:
    """The rep without its tracks. `stale`: a coach's word has not yet been read into the other tags."""
    main = rep.main_clip
    return {
        "rep_id": rep.summary.rep_id,
        "name": rep.summary.name,
        "version": version_of(rep),
        "stale": stale,
        "review_state": rep.summary.review_state,
        "situation": situation_to_json(rep.situation),
        "reading": reading_to_json(rep.reading),
        "verdicts": list(rep.verdicts),
        "numbers": dict(rep.numbers),
        "roster": [asdict(entry) for entry in roster],
        "by_coach": sorted(rep.by_coach),
        "automatic": {
            "family": family_of(rep.automatic)[0],
            "family_confidence": family_of(rep.automatic)[1],
            "shell": (likeliest(rep.automatic.shell) or (None,))[0],
            "snap_s": rep.automatic.snap_s,
            "set_name": rep.automatic.formation.set_name if rep.automatic.formation else None,
        },
        "corrections": log_data(rep.corrections),
        "read_together": read_together(rep),
        "clips": [_clip_data(clip, main, rep) for clip in rep.clips],
    }


def log_data(log: tuple[Correction, ...]) -> list[dict[str, Any]]:
    """The log for the page; `standing` False where a row was taken back or takes another back."""
    held = {correction.correction_id for correction in standing(log)}
    return [{**asdict(correction), "standing": correction.correction_id in held} for correction in log]


def _clip_data(clip: StoredClip, main: StoredClip, rep: StoredRep) -> dict[str, Any]:
    return {
        "clip_id": clip.clip_id,
        "view": clip.view,
        "mark": clip.fingerprint,
        "is_main": clip.is_main,
        "film": f"/film/{clip.clip_id}",
        "size_px": [clip.width_px, clip.height_px],
        "minus_main_s": clock_offset_s(clip, main, rep),
        "solved_share": round(clip.solved_share, 3),
        "lost_reason": clip.lost_reason,
        "yard_line_known": clip.yard_line_known,
        "duration_s": clip.duration_s,
    }


def clock_offset_s(clip: StoredClip, main: StoredClip, rep: StoredRep) -> float:
    """What to add to the main clip's clock for this clip's. Views that were laid on each other know it, whatever the snap; else
    both saw one snap. 0 where either snap is unknown."""
    told = [c.after for c in standing(rep.corrections) if c.subject == f"clip:{clip.fingerprint}" and c.field == "snap_s"]
    own, main_snap_s = told[-1] if told else clip.snap_s, rep.reading.snap_s
    how = alignment_of(rep)
    if not told and how is not None and not clip.is_main:
        return round(-how.offset_s, 4)
    if not told and followed_together(clip, main):
        main_snap_s = main.snap_s
    if clip.is_main or own is None or main_snap_s is None:
        return 0.0
    return round(float(own) - main_snap_s, 4)


def read_together(rep: StoredRep) -> bool:
    """True if the rep's reading stands on more than one view."""
    others = [clip for clip in rep.clips if not clip.is_main]
    return bool(others) and (rep.laid is not None or all(followed_together(clip, rep.main_clip) for clip in others))


def fixed_arrays(rep: StoredRep, clip: StoredClip, arrays: ClipArrays) -> ClipArrays:
    """A clip's arrays with the coach's swaps, joins and dragged field applied; fields from named marks are in them already."""
    drags = [anchor for anchor in anchors_from(standing(rep.corrections), clip.fingerprint) if "mark" not in anchor]
    if drags:
        arrays = on_field_of(corrected_view(arrays.field_view, drags), arrays)
    fixes = fixes_from(rep, clip)
    return replace(arrays, tracks=refit(arrays.tracks, fixes), field_tracks=refit(arrays.field_tracks, fixes))


def sides_of(rep: StoredRep, clip: StoredClip) -> dict[int, str]:
    """Track -> "offense", "defense" or "other"."""
    defenders = {d.player_id for d in rep.reading.defenders}
    sides = {track: "defense" if player in defenders else "offense" for player, track in clip.track_of_player.items()}
    for correction in standing(rep.corrections):
        if correction.subject.startswith("player:") and correction.field == "side":
            track = track_of(clip, correction.subject.removeprefix("player:"))
            if track is not None:
                sides[track] = str(correction.after)
    return sides


def in_force(rep: StoredRep, arrays: Mapping[int, ClipArrays]) -> dict[int, ClipArrays]:
    """Every clip's arrays (by clip id) on the coach's word, the main view with whom only the other shows where `rep.laid`."""
    fixed = {clip.clip_id: fixed_arrays(rep, clip, arrays[clip.clip_id]) for clip in rep.clips}
    main, other, how = rep.main_clip, other_view(rep), alignment_of(rep)
    if how is not None and other is not None:
        fixed[main.clip_id] = completed(fixed[main.clip_id], fixed[other.clip_id], how, followed_together(other, main))
    return fixed


def moving_data(rep: StoredRep, clip: StoredClip, arrays: Mapping[int, ClipArrays]) -> dict[str, Any]:
    """A view's frames, people and zones; `arrays` of every clip, by its id. Lists run over `time_s`'s frames; a person's over
    `first` and on, null in gaps. In another view than the main one people carry the names that the main view gave them; `own` is
    the name under which a correction of this view's tracks knows them."""
    together = in_force(rep, arrays)
    fixed, main_fixed = together[clip.clip_id], together[rep.main_clip.clip_id]
    names, sides = who_is_who(rep, main_fixed)
    snap_s = None if rep.reading.snap_s is None else rep.reading.snap_s + clock_offset_s(clip, rep.main_clip, rep)
    if not followed_together(clip, rep.main_clip):
        same = _other_tracks(rep, clip, fixed, main_fixed, names)
        names, sides = ({track: of[own] for track, own in same.items() if own in of} for of in (names, sides))
    placement = placement_of(fixed.field_tracks, sides, snap_s, standing(rep.corrections))
    view = fixed.field_view
    return {
        "clip_id": clip.clip_id,
        "size_px": list(view.image_size_px),
        "time_s": _rounded(frame_times(view, fixed.tracks), 4),
        "frame_index": view.frame_index.tolist(),
        "hash_yd": LEVELS[view.level or "college"].hash_yd,
        "view": view.view,
        "lost_reason": view.reason,
        **camera_data(view),
        "people": _people(fixed.tracks, fixed.field_tracks, view, names, sides, {t: p for p, t in clip.track_of_player.items()}),
        "placement": None
        if placement is None
        else {"line_x_yd": round(placement.line_x_yd, 3), "direction": placement.direction},
        "zones": zone_outlines(placement),
    }


def who_is_who(rep: StoredRep, main_fixed: ClipArrays) -> tuple[dict[int, str], dict[int, str]]:
    """(track -> player, track -> side) of the main view."""
    from tagger.football import Abstention, play_from_field  # loads the inference's tables: most visits only look

    main = rep.main_clip
    names, sides = {track: player for player, track in main.track_of_player.items()}, sides_of(rep, main)
    if not names and rep.reading.defenders:  # the machine found no play; the coach's word on the field let it be read
        play = play_from_field(main_fixed.field_tracks, main_fixed.field_view, rep.situation)
        if not isinstance(play, Abstention):
            names = {int(player.lstrip("T")): player for player in play.player_id}
            sides = {int(p.lstrip("T")): str(side) for p, side in zip(play.player_id, play.side, strict=True)} | sides
    receivers = rep.reading.formation.receivers if rep.reading.formation else {}
    for side, players in (("defense", [d.player_id for d in rep.reading.defenders]), ("offense", list(receivers))):
        for player in players:  # whom only a coach's word brought into the play is called after his track
            track = track_of(main, player)
            if track is not None:
                names.setdefault(track, player)
                sides.setdefault(track, side)
    return names, sides


def _other_tracks(rep: StoredRep, clip: StoredClip, fixed: ClipArrays, main_fixed: ClipArrays,
                  names: Mapping[int, str]) -> dict[int, int]:
    """Track of another view, followed by itself -> track of the main one who is the same man."""
    how = alignment_of(rep)
    if how is not None:
        return same_men(shown(main_fixed), shown(fixed), how)
    if rep.reading.snap_s is None:
        return {}
    shifted = not (main_fixed.field_view.yard_line_known and fixed.field_view.yard_line_known)
    own_snap_s = rep.reading.snap_s + clock_offset_s(clip, rep.main_clip, rep)
    return same_tracks(main_fixed.field_tracks, names, rep.reading.snap_s, fixed.field_tracks, own_snap_s, shifted)


def frame_times(view: FieldView, tracks: Tracks) -> np.ndarray:
    """(F,) seconds of the view's frames: those with people carry the container's time, those between lie between."""
    frames, first = np.unique(tracks.frame_index, return_index=True)
    if len(frames) < 2:
        return np.zeros(len(view.frame_index))
    times = tracks.time_s[first]
    step = float(np.median(np.diff(times) / np.diff(frames)))
    before, after = view.frame_index < frames[0], view.frame_index > frames[-1]
    inside = np.interp(view.frame_index, frames, times)
    inside[before] = times[0] - step * (frames[0] - view.frame_index[before])
    inside[after] = times[-1] + step * (view.frame_index[after] - frames[-1])
    return inside


def camera_data(view: FieldView) -> dict[str, Any]:
    """Per frame: the nine numbers of picture from level ground (before the lens bends it by `distortion`), null where lost; how
    far the field's middle stands above that ground and how round it is, and where the camera stands."""
    camera = view.camera
    if camera is None:
        seen = view.status != LOST
        matrices = np.full_like(view.field_from_image, np.nan)
        matrices[seen] = np.linalg.inv(view.field_from_image[seen])
        # A homography knows no sign; what stands low in the picture lies before the camera.
        low = np.array([view.image_size_px[0] / 2, view.image_size_px[1] * 0.75, 1.0])
        matrices *= np.sign(view.field_from_image[:, 2] @ low)[:, None, None]
    else:
        pose = np.stack([camera.pan_rad, camera.tilt_rad, camera.roll_rad, np.log(camera.focal_px)], axis=-1)
        matrices = ideal_from_field(pose, camera.centre_yd, view.image_size_px)
    matrices = matrices / np.linalg.norm(matrices, axis=(1, 2), keepdims=True)
    return {
        "image_from_field": [[float(f"{v:.7g}") for v in m.ravel()] if np.isfinite(m).all() else None for m in matrices],
        "distortion": camera.distortion if camera else 0.0,
        "crown_yd": round(camera.crown_yd, 4) if camera else 0.0,
        "bulge_yd": round(camera.bulge_yd, 4) if camera else 0.0,
        "centre_yd": _rounded(camera.centre_yd, 3) if camera else None,
        "sigma_yd": _rounded(view.sigma_yd, 2),
        "status": [STATUS_NAMES[s] for s in view.status],
    }


def _people(tracks: Tracks, field_tracks: FieldTracks, view: FieldView, names: Mapping[int, str], sides: Mapping[int, str],
            own: Mapping[int, str]) -> list[dict[str, Any]]:
    row_of = {int(frame): row for row, frame in enumerate(view.frame_index)}
    people = []
    for track in np.union1d(tracks.track_id, field_tracks.track_id):
        mine, located = tracks.track_id == track, field_tracks.track_id == track
        rows, spots = (np.array([row_of[int(f)] for f in seen], dtype=int)
                       for seen in (tracks.frame_index[mine], field_tracks.frame_index[located]))
        both = np.concatenate([rows, spots])  # the other view may show a man before and after this one does
        first, length = int(both.min()), int(np.ptp(both)) + 1
        people.append(
            {
                "track": int(track),
                "player": names.get(int(track)),
                "own": own.get(int(track), f"T{track}"),
                "side": sides.get(int(track), "other"),
                "first": first,
                "box": _laid(rows - first, tracks.xyxy[mine], length, 1),
                "xy": _laid(spots - first, field_tracks.xy_yd[located], length, 2),
                "seen": _laid(rows - first, tracks.observed[mine][:, None].astype(int), length, 0),
                "facing": _laid(spots - first, field_tracks.facing_rad[located][:, None], length, 2),
            }
        )
    return people


def _laid(rows: np.ndarray, values: np.ndarray, length: int, digits: int) -> list[float | None]:
    """Values (N, K) laid out flat over `length` rows, null where there is none."""
    full = np.full((length, values.shape[1]), np.nan)
    full[rows] = values
    return _rounded(full.ravel(), digits)


def _rounded(values: np.ndarray, digits: int) -> list[float | None]:
    """Plain numbers for JSON, null for NaN."""
    rounded = np.round(values.astype(float), digits)
    if digits == 0:
        return [None if np.isnan(v) else int(v) for v in rounded]
    return [None if v != v else v for v in rounded.tolist()]


def zone_outlines(placement: Placement | None, hash_yd: float | None = None) -> dict[str, list[list[float]]]:
    """ "assignment:area" -> outline in the play frame (downfield, across), for every assignment that has an area."""
    depth_yd = min(placement.depth_to_end_line_yd, DEEPEST_ZONE_YD) if placement else DEEPEST_ZONE_YD
    outlines = {}
    for assignment in ASSIGNMENTS:
        for area in AREAS:
            polygon = zone_polygon(assignment, area, hash_yd, depth_yd)
            if polygon is not None:
                outlines[f"{assignment}:{area}"] = np.round(np.array(polygon.exterior.coords)[:-1], 2).tolist()
    return outlines
