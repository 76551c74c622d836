"""From the library's reps to what is drawn: where the play lies on each view's field, and who is who in each view."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from homography.align_views import same_paths
from homography.field import WIDTH_YD
from homography.types import FieldTracks
from tagger.cutups.edit_list import CutClip, CutRep
from tagger.cutups.overlay import RepOverlay, RepView, Way
from tagger.cutups.panel import Drawn
from tagger.cutups.slate import coverage_words, situation_words
from tagger.cutups.zones import Placement
from tagger.football import play_from_field
from tagger.football.types import Abstention, Event, PlayTracks
from tagger.library import ClipArrays, StoredClip, StoredRep
from vision.types import FloatArray
from vision.video import probe

MOST_MISFIT_YD = 1.0
"""A play frame that fits its own field tracks worse than this is not laid on the field."""
SAME_MAN_YD = 4.0
"""A man of one view is looked for no farther than this in the other; two registrations differ by a yard or two."""
MATCH_OFFSETS_S = (-0.5, 0.0, 0.5, 1.0, 1.5, 2.0)


def cut_rep(stored: StoredRep, events: tuple[Event, ...] = (), players: frozenset[str] = frozenset()) -> CutRep:
    """A rep of the library as the edit list takes it. Raises FileNotFoundError if one of its films is gone."""
    clips = tuple(_cut_clip(stored, clip) for clip in stored.clips)
    return CutRep(stored.summary.name, stored.summary.name, stored.situation, stored.reading, clips, events, players,
                  dict(stored.numbers))


def _cut_clip(stored: StoredRep, clip: StoredClip) -> CutClip:
    if not clip.path.exists():
        raise FileNotFoundError(f"{clip.path}: the film of {stored.summary.name} is gone since it was tagged; put it back, "
                                "or tag it where it is now")
    info = probe(clip.path)
    length_s = info.duration_s or clip.duration_s or 0.0
    return CutClip(clip.path, clip.view, clip_minus_rep_s(stored, clip), info.start_s, info.start_s + length_s)


def clip_minus_rep_s(stored: StoredRep, clip: StoredClip) -> float:
    """What to add to the rep's clock for a clip's: the two snaps fall together. 0 where a snap is not known."""
    main = stored.main_clip
    if clip.clip_id == main.clip_id or clip.snap_s is None or main.snap_s is None:
        return 0.0
    return clip.snap_s - main.snap_s


def overlay_of(stored: StoredRep, clip: StoredClip, arrays: ClipArrays, main_arrays: ClipArrays, wanted: CutRep,
               parts: frozenset[str]) -> RepOverlay:
    """What is drawn into one view of a rep: the men and events that are `wanted`, or all. In another view than the main one the
    men are found again by where they stood."""
    play = play_of(stored, clip, arrays)
    placement = place_play(play, arrays.field_tracks, clip.track_of_player) if play else None
    paths = paths_of(play, placement) if play and placement else track_paths(arrays.field_tracks, clip.track_of_player)
    if clip.clip_id != stored.main_clip.clip_id:
        main = play_of(stored, stored.main_clip, main_arrays)
        same = same_men(main, play, clip_minus_rep_s(stored, clip), stored.reading.snap_s) if main and play else {}
        paths = {player: paths[other] for player, other in same.items() if other in paths}
    seen = RepView(arrays.field_view, arrays.tracks, paths, placement, play.hash_yd if play else None,
                   clip_minus_rep_s(stored, clip))
    return RepOverlay(seen, stored.reading, stored.numbers, wanted.players, parts, wanted.events or None)


def drawn_rep(stored: StoredRep, arrays: ClipArrays) -> Drawn:
    """A rep's diagram from its main clip. Raises ValueError if there are no players on the field to draw."""
    play = play_of(stored, stored.main_clip, arrays)
    if play is None:
        why = "; ".join(a.why for a in stored.reading.abstained) or "the field was not found in its film"
        raise ValueError(f"{stored.summary.name}: nothing to draw, {why}")
    bare = CutRep(stored.summary.name, "", stored.situation, stored.reading, ())
    words = [stored.summary.name, situation_words(stored.situation), coverage_words(bare)]
    return Drawn(play, stored.reading, "   ".join(word for word in words if word), stored.numbers)


