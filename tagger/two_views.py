"""The views of one rep read as one: aligned by their people, everybody followed through both, one reading told in each clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from homography import locate
from homography.align_views import Alignment, align, on_grid
from homography.complete import complete
from homography.types import FieldTracks
from tagger.football import Abstention, play_from_field, read_play
from tagger.football.clock import in_clock
from tagger.options import TagOptions
from tagger.people import facing_on, glances_at, kits_of, link, numbers_of, on_field
from tagger.pipeline import TaggedClip, track_of_player
from vision.facing import gather
from vision.outfits import Wardrobe, dress
from vision.tracker import track_together
from vision.types import Tracks

VIEW_ORDER = ("sideline", "unknown", "end-zone")
"""The rep is read in the clock and on the field of the first of these."""
CONFIRMING = 0.6
"""Share of people who must agree for a view whose own paint left its field in doubt."""


def join_views(clips: Sequence[TaggedClip], options: TagOptions) -> tuple[TaggedClip, ...]:
    """The clips of one rep, each with tracks of the same names, followed by both cameras, and with the reading of both; as they
    were where a view has no field, where the two cannot be laid on each other, or where the joined rep cannot be read."""
    if any(clip.spliced_s is not None for clip in clips):
        return tuple(clips)
    placed = [clip if len(clip.field_tracks) else _guessed(clip) for clip in clips]
    if len(placed) != 2 or not all(len(clip.field_tracks) for clip in placed):
        return tuple(clips)
    order = sorted((0, 1), key=lambda i: VIEW_ORDER.index(placed[i].view.view))
    first, second = (placed[i] for i in order)
    how = align(on_grid(first.field_tracks), on_grid(second.field_tracks),
                first.view.yard_line_known and second.view.yard_line_known)
    if how is None or (how.agreement < CONFIRMING and any(one is not clip for one, clip in zip(placed, clips, strict=True))):
        return tuple(clips)
    (one, here), (two, there) = _followed(first, second, how)
    paths = complete(here, there, how), complete(there, here, how.inverse())
    play = play_from_field(paths[0], first.view, options.situation)
    if isinstance(play, Abstention):
        return tuple(clips)
    reading = read_play(play, own=options.own)
    if reading.snap_s is None:
        return tuple(clips)
    numbers = numbers_of([(one, first.shot), (two, second.shot)], [first.sights, second.sights])
    joined = (
        replace(first, tracks=one, field_tracks=paths[0], play=play, reading=reading, track_of_player=track_of_player(play),
                numbers=numbers),
        replace(second, tracks=two, field_tracks=paths[1], play=replace(play, time_s=play.time_s - how.offset_s),
                reading=in_clock(reading, -how.offset_s), track_of_player=track_of_player(play), numbers=numbers),
    )
    return joined if order == [0, 1] else joined[::-1]


def _guessed(clip: TaggedClip) -> TaggedClip:
    """A clip without a field on its likeliest one: the paint leaves it in doubt, the other view's people may confirm it."""
    if clip.guess is None or not clip.guess.solved_share:
        return clip
    shot = replace(clip.shot, plane_from_image=clip.guess.field_from_image, plane_sigma_yd=clip.guess.sigma_yd)
    tracks, field_tracks = link(shot, clip.guess, clip.sights)
    return replace(clip, view=clip.guess, shot=shot, tracks=tracks, field_tracks=field_tracks)


def _followed(first: TaggedClip, second: TaggedClip, how: Alignment) -> list[tuple[Tracks, FieldTracks]]:
    """Both clips' tracks, each in its own picture, clock and field, from one pass over both."""
    one, two = track_together([first.shot, second.shot.moved(how.offset_s, how.matrix())])
    pair = [(first, one), (second, replace(two, time_s=two.time_s - how.offset_s))]
    located = [locate(tracks, clip.view) for clip, tracks in pair]
    among = np.unique(np.concatenate([on_field(paths) for paths in located]))
    dressed = dress([Wardrobe(tracks, clip.shot.detections, clip.shot.appearance or (), clip.sights) for clip, tracks in pair],
                    among)
    looks = [glances_at(tracks, clip.shot, clip.sights, clip.view) for clip, tracks in pair]
    turn = np.pi * how.half_turn
    together = (gather([looks[0], looks[1].moved(how.offset_s, turn)]), gather([looks[1], looks[0].moved(-how.offset_s, -turn)]))
    return [(tracks, facing_on(replace(paths, kit_id=kits_of(tracks, paths)), seen))
            for tracks, paths, seen in zip(dressed, located, together, strict=True)]
