"""Reads a rep anew on the coach's word: a moved snap, a fixed assignment, swapped men or a clicked field change what the rest
means.

The blind automatic reading stays in the library beside what comes out here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from homography.field import WIDTH_YD
from homography.types import FieldTracks
from tagger.football.shift import OwnShifts
from tagger.football.types import Abstention, CoachFacts, Interval, PlayTracks, Reading
from tagger.library.effective import coach_intervals, standing
from tagger.library.identity import rename
from tagger.library.own_shifts import load_shifts
from tagger.library.records import ClipArrays, Correction, StoredRep
from tagger.library.store import Library
from tagger.review.both_views import field_was_told, lay, other_view
from tagger.review.clicked_film import arrays_of, find_fields
from tagger.review.rep_data import fixed_arrays, in_force
from tagger.review.track_fixes import track_of

CONDITIONING_REP_FIELDS = frozenset({"snap_s", "direction", "ball_xy_yd", "family", "play_kind"})
CONDITIONING_CLIP_FIELDS = frozenset({"swap", "join", "anchors", "snap_s"})
CONDITIONING_OF_A_MAN = frozenset({("player", "side"), ("defender", "assignment")})


def conditions(correction: Correction) -> bool:
    """True for a correction (or the taking back of one) from which other tags follow."""
    if correction.subject == "rep":
        return correction.field in CONDITIONING_REP_FIELDS
    if correction.subject.startswith("clip:"):
        return correction.field in CONDITIONING_CLIP_FIELDS
    return (correction.subject.partition(":")[0], correction.field) in CONDITIONING_OF_A_MAN


def is_stale(rep: StoredRep) -> bool:
    """True while a word from which other tags follow has not been read into them."""
    return max((c.correction_id for c in rep.corrections if conditions(c)), default=0) > rep.reread_upto


def read_anew(library: Library, rep: StoredRep) -> tuple[Reading, dict[str, Any] | None]:
    """What `reread` makes of a rep, fields that wait for clicks being found first; and how its views lie on each other, if a
    coach's word on a field asked for that and it is clear. Raises ValueError as both do."""
    find_fields(library, rep)
    arrays = {clip.clip_id: arrays_of(library, rep, clip) for clip in rep.clips}
    main, other = rep.main_clip, other_view(rep)
    laid = None
    if other is not None and field_was_told(rep):
        laid = lay(*(fixed_arrays(rep, clip, arrays[clip.clip_id]) for clip in (main, other)))
    fixed = in_force(replace(rep, laid=laid), arrays)[main.clip_id]
    return reread(rep, fixed, load_shifts(library.folder)), laid


def reread(rep: StoredRep, fixed: ClipArrays, own: OwnShifts | None = None) -> Reading:
    """The rep read anew from its main clip's tracks as the coach has put them right, with his word on sides, ball, snap,
    family, kind of play and assignments; `own` is what the library's finished reps taught about the chances.

    Raises ValueError with one line where football cannot start.
    """
    # The inference and its learned tables load on the first use: most visits to the page only look.
    from tagger.football import play_from_field, read_play

    said = standing(rep.corrections)
    clip = rep.main_clip
    told_sides = {
        track_of(clip, c.subject.removeprefix("player:")): str(c.after)
        for c in said
        if c.subject.startswith("player:") and c.field == "side"
    }
    left_out = {track for track, side in told_sides.items() if side == "other"}
    play = play_from_field(_without(fixed.field_tracks, left_out), fixed.field_view, rep.situation)
    if isinstance(play, Abstention):
        raise ValueError(f"{play.what}: {play.why}")
    play = told_play(play, fixed.field_tracks, {track: side for track, side in told_sides.items() if side != "other"}, said)
    names = {f"T{track}": player for player, track in clip.track_of_player.items()}
    return rename(read_play(play, facts=coach_facts(said, lambda player: track_of(clip, player)), own=own), names)


def coach_facts(said: Iterable[Correction], track: Callable[[str], int | None]) -> CoachFacts:
    """What the standing corrections fix, men named after their tracks ("T12"); who has no track is left out."""
    listed = list(said)
    rep_words = {c.field: c.after for c in listed if c.subject == "rep"}

    def name(player: str | None) -> str | None:
        return None if player is None or track(player) is None else f"T{track(player)}"

    fixed: dict[str, tuple[Interval, ...]] = {}
    for player, intervals in coach_intervals(listed).items():
        if (own := name(player)) is not None:
            fixed[own] = tuple(replace(interval, receiver=name(interval.receiver)) for interval in intervals)
    return CoachFacts(rep_words.get("family"), rep_words.get("play_kind"), fixed)


def _without(tracks: FieldTracks, left_out: set[int | None]) -> FieldTracks:
    kept = ~np.isin(tracks.track_id, [track for track in left_out if track is not None])
    return FieldTracks(*(getattr(tracks, name)[kept] for name in FieldTracks.__dataclass_fields__))


def told_play(play: PlayTracks, field_tracks: FieldTracks, sides: dict[int | None, str], said: list[Correction]) -> PlayTracks:
    """The play with the coach's sides, direction, ball and snap. Players are named after their tracks ("T12").

    Turning the direction turns the play frame by half about the ball and makes the offense the defense.
    """
    rep_words = {c.field: c.after for c in said if c.subject == "rep"}
    if rep_words.get("direction") not in (None, (lay := _lay(play, field_tracks))[0]):
        other = np.where(play.side == "offense", "defense", "offense")
        xy = np.array([0.0, WIDTH_YD]) - play.xy_yd
        play = replace(play, side=other, xy_yd=xy, facing_rad=(play.facing_rad + np.pi) % (2 * np.pi))
        lay = -lay[0], lay[1]
    if rep_words.get("ball_xy_yd") is not None:
        shift_yd = lay[0] * (lay[1] - float(rep_words["ball_xy_yd"][0]))
        play = replace(play, xy_yd=play.xy_yd + np.array([shift_yd, 0.0]))
    if sides:
        told = [sides.get(int(name.lstrip("T")), side) for name, side in zip(play.player_id, play.side, strict=True)]
        play = replace(play, side=np.array(told))
    if rep_words.get("snap_s") is not None:
        play = replace(play, snap_s=float(rep_words["snap_s"]))
    return play


def _lay(play: PlayTracks, field_tracks: FieldTracks) -> tuple[int, float]:
    """(direction, x of the line of scrimmage) of the play frame on the field, from the same men in both."""
    downfield, x = [], []
    for row, name in enumerate(play.player_id):
        mine = field_tracks.track_id == int(name.lstrip("T"))
        known = np.isfinite(play.xy_yd[row, :, 0])
        if mine.any() and known.any():
            times = play.time_s[known]
            downfield.append(play.xy_yd[row, known, 0])
            x.append(np.interp(times, field_tracks.time_s[mine], field_tracks.xy_yd[mine, 0]))
    if not downfield:
        raise ValueError("nobody stands both in the play and on the field")
    d, at = np.concatenate(downfield), np.concatenate(x)
    direction = 1 if np.dot(d - d.mean(), at - at.mean()) >= 0 else -1
    return direction, float(np.median(at - direction * d))
