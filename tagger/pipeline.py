"""One clip in, one tagged rep out: the only place where vision, homography and football meet. Knows no database.

While the film streams by, only small things are kept (boxes, shirt colours, line evidence); then the camera is solved over the
whole clip, the people are linked on the field, and football reads the play.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from homography import solve_or_guess
from homography.types import FieldTracks, FieldView
from homography.yard_numbers import read_yard_lines
from tagger.football import Abstention, PlayTracks, Reading, play_from_field, read_play, silent_reading
from tagger.options import ClipError, TagOptions
from tagger.people import link, numbers_of
from tagger.spliced import spliced_at_s
from tagger.watching import Progress, readable, shot_of, silent, timed, watch
from vision.numbers import Number
from vision.sights import Sight
from vision.tracker import Shot
from vision.types import Tracks
from vision.video import VideoInfo, probe

MAX_CLIP_S = 180.0
"""A rep takes seconds; a longer file is a practice, which must be cut into reps first."""
MIN_FRAMES = 15
MIN_SOLVED_SHARE = 0.3


@dataclass(frozen=True)
class TaggedClip:
    """All that one clip gave. `shot` is what its people were followed on. `play` is None where football could not start;
    `reading` then holds the abstentions. `track_of_player` leads from the reading's player names to the tracks; `seconds` is
    the time each stage took. `guess` is the likeliest registration of a clip whose paint leaves it in doubt, for another view
    to confirm. `sights` tell what the boxes of `shot` showed one by one (None where nobody looked), `numbers` the shirt numbers
    by track, where they are sure; `spliced_s` when the film goes on with another play."""

    video: VideoInfo
    view: FieldView
    shot: Shot
    tracks: Tracks
    field_tracks: FieldTracks
    play: PlayTracks | None
    reading: Reading
    track_of_player: dict[str, int]
    seconds: dict[str, float]
    guess: FieldView | None = None
    sights: Sequence[Sight | None] = ()
    numbers: Mapping[int, Number] = field(default_factory=dict)
    spliced_s: float | None = None


def tag_clip(path: Path, options: TagOptions | None = None, progress: Progress | None = None) -> TaggedClip:
    """Tag one clip. Raises ClipError if it cannot be read or holds no film; whatever else is wrong (no field, no snap,
    three players) comes back as abstentions in `reading`. `progress` hears the share done and what is going on."""
    options, tell = options or TagOptions(), progress or silent
    seconds: dict[str, float] = {}
    with readable():
        video = probe(path)
        if video.duration_s > MAX_CLIP_S:
            raise ClipError(f"{path}: {video.duration_s:.0f} s long, more than the {MAX_CLIP_S:.0f} s of a rep: "
                            "cut it into reps first")
        watched, _ = watch(video, options, tell, seconds)
    if len(watched.evidence) < MIN_FRAMES:
        raise ClipError(f"{path}: only {len(watched.evidence)} frames can be read, too few for a rep: "
                        "copy it from the camera again")
    tell(0.85, "solving the camera")
    with timed(seconds, "registration"):
        view, guess = solve_or_guess(watched.evidence, options.level)
        view = read_yard_lines(view, watched.stills)
    tell(0.92, "linking the players")
    with timed(seconds, "tracking"):
        shot = shot_of(watched, view)
        tracks, field_tracks = link(shot, view, watched.sights)
        numbers = numbers_of([(tracks, shot)], [watched.sights])
    tell(0.96, "reading the play")
    with timed(seconds, "football"):
        spliced_s = spliced_at_s(watched.evidence, view, field_tracks)
        play, reading = _read(field_tracks, view, options, spliced_s)
    tell(1.0, "done")
    return TaggedClip(video, view, shot, tracks, field_tracks, play, reading, track_of_player(play), seconds, guess,
                      watched.sights, numbers, spliced_s)


def _read(field_tracks: FieldTracks, view: FieldView, options: TagOptions,
          spliced_s: float | None) -> tuple[PlayTracks | None, Reading]:
    if spliced_s is not None:
        why = f"the film is cut at {spliced_s:.1f} s and goes on with another play or view: cut it apart first"
        return None, silent_reading(Abstention("rep", why))
    if view.solved_share < MIN_SOLVED_SHARE:
        why = view.reason or f"the field was found in only {view.solved_share:.0%} of the frames"
        return None, silent_reading(Abstention("rep", why))
    play = play_from_field(field_tracks, view, options.situation)
    if isinstance(play, Abstention):
        return None, silent_reading(play)
    return play, read_play(play, own=options.own)


def track_of_player(play: PlayTracks | None) -> dict[str, int]:
    """Players are named after their track ("T12"), so that the film finds them again."""
    return {} if play is None else {name: int(name.lstrip("T")) for name in play.player_id}
