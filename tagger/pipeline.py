"""One clip in, one tagged rep out: the only place where vision, homography and football meet. Knows no database.

Each frame is decoded once. While the film streams by, only small things are kept (boxes, shirt colours, line evidence);
then the camera is solved over the whole clip, the people are linked on the field, and football reads the play.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from homography import FrameEvidence, Observer, locate, solve_clip, solve_or_guess, solve_still
from homography.clicked import solve_clicked
from homography.clicks import Click, click
from homography.field import WIDTH_YD
from homography.locate import viewing_rays
from homography.motion import image_motion
from homography.types import FieldTracks, FieldView
from homography.yard_numbers import Still, read_yard_lines
from tagger.football import Abstention, OwnShifts, PlayTracks, Reading, Situation, play_from_field, read_play, silent_reading
from vision.detector import TRACKED_CONFIDENCE, load_detector
from vision.facing import Glances, facings, glances, whose
from vision.kits import describe
from vision.numbers import Number, read_numbers
from vision.outfits import Wardrobe, dress
from vision.sights import CropReader, Sight
from vision.tracker import Shot, track, track_together
from vision.types import Detections, FloatArray, IntArray, Tracks
from vision.video import Frame, VideoInfo, probe, read_frames
from vision.window import Window

DETECTIONS_PER_S = 15.0
"""How often people are looked for: their motion between is smooth, and the detector is the dearest stage."""
LOOK_EVERY = 2
"""Every so many detections the people are looked at one by one, for their facing, cloth and number."""
MAX_HEIGHT_PX = 1080
"""Larger film is reduced while it is decoded."""
MAX_CLIP_S = 180.0
"""A rep takes seconds; a longer file is a practice, which must be cut into reps first."""
MIN_FRAMES = 15
MIN_SOLVED_SHARE = 0.3
HALF_FRAME_S = 1.0 / 60.0
STILL_SUFFIXES = {".jpg", ".jpeg", ".png", ".webp", ".bmp", ".tif", ".tiff"}

Progress = Callable[[float, str], None]


class ClipError(ValueError):
    """A clip that cannot be tagged at all; the message is one line: what, where, what to do."""


@dataclass(frozen=True)
class TagOptions:
    """What a person may set. `detect_every` None chooses the step from the frame rate; `threads` None all the cores; `own` is
    what the library's finished reps taught about the chances."""

    weights: Path | None = None
    device: str = "cpu"
    level: str | None = None
    detect_every: int | None = None
    situation: Situation = field(default_factory=Situation)
    threads: int | None = None
    own: OwnShifts = field(default_factory=OwnShifts)


@dataclass(frozen=True)
class TaggedClip:
    """All that one clip gave. `shot` is what its people were followed on. `play` is None where football could not start;
    `reading` then holds the abstentions. `track_of_player` leads from the reading's player names to the tracks; `seconds` is
    the time each stage took. `guess` is the likeliest registration of a clip whose paint leaves it in doubt, for another view
    to confirm. `sights` tell what the boxes of `shot` showed one by one (None where nobody looked), `numbers` the shirt numbers
    by track, where they are sure."""

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


@dataclass(frozen=True)
class MarkedSpot:
    """A person's word: the mark of these `words` (see `homography.marks`) lies at `xy_px` of the picture that is shown at
    `time_s` (None: at the moment that is inspected)."""

    words: str
    xy_px: tuple[float, float]
    time_s: float | None = None


@dataclass(frozen=True)
class Inspection:
    """What the machine saw at one moment: the picture, its boxes and the field model of that frame (row `row` of `view`), found
    by the `clicks` if there are any."""

    frame_bgr: np.ndarray
    time_s: float
    detections: Detections
    tracks: Tracks
    view: FieldView
    row: int
    clicks: tuple[Click, ...] = ()


@dataclass
class _Watched:
    """The small things kept of a clip once its frames are gone: one evidence per frame, boxes and shirts of every n-th."""

    evidence: list[FrameEvidence] = field(default_factory=list)
    detections: list[Detections] = field(default_factory=list)
    looks: list[FloatArray] = field(default_factory=list)
    sights: list[Sight | None] = field(default_factory=list)
    stills: list[Still] = field(default_factory=list)


