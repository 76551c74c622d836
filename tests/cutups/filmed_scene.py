"""A made-up rep on film for the tests: a camera that pans over a green field, men as upright blocks, and in every frame its
own number as black and white squares, so that decoding tells which frame one is looking at."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from homography.field import WIDTH_YD
from homography.types import SOLVED, FieldTracks, FieldView
from tagger.cutups.edit_list import CutClip, CutRep
from tagger.cutups.overlay import RepView
from tagger.cutups.zones import Placement
from tagger.football.types import Defender, Event, Formation, Interval, PlayTracks, Reading, Situation
from tagger.library import ClipRecord
from vision.types import Tracks

TURF_BGR = (62, 118, 66)
BITS, SQUARE_PX = 12, 12
LINE_X_YD = 45.0
SNAP_S, END_S = 2.0, 5.0
RATE = 25


@dataclass(frozen=True)
class Scene:
    """Everything about the made-up rep: its film and what a perfect tagger would have said of it."""

    path: Path
    times_s: np.ndarray
    seen: RepView
    field_tracks: FieldTracks
    track_of_player: dict[str, int]
    play: PlayTracks
    reading: Reading
    image_from_field: np.ndarray

    def cut_rep(self, name: str = "rep-001", view: str = "sideline", **changes: object) -> CutRep:
        clip = CutClip(self.path, view, self.seen.clip_minus_rep_s, float(self.times_s[0]), float(self.times_s[-1]) + 0.04)
        situation = Situation(down=3, distance_yd=7.0, hash="right", yards_to_goal=65.0, personnel="11", call="cover-3")
        rep = CutRep(name, "", situation, self.reading, (clip,))
        return replace(rep, **changes)  # type: ignore[arg-type]


def camera(pan_rad: float, size: tuple[int, int], centre: tuple[float, float, float] = (50.0, -42.0, 20.0),
           tilt_rad: float = 0.34, focal: float = 1.05) -> np.ndarray:
    """(3, 3) image_from_field of a camera that looks toward +y, turned by `pan_rad` toward +x, down by `tilt_rad`."""
    forward = np.array([np.sin(pan_rad) * np.cos(tilt_rad), np.cos(pan_rad) * np.cos(tilt_rad), -np.sin(tilt_rad)])
    right = np.array([np.cos(pan_rad), -np.sin(pan_rad), 0.0])
    turn = np.stack([right, np.cross(forward, right), forward])
    width, height = size
    k = np.array([[focal * width, 0, width / 2], [0, focal * width, height / 2], [0, 0, 1.0]])
    return k @ np.column_stack([turn[:, 0], turn[:, 1], -turn @ np.array(centre)])


def project(image_from_field: np.ndarray, points_yd: np.ndarray) -> np.ndarray:
    """The pinhole, written out once more for the tests."""
    ends = np.column_stack([points_yd, np.ones(len(points_yd))]) @ image_from_field.T
    return ends[:, :2] / ends[:, 2:]


OFFENSE = {
    "O1": ([(0, 5.0), (18, 5.0)], "left-1"), "O2": ([(0, 14.0), (10, 16.0), (20, 20.0)], "left-2"),
    "O3": ([(0, 48.0), (11, 47.0), (9, 44.0)], "right-1"), "O4": ([(-1, 40.0), (4, 50.0)], "right-2"),
    "O5": ([(-6, 28.5), (-5, 33.0)], None), "O6": ([(-5, 26.7), (-7.5, 26.7)], None),
    "O7": ([(-0.5, 26.7), (-2, 26.7)], None), "O8": ([(-0.5, 25.2), (-2, 25.0)], None), "O9": ([(-0.5, 28.2), (-2, 28.4)], None),
    "O10": ([(-0.5, 23.7), (-2, 23.3)], None), "O11": ([(-0.5, 29.7), (-2, 30.1)], None),
}
DEFENSE = {
    "D1": ([(7, 6.0), (15, 7.5), (17, 7.0)], "corner", "deep-third", "left"),
    "D2": ([(12, 19.0), (17, 26.0)], "safety", "deep-third", "middle"),
    "D3": ([(7, 47.0), (16, 46.0)], "corner", "deep-third", "right"),
    "D4": ([(12, 35.0), (9, 42.0)], "safety", "curl-flat", "right"),
    "D5": ([(5, 14.0), (9, 8.5)], "nickel", "curl-flat", "left"),
    "D6": ([(4.5, 23.0), (9, 19.0)], "linebacker", "hook-curl", "left"),
    "D7": ([(4.5, 30.0), (9, 33.0)], "linebacker", "hook-curl", "right"),
    "D8": ([(1, 24.0), (-3, 25.5)], "tackle", "rush", None), "D9": ([(1, 28.0), (-3, 27.5)], "tackle", "rush", None),
    "D10": ([(1, 21.5), (-4, 24.0)], "edge", "rush", None), "D11": ([(1, 32.0), (-4, 29.5)], "edge", "rush", None),
}


def ways(times_s: np.ndarray) -> dict[str, np.ndarray]:
    """Each man's (T, 2) way in the play frame: still until the snap, then evenly along his corners."""
    share = np.clip((times_s - SNAP_S) / (END_S - SNAP_S), 0.0, 1.0)
    out = {}
    for name, corners in [*((n, c) for n, (c, _) in OFFENSE.items()), *((n, d[0]) for n, d in DEFENSE.items())]:
        knots = np.linspace(0.0, 1.0, len(corners))
        points = np.array(corners, float)
        out[name] = np.stack([np.interp(share, knots, points[:, axis]) for axis in (0, 1)], axis=1)
    return out