def play_of(stored: StoredRep, clip: StoredClip, arrays: ClipArrays) -> PlayTracks | None:
    """A clip's players in the play frame, from its kept tracks, by its reading's names; None where football abstains."""
    play = play_from_field(arrays.field_tracks, arrays.field_view, stored.situation)
    if isinstance(play, Abstention):
        return None
    named = {f"T{track}": player for player, track in clip.track_of_player.items()}  # football names men after their tracks
    return replace(play, player_id=tuple(named.get(name, name) for name in play.player_id))


def paths_of(play: PlayTracks, placement: Placement) -> dict[str, Way]:
    """Player -> his times and places on the field, where he is seen."""
    paths = {}
    for row, player in enumerate(play.player_id):
        known = np.isfinite(play.xy_yd[row]).all(axis=1)
        paths[player] = play.time_s[known], placement.field_from_play(play.xy_yd[row, known])
    return paths


def track_paths(field_tracks: FieldTracks, track_of_player: Mapping[str, int]) -> dict[str, Way]:
    """Player -> the times and places of his track, for a play that could not be laid on the field."""
    mine = {player: field_tracks.track_id == track for player, track in track_of_player.items()}
    return {player: (field_tracks.time_s[rows], field_tracks.xy_yd[rows]) for player, rows in mine.items()}


def place_play(play: PlayTracks, field_tracks: FieldTracks, track_of_player: Mapping[str, int]) -> Placement | None:
    """How the play frame lies on the field of its own tracks; None where across is not known or nothing fits."""
    pairs = _pairs(play, field_tracks, track_of_player)
    if not play.across_known or not len(pairs[0]):
        return None
    in_play, on_field = pairs
    best: tuple[float, Placement] | None = None
    for direction in (1, -1):
        line_x_yd = float(np.median(on_field[:, 0] - direction * in_play[:, 0]))
        placement = Placement(line_x_yd, direction)
        misfit = float(np.median(np.linalg.norm(placement.field_from_play(in_play) - on_field, axis=1)))
        if best is None or misfit < best[0]:
            best = misfit, placement
    assert best is not None
    return best[1] if best[0] <= MOST_MISFIT_YD else None


def _pairs(play: PlayTracks, field_tracks: FieldTracks, track_of_player: Mapping[str, int]) -> tuple[FloatArray, FloatArray]:
    """(K, 2) spots in the play frame and (K, 2) the same on the field, of the same man at the same time."""
    in_play, on_field = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for row, player in enumerate(play.player_id):
        mine = field_tracks.track_id == track_of_player.get(player, -1)
        known = np.isfinite(play.xy_yd[row]).all(axis=1)
        if not mine.any() or not known.any():
            continue
        times, spots = field_tracks.time_s[mine], field_tracks.xy_yd[mine]
        during = known & (play.time_s >= times[0]) & (play.time_s <= times[-1])
        in_play.append(play.xy_yd[row, during])
        on_field.append(np.stack([np.interp(play.time_s[during], times, spots[:, axis]) for axis in (0, 1)], axis=1))
    return np.concatenate(in_play), np.concatenate(on_field)


def same_men(main: PlayTracks, other: PlayTracks, other_minus_main_s: float, snap_s: float | None) -> dict[str, str]:
    """Player of the main view -> the same man's name in the other view, by where both stood about the snap."""
    zero_s = snap_s if snap_s is not None else float(main.time_s[0])
    ours = _spots(main, zero_s)
    theirs = _spots(other, zero_s + other_minus_main_s)
    pairs = same_paths(ours, theirs, SAME_MAN_YD, may_be=main.side[:, None] == other.side[None])
    return {main.player_id[r]: other.player_id[c] for r, c in pairs}


def _spots(play: PlayTracks, snap_s: float) -> FloatArray:
    """(N, K, 2) everybody's spots at MATCH_OFFSETS_S about the snap; NaN where not seen. Without sidelines, about the middle."""
    at = [int(np.abs(play.time_s - (snap_s + offset)).argmin()) for offset in MATCH_OFFSETS_S]
    spots: FloatArray = play.xy_yd[:, at].copy()
    if not play.across_known:
        spots[..., 1] += WIDTH_YD / 2 - np.nanmedian(spots[..., 1])
    return spots