def tag_clip(path: Path, options: TagOptions | None = None, progress: Progress | None = None) -> TaggedClip:
    """Tag one clip. Raises ClipError if it cannot be read or holds no film; whatever else is wrong (no field, no snap,
    three players) comes back as abstentions in `reading`. `progress` hears the share done and what is going on."""
    options, tell = options or TagOptions(), progress or _silent
    seconds: dict[str, float] = {}
    with _readable():
        video = probe(path)
        if video.duration_s > MAX_CLIP_S:
            raise ClipError(f"{path}: {video.duration_s:.0f} s long, more than the {MAX_CLIP_S:.0f} s of a rep: "
                            "cut it into reps first")
        watched, _ = _watch(video, options, tell, seconds)
    if len(watched.evidence) < MIN_FRAMES:
        raise ClipError(f"{path}: only {len(watched.evidence)} frames can be read, too few for a rep: "
                        "copy it from the camera again")
    tell(0.85, "solving the camera")
    with _timed(seconds, "registration"):
        view, guess = solve_or_guess(watched.evidence, options.level)
        view = read_yard_lines(view, watched.stills)
    tell(0.92, "linking the players")
    with _timed(seconds, "tracking"):
        shot = _shot(watched, view)
        tracks, field_tracks = link(shot, view, watched.sights)
        numbers = numbers_of([(tracks, shot)], [watched.sights])
    tell(0.96, "reading the play")
    with _timed(seconds, "football"):
        play, reading = _read(field_tracks, view, options)
    tell(1.0, "done")
    return TaggedClip(video, view, shot, tracks, field_tracks, play, reading, track_of_player(play), seconds, guess,
                      watched.sights, numbers)


def inspect_frame(path: Path, at_s: float, options: TagOptions | None = None, marked: Sequence[MarkedSpot] = ()) -> Inspection:
    """What the machine sees at one moment of a clip, or in a still picture; the field by a person's marked spots if there are
    any. Raises ClipError as `tag_clip` does, where the clip ends before `at_s`, and where the spots give no field."""
    options = options or TagOptions()
    if path.suffix.lower() in STILL_SUFFIXES:
        return _inspect_still(path, options, marked)
    with _readable():
        watched, wanted = _watch(probe(path), options, _silent, {}, keep_at_s=at_s)
    if wanted is None:
        raise ClipError(f"{path}: ends at {watched.evidence[-1].time_s:.1f} s, before {at_s:.1f} s: choose an earlier moment")
    with _readable():
        clicks = _clicks(marked, watched.evidence, wanted.time_s)
        solve = partial(solve_clicked, clicks=clicks) if clicks else solve_clip
        view = read_yard_lines(solve(watched.evidence, level=options.level), watched.stills)
    tracks, _ = link(_shot(watched, view), view, watched.sights)
    nearest = min(watched.detections, key=lambda found: abs(found.time_s - wanted.time_s))
    row = int(np.searchsorted(view.frame_index, wanted.index))
    return Inspection(wanted.bgr, wanted.time_s, nearest, tracks, view, row, clicks)


def _clicks(marked: Sequence[MarkedSpot], evidence: Sequence[FrameEvidence], at_s: float) -> tuple[Click, ...]:
    """Marked spots as clicks in the frames that are shown at their times."""
    times = np.array([frame.time_s for frame in evidence])
    asked = [at_s if spot.time_s is None else spot.time_s for spot in marked]
    rows = np.minimum(np.searchsorted(times, np.array(asked) - HALF_FRAME_S), len(evidence) - 1)
    return tuple(click(spot.words, spot.xy_px, evidence[row].frame_index) for spot, row in zip(marked, rows, strict=True))


def _inspect_still(path: Path, options: TagOptions, marked: Sequence[MarkedSpot]) -> Inspection:
    if not path.is_file():
        raise ClipError(f"{path}: no such file")
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        raise ClipError(f"{path}: not a picture that can be read (JPEG or PNG)")
    bgr = np.asarray(picture, dtype=np.uint8)
    found = load_detector(options.weights, options.device, threads=options.threads).detect(0, 0.0, bgr)
    with _readable():
        clicks = tuple(click(spot.words, spot.xy_px, 0) for spot in marked)
        view = solve_still(bgr, found.xyxy, options.level)
        if clicks:
            view = solve_clicked([Observer().observe(0, 0.0, bgr, found.xyxy)], clicks, level=options.level)
    size_px = (bgr.shape[1], bgr.shape[0])
    looks = describe(bgr, found.xyxy)
    tracks, = dress([Wardrobe(track([found], size_px, appearance=[looks]), [found], [looks])])
    return Inspection(bgr, 0.0, found, tracks, view, 0, clicks)