def made_up_reading() -> Reading:
    """Cover-3 out of two-high; the left corner is beaten over the top by the outer receiver."""
    defenders = tuple(
        Defender(name, slot, (Interval(assignment, area, SNAP_S, END_S, 0.9, "drop"),))
        for name, (_, slot, assignment, area) in DEFENSE.items())
    formation = Formation("2x2", "balanced", 1, {n: r for n, (_, r) in OFFENSE.items() if r}, (), 4, 0.9, "made up")
    event = Event("leverage-lost-over-top", "D1", "O1", 4.2, 4.6, 1.2, 0.8, "deeper than the corner")
    return Reading(SNAP_S, 4.4, END_S, {"pass": 0.95, "run": 0.05}, {"two-high": 0.9, "one-high": 0.1}, "two safeties deep",
                   {"cover-3": 0.8, "cover-1": 0.2}, "three deep", (), "sky", formation, defenders, (event,), (), 4, 6)


def frame_times(duration_s: float, variable: bool) -> np.ndarray:
    """Frame times at RATE, or with uneven steps (whole milliseconds)."""
    if not variable:
        return np.arange(0.0, duration_s, 1.0 / RATE)
    steps = np.resize([0.040, 0.021, 0.067, 0.033, 0.040, 0.050], int(duration_s / 0.03))
    times = np.round(np.concatenate([[0.0], np.cumsum(steps)]), 3)
    return times[times < duration_s]


def make_scene(path: Path, size: tuple[int, int] = (448, 252), duration_s: float = 6.5, variable: bool = False,
               sound: bool = False, keyframe_every: int = 250, start_s: float = 0.0, end_zone: bool = False) -> Scene:
    """Render and encode the rep."""
    times = frame_times(duration_s, variable) + start_s
    placement = Placement(LINE_X_YD, 1)
    men = ways(times - start_s)
    names = list(men)
    field_xy = {name: placement.field_from_play(way) for name, way in men.items()}
    turns = 0.08 * np.sin((times - start_s) * 0.8)
    matrices = np.array([_end_zone_camera(turn, size) if end_zone else camera(turn, size) for turn in turns])
    rows = [_boxes(matrix, np.array([field_xy[name][i] for name in names])) for i, matrix in enumerate(matrices)]
    frames = (_picture(i, matrices[i], boxes, names, size) for i, boxes in enumerate(rows))
    _encode(path, frames, times, size, sound, keyframe_every)
    count, n = len(times), len(names)
    index = np.repeat(np.arange(count), n)
    stamps = np.repeat(times, n)
    ids = np.tile(np.arange(n), count)
    ones = np.ones(count * n)
    tracks = Tracks(index, stamps, ids, np.concatenate(rows), ones > 0, np.zeros(count * n, int), ones, ones)
    xy = np.stack([field_xy[name] for name in names], axis=1).reshape(-1, 2)
    field_tracks = FieldTracks(index, stamps, ids, np.zeros(count * n, int), ones > 0, xy, ones * 0.2, ones * np.nan)
    view = FieldView(np.arange(count), np.linalg.inv(matrices), np.full(count, 0.2), np.full(count, SOLVED),
                     "end-zone" if end_zone else "sideline", "high-school", True, None, size)
    seen = RepView(view, tracks, {name: (times, field_xy[name]) for name in names}, placement, WIDTH_YD / 3, start_s)
    track_of_player = {name: i for i, name in enumerate(names)}
    side = np.array(["offense" if name in OFFENSE else "defense" for name in names])
    play_xy = np.stack([men[name] for name in names])
    unknown = np.full(play_xy.shape[:2], np.nan)
    play = PlayTracks(times - start_s, tuple(names), side, play_xy, np.full(play_xy.shape[:2], 0.2), unknown, (None,) * n, SNAP_S,
                      WIDTH_YD / 3, True, Situation(down=3, distance_yd=7.0, yards_to_goal=65.0))
    return Scene(path, times, seen, field_tracks, track_of_player, play, made_up_reading(), matrices)


