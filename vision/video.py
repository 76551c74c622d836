"""Frames out of a video file, each with its exact time from the container. Alone in knowing PyAV.

Times are the container's presentation timestamps in seconds, so variable frame rates and B-frames come out right; a file
may start at a time other than 0 (`VideoInfo.start_s`). Rotation side data, non-square pixels and interlacing are undone.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import numpy.typing as npt

MAX_SIDE_PX = 8192
"""Largest side that is decoded: beyond 8K UHD (7680), so more is a broken or hostile file, not film."""

FALLBACK_RATE = Fraction(30)
"""Frames per second assumed between frames without timestamps in a stream that does not tell its rate."""

MISSING_TAIL_S = 0.5
"""A file that ends this much before the duration it promises is reported as truncated."""


@dataclass(frozen=True)
class VideoInfo:
    """What a file says of its picture. `width_px`, `height_px` as shown: after rotation and with square pixels.

    `frame_count` and `rate_hz` are None where the container does not tell; `duration_s` is 0 there. `rotation_deg` is how
    far the coded picture is turned counter-clockwise to be shown: 0, 90, 180 or 270.
    """

    path: Path
    width_px: int
    height_px: int
    frame_count: int | None
    duration_s: float
    rate_hz: float | None
    start_s: float
    rotation_deg: int
    codec: str
    interlaced: bool


@dataclass(frozen=True)
class Frame:
    """One picture: `index` counts decoded frames from 0, `time_s` is the container's, `bgr` (H, W, 3) uint8."""

    index: int
    time_s: float
    bgr: npt.NDArray[np.uint8]


def probe(path: str | Path) -> VideoInfo:
    """Read a file's description and its first frame. Raises FileNotFoundError, or ValueError with one clear line."""
    with _open(Path(path)) as container:
        stream = _video_stream(container, Path(path))
        first = next(_decode_packets(container, stream, _Problem()), None)
        if first is None:
            raise ValueError(f"{path}: no frame can be decoded; export the clip anew")
        turn = _quarter_turns(first)
        width, height = _shown_size(first, turn, stream)
        rate = stream.average_rate
        return VideoInfo(
            path=Path(path), width_px=width, height_px=height, frame_count=stream.frames or None,
            duration_s=_duration_s(container, stream) or 0.0, rate_hz=float(rate) if rate else None,
            start_s=float(first.time) if first.time is not None else 0.0, rotation_deg=90 * turn,
            codec=stream.codec_context.name, interlaced=first.interlaced_frame,
        )


def recorded_at(path: str | Path) -> datetime | None:
    """When the camera says that it recorded a film (`creation_time`, for MP4 and MOV that of ISO/IEC 14496-12, 8.2.2); None where
    it does not say. Raises FileNotFoundError, or ValueError with one clear line."""
    with _open(Path(path)) as container:
        said = [part.metadata.get("creation_time") for part in (container, *container.streams)]
    try:
        at = datetime.fromisoformat(next(text for text in said if text))
    except (StopIteration, ValueError):
        return None
    at = at if at.tzinfo else at.replace(tzinfo=UTC)
    return at if at.year > 1970 else None  # an unset clock


def read_frames(path: str | Path, max_height_px: int | None = None, every: int = 1) -> FrameReader:
    """Stream a clip's frames, no higher than `max_height_px` (never enlarged), only those whose index is a multiple of `every`.

    All frames have the first one's size. Errors come at the call (missing file, not a video) or at the first frame (nothing
    decodes); damage later on ends or thins the stream and is told in `FrameReader.problem`.
    """
    if every < 1 or (max_height_px is not None and max_height_px < 2):
        raise ValueError(f"read_frames: every={every}, max_height_px={max_height_px}; wanted at least 1 and 2")
    return FrameReader(Path(path), max_height_px, every)


@dataclass
class _Problem:
    """What went wrong while decoding."""

    bad_packets: int = 0
    message: str = ""


class FrameReader(Iterator[Frame]):
    """Iterator over frames. `problem` is empty, or after the last frame one line on what was missing; `decoded` counts."""

    def __init__(self, path: Path, max_height_px: int | None, every: int) -> None:
        self.path, self.problem, self.decoded = path, "", 0
        self._max_height_px, self._every = max_height_px, every
        self._container = _open(path)
        try:
            self._stream = _video_stream(self._container, path)
        except ValueError:
            self._container.close()
            raise
        self._frames: Generator[Frame, None, None] = self._read()

    def __iter__(self) -> FrameReader:
        return self

    def __next__(self) -> Frame:
        return next(self._frames)

    def close(self) -> None:
        """Let go of the file before the end."""
        self._frames.close()
        self._container.close()

    def _read(self) -> Generator[Frame, None, None]:
        problem = _Problem()
        clock = _Clock(self._stream.average_rate or self._stream.guessed_rate or FALLBACK_RATE)
        size: tuple[int, int] | None = None
        try:
            for picture in _decode(self._container, self._stream, problem):
                turn = _quarter_turns(picture)
                size = size or _fit(_shown_size(picture, turn, self._stream), self._max_height_px)
                time_s = clock.next(picture.time)
                index, self.decoded = self.decoded, self.decoded + 1
                if index % self._every == 0:
                    yield Frame(index, time_s, _to_bgr(picture, turn, size))
        finally:
            duration_s = _duration_s(self._container, self._stream)
            self._container.close()
        if not self.decoded:
            raise ValueError(f"{self.path}: no frame can be decoded; export the clip anew")
        self.problem = _describe(problem, clock, duration_s, self.path)