def _watch(video: VideoInfo, options: TagOptions, tell: Progress, seconds: dict[str, float],
           keep_at_s: float | None = None) -> tuple[_Watched, Frame | None]:
    """Stream the film once, keeping the small things, and the frame shown at `keep_at_s` if one is asked for."""
    window = Window(load_detector(options.weights, options.device, None, options.threads, TRACKED_CONFIDENCE))
    reader, observer, kept, wanted = CropReader(options.threads), Observer(), _Watched(), None
    every = options.detect_every or max(1, round((video.rate_hz or 30.0) / DETECTIONS_PER_S))
    frames, boxes = read_frames(video.path, MAX_HEIGHT_PX), np.zeros((0, 4), dtype=np.float32)
    while (frame := _next(frames, seconds)) is not None:
        if frame.index % every == 0:
            with _timed(seconds, "detection"):
                found = window.detect(frame.index, frame.time_s, frame.bgr)
            with _timed(seconds, "kits"):
                kept.looks.append(describe(frame.bgr, found.xyxy))
            with _timed(seconds, "looks"):
                looked = len(kept.detections) % LOOK_EVERY == 0
                kept.sights.append(reader.look(frame.bgr, found.xyxy) if looked else None)
            kept.detections.append(found)
            boxes = found.xyxy
        with _timed(seconds, "registration"):
            kept.evidence.append(observer.observe(frame.index, frame.time_s, frame.bgr, boxes))
        if keep_at_s is not None and wanted is None and frame.time_s >= keep_at_s - HALF_FRAME_S:
            wanted = frame
        if video.duration_s:
            tell(min(0.85, 0.85 * (frame.time_s - video.start_s) / video.duration_s), "watching")
    kept.stills = observer.stills
    return kept, wanted


def _next(frames: Iterator[Frame], seconds: dict[str, float]) -> Frame | None:
    with _timed(seconds, "decoding"):
        return next(frames, None)


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
    rays = [np.zeros(0) if sight is None else viewing_rays(view, boxes.frame_index, boxes.foot_xy)
            for boxes, sight in zip(shot.detections, sights, strict=True)]
    return glances(whose(tracks, shot.detections), shot.detections, sights, rays)


def facing_on(located: FieldTracks, looks: Glances) -> FieldTracks:
    """The same with everybody's facing, where the looks tell."""
    return replace(located, facing_rad=facings(looks, located.time_s, located.track_id)[0])


def numbers_of(views: Sequence[tuple[Tracks, Shot]], sights: Sequence[Sequence[Sight | None]]) -> dict[int, Number]:
    """Shirt numbers by track id, voted over all views of the same tracks."""
    looked = [whose(tracks, shot.detections) for tracks, shot in views]
    times = [np.array([boxes.time_s for boxes in shot.detections]) for _, shot in views]
    return read_numbers(looked, sights, times)


def _shot(watched: _Watched, view: FieldView) -> Shot:
    times = np.array([evidence.time_s for evidence in watched.evidence])
    return Shot(watched.detections, view.image_size_px, view.frame_index, times, watched.looks, view.field_from_image,
                view.sigma_yd, image_motion(watched.evidence))


def kits_of(tracks: Tracks, located: FieldTracks) -> IntArray:
    """The kit of every row of `located`, from its track."""
    kit_of = dict(zip(tracks.track_id.tolist(), tracks.kit_id.tolist(), strict=True))
    return np.array([kit_of[i] for i in located.track_id.tolist()], dtype=np.int64)


def on_field(tracks: FieldTracks) -> IntArray:
    """Ids of those who are between the sidelines most of their time."""
    ids, row = np.unique(tracks.track_id, return_inverse=True)
    inside = (tracks.xy_yd[:, 1] > 0.0) & (tracks.xy_yd[:, 1] < WIDTH_YD)
    return ids[np.bincount(row, weights=inside, minlength=len(ids)) > 0.5 * np.bincount(row, minlength=len(ids))]


def _read(field_tracks: FieldTracks, view: FieldView, options: TagOptions) -> tuple[PlayTracks | None, Reading]:
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


@contextmanager
def _readable() -> Iterator[None]:
    """Whatever makes a file unreadable becomes a ClipError with the same line."""
    try:
        yield
    except ClipError:
        raise
    except (FileNotFoundError, ValueError) as bad:
        raise ClipError(str(bad)) from bad


@contextmanager
def _timed(seconds: dict[str, float], stage: str) -> Iterator[None]:
    start = time.perf_counter()
    try:
        yield
    finally:
        seconds[stage] = seconds.get(stage, 0.0) + time.perf_counter() - start


def _silent(_share: float, _what: str) -> None:
    pass