def _end_zone_camera(turn: float, size: tuple[int, int]) -> np.ndarray:
    """From behind the offense, looking toward +x: the sideline camera over a field that is turned by a quarter."""
    quarter = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    return camera(turn, size, centre=(-WIDTH_YD / 2, 12.0, 14.0), tilt_rad=0.30) @ quarter


def _boxes(matrix: np.ndarray, feet_yd: np.ndarray) -> np.ndarray:
    """(N, 4) px boxes of men 2 yd high and 0.8 yd wide, scaled by how large a yard is where they stand."""
    feet = project(matrix, feet_yd)
    steps = np.eye(2) / 2
    yard = np.max([np.linalg.norm(project(matrix, feet_yd + s) - project(matrix, feet_yd - s), axis=1) for s in steps], axis=0)
    return np.column_stack([feet[:, 0] - 0.4 * yard, feet[:, 1] - 2.0 * yard, feet[:, 0] + 0.4 * yard, feet[:, 1]])


def _picture(index: int, matrix: np.ndarray, boxes: np.ndarray, names: list[str], size: tuple[int, int]) -> np.ndarray:
    picture = np.full((size[1], size[0], 3), TURF_BGR, np.uint8)
    grain = np.random.default_rng(index).integers(0, 9, picture.shape[:2], np.uint8)
    picture += grain[..., None]
    for x in range(10, 111, 5):
        line = project(matrix, np.column_stack([np.full(40, x), np.linspace(0, WIDTH_YD, 40)]))
        cv2.polylines(picture, [np.rint(line * 16).astype(np.int32)], False, (225, 230, 228), 1, cv2.LINE_AA, 4)
    for i in np.argsort(boxes[:, 3]):
        x0, y0, x1, y1 = (round(v) for v in boxes[i])
        shirt = (190, 60, 40) if names[i] in OFFENSE else (40, 40, 200)
        cv2.rectangle(picture, (x0, y0), (x1, y1), shirt, -1)
    for bit in range(BITS):
        shade = 235 if index >> bit & 1 else 20
        cv2.rectangle(picture, (bit * SQUARE_PX, 0), ((bit + 1) * SQUARE_PX - 1, SQUARE_PX - 1), (shade,) * 3, -1)
    return picture


def read_number(picture: np.ndarray, scale: float = 1.0) -> int:
    """The frame number burnt into a picture."""
    step = SQUARE_PX * scale
    return sum(1 << bit for bit in range(BITS) if picture[int(step / 2), int((bit + 0.5) * step)].mean() > 128)


def _encode(path: Path, frames: object, times: np.ndarray, size: tuple[int, int], sound: bool, keyframe_every: int) -> None:
    with av.open(str(path), "w") as container:
        x264 = f"keyint={keyframe_every}:scenecut=0:bframes=2:b-adapt=0"
        stream = container.add_stream("libx264", rate=RATE, options={"preset": "ultrafast", "crf": "12", "x264-params": x264})
        stream.width, stream.height, stream.pix_fmt = size[0], size[1], "yuv420p"
        stream.codec_context.time_base = Fraction(1, 1000)
        audio = container.add_stream("aac", rate=48_000, layout="stereo") if sound else None
        for picture, time_s in zip(frames, times, strict=True):  # type: ignore[call-overload]
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts, frame.time_base = round(time_s * 1000), Fraction(1, 1000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
        if audio is not None:
            _tone(container, audio, times)


def _tone(container: object, audio: object, times: np.ndarray) -> None:
    """A tone whose loudness steps up each second, so that a cut can be told by ear."""
    at = np.arange(int((times[-1] + 0.04) * 48_000)) / 48_000
    wave = (np.sin(2 * np.pi * 440 * at) * 0.1 * (1 + np.floor(at))).astype(np.float32)
    for first in range(0, len(wave) - 1023, 1024):
        chunk = np.stack([wave[first : first + 1024]] * 2)
        frame = av.AudioFrame.from_ndarray(chunk, format="fltp", layout="stereo")
        frame.sample_rate, frame.pts, frame.time_base = 48_000, first, Fraction(1, 48_000)
        container.mux(audio.encode(frame))  # type: ignore[attr-defined]
    container.mux(audio.encode(None))  # type: ignore[attr-defined]


def clip_record(scene: Scene, reading: Reading, fingerprint: str, path: Path | None = None) -> ClipRecord:
    """The scene as the library takes it; `path` for another name of the film, as the library holds a path only once."""
    width, height = scene.seen.view.image_size_px
    side = {name: "offense" if name in OFFENSE else "defense" for name in scene.track_of_player}
    size_bytes = scene.path.stat().st_size
    return ClipRecord(path or scene.path, fingerprint, size_bytes, float(RATE), float(scene.times_s[-1]), width, height,
                      len(scene.times_s), scene.seen.tracks, scene.field_tracks, scene.seen.view, reading,
                      scene.track_of_player, side, {"all": 1.0})
