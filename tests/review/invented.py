"""Invented reps for the page's tests: a pinhole camera of our own, film drawn with its numbers, and a reading to correct.

The film shows its own frame number as black and white blocks in the top left corner, so that a test can see on the screen
which frame the browser shows.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import av
import cv2
import numpy as np

from homography.types import SOLVED, FieldTracks, FieldView, apply_homography
from homography.view import lost_view
from tagger.football import silent_reading
from tagger.football.types import (
    Abstention,
    Defender,
    Event,
    FamilyAt,
    Formation,
    Interval,
    Phase,
    Reading,
    Situation,
)
from tagger.library.fingerprint import fingerprint
from tagger.library.records import ClipRecord, RepRecord, SavedRep
from tagger.library.store import Library
from vision.types import Tracks

SIZE = (960, 540)
FPS, FRAMES, SNAP_S, END_S = 25, 150, 2.0, 5.6
LINE_X, WIDTH = 45.0, 160 / 3
BLOCK_PX, BLOCKS = 12, 8

# (player, slot, downfield and across at the snap, drop to, assignment, area)
DEFENSE = (
    ("D1", "LCB", (7.0, 8.0), (16.0, 9.0), "deep-third", "left"),
    ("D2", "FS", (11.0, 26.0), (18.0, 26.7), "deep-third", "middle"),
    ("D3", "RCB", (7.0, 45.0), (16.0, 44.0), "deep-third", "right"),
    ("D4", "SS", (8.0, 37.0), (9.0, 46.0), "curl-flat", "right"),
    ("D5", "NB", (5.0, 13.0), (9.0, 8.0), "curl-flat", "left"),
    ("D6", "MLB", (4.5, 25.0), (10.0, 20.0), "hook-curl", "left"),
    ("D7", "WLB", (4.5, 30.0), (10.0, 33.0), "hook-curl", "right"),
    ("D8", "LE", (1.0, 21.0), (-5.0, 24.0), "rush", None),
    ("D9", "LT", (1.0, 25.0), (-4.0, 26.0), "rush", None),
    ("D10", "RT", (1.0, 28.5), (-4.0, 28.0), "rush", None),
    ("D11", "RE", (1.0, 33.0), (-5.0, 30.0), "rush", None),
)
OFFENSE = (
    *((f"O{k + 1}", (-0.6, 23.3 + 1.7 * k), (-2.0, 23.3 + 1.7 * k)) for k in range(5)),
    ("O6", (-5.0, 26.7), (-8.0, 26.7)),
    ("O7", (-5.0, 29.0), (-4.0, 33.0)),
    ("O8", (-0.6, 5.0), (19.0, 7.0)),
    ("O9", (-1.5, 12.0), (8.0, 4.0)),
    ("O10", (-0.6, 48.0), (17.0, 46.0)),
    ("O11", (-1.0, 36.0), (12.0, 22.0)),
)
RECEIVERS = {"O8": "left-1", "O9": "left-2", "O10": "right-1", "O11": "right-2", "O7": "right-3"}


def image_from_field(frame: int, end_zone: bool = False) -> np.ndarray:
    """(3, 3) of a camera 14 yd up that follows the play a little; textbook pinhole, p = K R (X - C)."""
    if end_zone:
        centre, look = np.array([8.0, 26.67, 11.0]), np.array([LINE_X + 7 + 0.03 * frame, 26.67, 0.0])
    else:
        centre, look = np.array([50.0, -26.0, 14.0]), np.array([LINE_X + 3.5 + 0.03 * frame, 27.0, 0.0])
    forward = (look - centre) / np.linalg.norm(look - centre)
    right = np.cross(forward, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(forward, right), forward])
    focal = 720.0 if end_zone else 940.0
    k = np.array([[focal, 0, SIZE[0] / 2], [0, focal, SIZE[1] / 2], [0, 0, 1.0]])
    return k @ np.column_stack([turn[:, :2], -turn @ centre])


def field_spot(start: tuple, to: tuple, time_s: float) -> np.ndarray:
    """Field frame, the offense attacking +x: still until the snap, then easing to the drop."""
    share = np.clip((time_s - SNAP_S) / 2.2, 0, 1)
    down, across = np.array(start) + (np.array(to) - np.array(start)) * share * (2 - share)
    return np.array([LINE_X + down, WIDTH - across])


@cache
def paths() -> dict[str, np.ndarray]:
    """Player -> (FRAMES, 2) field yards."""
    times = np.arange(FRAMES) / FPS
    men = {row[0]: (row[2], row[3]) for row in DEFENSE} | {row[0]: (row[1], row[2]) for row in OFFENSE}
    return {player: np.array([field_spot(a, b, t) for t in times]) for player, (a, b) in men.items()}


@cache
def boxes(frame: int, end_zone: bool = False) -> dict[str, np.ndarray]:
    """Player -> (4,) px."""
    matrix = image_from_field(frame, end_zone)
    found = {}
    for player, path in paths().items():
        x, y = apply_homography(matrix, path[frame][None])[0]
        tall = 1.5 * 0.9 * np.linalg.norm(apply_homography(matrix, path[frame][None] + [1.0, 0.0])[0] - [x, y])
        tall = max(tall, 18.0)
        found[player] = np.array([x - tall * 0.2, y - tall, x + tall * 0.2, y])
    return found


def draw_frame(frame: int, end_zone: bool) -> np.ndarray:
    picture = np.full((SIZE[1], SIZE[0], 3), (70, 120, 80), np.uint8)
    matrix = image_from_field(frame, end_zone)
    for x in range(10, 111, 5):
        line = apply_homography(matrix, np.array([[x, 0.0], [x, WIDTH]]))
        if (np.abs(line) < 4000).all():
            cv2.line(picture, tuple(map(int, line[0])), tuple(map(int, line[1])), (235, 240, 238), 2, cv2.LINE_AA)
    for y in (0.0, 20.0, WIDTH - 20.0, WIDTH):
        line = apply_homography(matrix, np.array([[12.0 if end_zone else 20.0, y], [90.0, y]]))
        if (np.abs(line) < 4000).all():
            cv2.line(picture, tuple(map(int, line[0])), tuple(map(int, line[1])), (235, 240, 238), 1, cv2.LINE_AA)
    for player, box in sorted(boxes(frame, end_zone).items(), key=lambda item: item[1][3]):
        x0, y0, x1, y1 = box.astype(int)
        cv2.rectangle(picture, (x0, y0), (x1, y1), (60, 40, 160) if player[0] == "D" else (225, 225, 225), -1)
    for bit in range(BLOCKS):
        x = bit * BLOCK_PX
        cv2.rectangle(picture, (x, 0), (x + BLOCK_PX - 1, BLOCK_PX - 1), (255,) * 3 if frame >> bit & 1 else (0,) * 3, -1)
    return picture


def write_film(path: Path, end_zone: bool = False, shift: int = 0, codec: str = "libx264") -> None:
    """Film with a keyframe every ten frames. `shift`: a tint that makes the file's content its own."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=FPS, options={"preset": "ultrafast", "crf": "26", "g": "10"})
        stream.width, stream.height, stream.pix_fmt = *SIZE, "yuv420p"
        stream.time_base = Fraction(1, FPS)
        for frame in range(FRAMES):
            picture = draw_frame(frame, end_zone)
            picture[20:24, :200] = shift % 250
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, "bgr24")))
        container.mux(stream.encode(None))