class _Clock:
    """Container time where there is one, the nominal step where there is none or it does not grow."""

    def __init__(self, rate: Fraction) -> None:
        self.step_s = float(1 / rate)
        self.first_s: float | None = None
        self.last_s = 0.0

    def next(self, stamp: float | None) -> float:
        if self.first_s is None:
            self.first_s = self.last_s = float(stamp or 0.0)
        elif stamp is not None and stamp > self.last_s:
            self.last_s = float(stamp)
        else:
            self.last_s += self.step_s
        return self.last_s


def _open(path: Path) -> Any:
    if not path.exists():
        raise FileNotFoundError(f"{path}: no such file")
    if path.is_dir():
        raise ValueError(f"{path}: is a folder, wanted a video file")
    try:
        # `file:` and the whitelist keep a crafted name or playlist from reaching the network.
        return av.open(f"file:{path.resolve()}", options={"protocol_whitelist": "file,crypto,data"}, metadata_errors="replace")
    except (av.error.FFmpegError, OSError) as error:
        raise ValueError(f"{path}: not a video that can be read ({error.strerror or error}); export the clip anew") from None


def _video_stream(container: Any, path: Path) -> Any:
    """The first moving picture: cover art is none. Raises ValueError for audio only, unknown codecs, monstrous sizes."""
    streams = [s for s in container.streams.video if not s.disposition & av.stream.Disposition.attached_pic]
    if not streams:
        raise ValueError(f"{path}: holds no video, only sound or data")
    stream = streams[0]
    if stream.codec_context is None:
        raise ValueError(f"{path}: its codec is unknown here; export the clip as H.264")
    if stream.width == 0 or stream.height == 0:
        raise ValueError(f"{path}: no frame can be decoded (the picture has no size); export the clip anew")
    _check_size(stream.width, stream.height, path)
    stream.thread_type = "AUTO"
    return stream


def _check_size(width: int, height: int, path: Path | str) -> None:
    if max(width, height) > MAX_SIDE_PX:
        raise ValueError(f"{path}: picture of {width} x {height} px, more than {MAX_SIDE_PX} px a side; export the clip smaller")


def _decode(container: Any, stream: Any, problem: _Problem) -> Iterator[Any]:
    """Frames in order of presentation; damaged packets are skipped and counted, a broken end is noted."""
    graph: Any = None
    for frame in _decode_packets(container, stream, problem):
        _check_size(frame.width, frame.height, container.name.removeprefix("file:"))
        if graph is None and not frame.interlaced_frame:
            yield frame
            continue
        graph = graph or _deinterlacer(stream)
        graph.vpush(frame)
        yield from _pull(graph)
    if graph is not None:
        graph.vpush(None)
        yield from _pull(graph)


def _decode_packets(container: Any, stream: Any, problem: _Problem) -> Iterator[Any]:
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except (av.error.FFmpegError, OSError) as error:
            problem.message = error.strerror or str(error)
            packet = None
        try:
            yield from stream.codec_context.decode(packet) if packet is None else packet.decode()
        except av.error.EOFError:
            pass
        except av.error.FFmpegError:
            problem.bad_packets += 1
        if packet is None:
            return


def _deinterlacer(stream: Any) -> Any:
    graph = av.filter.Graph()
    source = graph.add_buffer(template=stream)
    # Only frames marked as interlaced are touched, and each frame stays one frame.
    filtered = graph.add("bwdif", "mode=send_frame:deint=interlaced")
    source.link_to(filtered)
    filtered.link_to(graph.add("buffersink"))
    graph.configure()
    return graph


def _pull(graph: Any) -> Iterator[Any]:
    while True:
        try:
            yield graph.vpull()
        except (av.error.BlockingIOError, av.error.EOFError):
            return


def _quarter_turns(picture: Any) -> int:
    """Quarter turns counter-clockwise from the coded to the shown picture."""
    quarters: int = round(picture.rotation / 90)
    return quarters % 4


def _shown_size(picture: Any, turn: int, stream: Any) -> tuple[int, int]:
    """(width, height) after making pixels square and turning."""
    ratio = stream.sample_aspect_ratio
    width = round(picture.width * ratio) if ratio and Fraction(1, 4) <= ratio <= 4 else picture.width
    return (picture.height, width) if turn % 2 else (width, picture.height)


def _fit(size: tuple[int, int], max_height_px: int | None) -> tuple[int, int]:
    width, height = size
    if max_height_px is None or height <= max_height_px:
        return size
    return max(2, 2 * round(width * max_height_px / height / 2)), max_height_px


def _to_bgr(picture: Any, turn: int, size: tuple[int, int]) -> npt.NDArray[np.uint8]:
    coded = size[::-1] if turn % 2 else size
    # One pass scales and converts; AREA keeps thin painted lines that bilinear would lose.
    bgr = picture.reformat(coded[0], coded[1], "bgr24", interpolation="AREA").to_ndarray()
    turns = (None, cv2.ROTATE_90_COUNTERCLOCKWISE, cv2.ROTATE_180, cv2.ROTATE_90_CLOCKWISE)
    code = turns[turn]
    return bgr if code is None else np.ascontiguousarray(cv2.rotate(bgr, code))


def _duration_s(container: Any, stream: Any) -> float | None:
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return float(container.duration / av.time_base) if container.duration else None


def _describe(problem: _Problem, clock: _Clock, duration_s: float | None, path: Path) -> str:
    seen_s = clock.last_s + clock.step_s - (clock.first_s or 0.0)
    if duration_s is not None and duration_s - seen_s > MISSING_TAIL_S:
        return f"{path}: truncated, {seen_s:.1f} s of the promised {duration_s:.1f} s could be decoded"
    if problem.message or problem.bad_packets:
        return f"{path}: damaged, {problem.bad_packets} packets could not be decoded {problem.message}".rstrip()
    return ""