@cache
def arrays(end_zone: bool = False) -> tuple[Tracks, FieldTracks, FieldView]:
    """The clip's arrays as the camera of our own would have them. Track k + 1 is the k-th player."""
    players = list(paths())
    frames = np.arange(FRAMES)
    matrices = np.array([np.linalg.inv(image_from_field(f, end_zone)) for f in frames])
    view = FieldView(
        frames,
        matrices,
        np.full(FRAMES, 0.25),
        np.full(FRAMES, SOLVED),
        "end-zone" if end_zone else "sideline",
        "college",
        True,
        None,
        SIZE,
    )
    frame_index = np.repeat(frames, len(players))
    track_id = np.tile(np.arange(1, len(players) + 1), FRAMES)
    time_s = frame_index / FPS
    xyxy = np.array([boxes(f, end_zone)[p] for f in frames for p in players])
    kit = np.tile([0 if p[0] == "D" else 1 for p in players], FRAMES)
    m = len(frame_index)
    tracks = Tracks(frame_index, time_s, track_id, xyxy, np.ones(m, bool), kit, np.full(m, 0.9), np.full(m, 1.5))
    spots = paths()
    xy = np.array([spots[p][f] for f in frames for p in players])
    return (
        tracks,
        FieldTracks(frame_index, time_s, track_id, kit, np.ones(m, bool), xy, np.full(m, 0.25), np.full(m, np.nan)),
        view,
    )


def reading(confidence: float = 0.62) -> Reading:
    """Cover 3 told with `confidence`, against Cover 1."""
    rest = 1.0 - confidence
    family = {"cover-3": confidence, "cover-1": rest * 0.7, "cover-4": rest * 0.3}
    over = tuple(FamilyAt(SNAP_S + k * 0.3, {f: p * (k / 10) + (1 - k / 10) / 3 for f, p in family.items()}) for k in range(11))
    defenders = tuple(
        Defender(
            player,
            slot,
            (
                Interval(assignment, area, SNAP_S, 3.4, 0.55 if player == "D6" else 0.9, f"{slot} dropped from the snap on"),
                Interval(
                    "hook-curl" if player == "D6" else assignment,
                    "right" if player == "D6" else area,
                    3.4,
                    END_S,
                    0.8,
                    f"{slot} stayed within a yard of the landmark",
                ),
            )
            if player in ("D6", "D2")
            else (Interval(assignment, area, SNAP_S, END_S, 0.88, f"{slot} went there and stayed"),),
            (Phase("drop", SNAP_S, 3.4), Phase("at-landmark", 3.4, END_S)),
            {f"{assignment}:{area}" if area else assignment: 0.88, "man": 0.12},
        )
        for player, slot, _, _, assignment, area in DEFENSE
    )
    events = (
        Event(
            "leverage-lost-over-top",
            "D1",
            "O8",
            4.2,
            4.6,
            1.4,
            0.74,
            "#1 left got 1.4 yd behind the left corner before the throw",
        ),
        Event("bust-empty-zone", "D6", "O11", 4.8, 5.2, None, 0.58, "nobody within 6 yd of the right #2 in the middle"),
    )
    formation = Formation("2x3", "right", 1, RECEIVERS, ("attached-end-right",), 5, 0.93, "two receivers left, three right")
    return Reading(
        SNAP_S,
        4.5,
        END_S,
        {"pass": 0.97, "run": 0.03},
        {"one-high": 0.9, "two-high": 0.1},
        "the free safety stood at 11 yd between the hashes",
        family,
        "three deep, four under, four rushed",
        over,
        "sky",
        formation,
        defenders,
        events,
        (Abstention("facing", "players are too small in this view"),),
        4,
        7,
    )


def clip_record(
    path: Path, tracks: Tracks, located: FieldTracks, view: FieldView, told: Reading, track_of: dict[str, int]
) -> ClipRecord:
    """The file at `path` as a tagged clip."""
    sides = {p: "defense" if p[0] == "D" else "offense" for p in track_of}
    facts = (path, fingerprint(path), path.stat().st_size, float(FPS), FRAMES / FPS, *SIZE, FRAMES)
    return ClipRecord(*facts, tracks, located, view, told, track_of, sides)


def add_rep(
    library: Library,
    folder: Path,
    name: str,
    confidence: float = 0.62,
    call: str | None = "Cover 3 Sky",
    views: int = 2,
    shift: int = 0,
    told: Reading | None = None,
    film: bool = True,
    lost: bool = False,
) -> SavedRep:
    """One invented rep with its film in `folder`; `lost`: the machine found no field, and so no play."""
    folder.mkdir(parents=True, exist_ok=True)
    clips = []
    for end_zone in (False, True)[:views]:
        path = folder / f"{name}-{'end-zone' if end_zone else 'sideline'}.mp4"
        if film:
            write_film(path, end_zone, shift)
        elif not path.exists():
            path.write_bytes(name.encode() + bytes([end_zone]))
        tracks, field_tracks, view = arrays(end_zone)
        players = list(paths())
        if lost:
            view = lost_view(view.frame_index, view.image_size_px, "no field for a test")
            field_tracks = FieldTracks(*(getattr(field_tracks, name)[:0] for name in FieldTracks.__dataclass_fields__))
            told, players = silent_reading(Abstention("rep", view.reason)), []
        track_of = {p: k + 1 for k, p in enumerate(players)}
        clips.append(clip_record(path, tracks, field_tracks, view, told or reading(confidence), track_of))
    return library.save_rep(RepRecord(name, tuple(clips), Situation(3, 7.0, "left", "team", "11", call, 55.0)))


def many_reps(library: Library, folder: Path, count: int) -> None:
    """`count` reps without film, each with its own doubt."""
    drawn = np.random.default_rng(7)
    for k in range(count):
        add_rep(
            library,
            folder,
            f"rep-{k + 1:04d}",
            float(drawn.uniform(0.35, 0.99)),
            views=1,
            film=False,
            told=replace(reading(float(drawn.uniform(0.35, 0.99)))),
        )
