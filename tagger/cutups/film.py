"""An EditList as one H.264 MP4 that any player and browser shows: decoded once, drawn on, encoded with the film's own times."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import Any, TypeVar

import av
import cv2
import numpy as np

from tagger.cutups.copying import copy_edit, copy_pictures
from tagger.cutups.edit_list import FILM, STILL, EditList, Piece
from tagger.cutups.lettering import darken, draw_words, word_mask
from tagger.cutups.overlay import RepOverlay
from tagger.cutups.slate import slate_picture
from tagger.cutups.sound import SoundWriter, has_sound, read_sound
from tagger.cutups.whole_file import OutputError, written_whole
from vision.video import Frame, probe, read_frames

TIME_BASE = Fraction(1, 90_000)
HELD_FRAMES_PER_S = 10
"""A picture that is held (slate, frozen snap) is repeated this often, so that a player can seek into it."""
KEYFRAME_EVERY = 20
"""Pictures from one keyframe to the next at most: scrubbing stays quick."""
AHEAD = 6
ENCODER = {"preset": "ultrafast", "crf": "20", "x264-params": f"keyint={KEYFRAME_EVERY}:scenecut=0:deblock=0,0"}
"""A third of the work of the next preset; on grainy turf its files are hardly larger at the same fidelity. The loop filter, which
it leaves out, is put back: blocks would show on large pictures."""
BT709, SMPTE170M = 1, 6
"""FFmpeg's numbers for colour primaries and transfer, and for the matrix that OpenCV's conversion to YUV follows."""

Progress = Callable[[float, str], None]
T = TypeVar("T")


@dataclass(frozen=True)
class Cut:
    """What was written. `edit` is what really is in the film (a copied cut may begin at the keyframe before); `copied` True if
    the pictures are the source's own, else `why` tells the reason."""

    path: Path
    edit: EditList
    frame_count: int
    copied: bool
    why: str


def write_film(edit: EditList, path: Path, overlays: Mapping[tuple[int, int], RepOverlay] | None = None,
               progress: Progress | None = None) -> Cut:
    """Write the cut-up. `overlays` by (rep, clip) of the edit list.

    Raises FileNotFoundError for a film that is gone, OutputError where the disk refuses; nothing is left at `path` then but
    what was there before.
    """
    _check_sources(edit, path)
    edit, runs, why = copy_edit(edit)
    sound = edit.style.sound and any(has_sound(source) for source in sources(edit))
    with written_whole(path) as temporary:
        with av.open(str(temporary), "w", format="mp4", options={"movflags": "+faststart"}) as container:
            if why:
                count = _Encoding(edit, container, sound, overlays or {}, progress).run()
            else:
                count = copy_pictures(edit, runs, container, sound)
        _check_written(temporary, path, count)
    return Cut(path, edit, count, not why, why)


def sources(edit: EditList) -> list[Path]:
    """The files that the cut-up is made of, each once, in order of use."""
    return list(dict.fromkeys(edit.reps[p.rep].clips[p.clip].path for p in edit.pieces if p.clip is not None))


def _check_sources(edit: EditList, path: Path) -> None:
    for source in sources(edit):
        if not source.exists():
            raise FileNotFoundError(f"{source}: the film is gone since it was tagged; put it back, or tag it where it is now")
        if path.exists() and source.samefile(path):
            raise OutputError(f"{path}: is one of the films to be cut; give the cut-up another name")


def _check_written(temporary: Path, path: Path, count: int) -> None:
    """Read back what was written: a full disk may be told only when the index is moved to the front."""
    with av.open(str(temporary)) as container:
        found = sum(1 for packet in container.demux(container.streams.video[0]) if packet.size)
    if found != count:
        raise OutputError(f"{path}: only {found} of {count} pictures arrived on the disk; free some space and try again")


class _Encoding:
    """One film being encoded."""

    def __init__(self, edit: EditList, container: Any, sound: bool, overlays: Mapping[tuple[int, int], RepOverlay],
                 progress: Progress | None) -> None:
        self._edit, self._container, self._overlays, self._progress = edit, container, overlays, progress
        self._size = canvas_size(edit)
        stream = container.add_stream("libx264", rate=30, options=ENCODER)
        stream.width, stream.height = self._size
        stream.pix_fmt = "yuv420p"
        context = stream.codec_context
        context.time_base, context.thread_count = TIME_BASE, 2
        context.color_primaries = context.color_trc = BT709
        context.colorspace = SMPTE170M
        self._stream = stream
        self._sound = SoundWriter(container) if sound else None
        self._last_pts = -1
        self._count = 0

    def run(self) -> int:
        """Encode every piece; the number of pictures written."""
        for (rep, clip), pieces in groupby(self._edit.pieces, key=lambda piece: (piece.rep, piece.clip)):
            if clip is None:
                self._slates(rep, list(pieces))
            else:
                self._view(rep, clip, list(pieces))
        self._write_packets(self._stream.encode(None))
        if self._sound:
            self._sound.close()
        return self._count

    def _slates(self, rep: int, pieces: list[Piece]) -> None:
        picture = slate_picture(self._edit.reps[rep], self._size, f"{rep + 1} of {len(self._edit.reps)}")
        for piece in pieces:
            self._hold(piece, picture)

    def _view(self, rep: int, clip: int, pieces: list[Piece]) -> None:
        """The pieces of one view in one pass over its film."""
        source = self._edit.reps[rep].clips[clip]
        overlay = self._overlays.get((rep, clip))
        frames = ahead(read_frames(source.path, max_height_px=self._size[1]), AHEAD)
        last: Frame | None = None
        frame = next(frames, None)
        try:
            for piece in pieces:
                while frame is not None and (frame.time_s < piece.start_s
                                             or (piece.kind == STILL and frame.time_s == piece.start_s)):
                    last, frame = frame, next(frames, None)
                if piece.kind == STILL:
                    held = last or frame
                    if held is not None:
                        self._hold(piece, self._stamp(self._drawn(held, overlay), "SNAP"))
                    continue
                while frame is not None and frame.time_s < piece.end_s:
                    picture = self._drawn(frame, overlay)
                    if piece.speed < 1.0:
                        self._stamp(picture, f"{piece.speed:g} x")
                    self._encode(picture, piece.at_s + (frame.time_s - piece.start_s) / piece.speed)
                    last, frame = frame, next(frames, None)
                self._sound_of(piece, source.path)
                self._told(piece)
        finally:
            frames.close()

    def _drawn(self, frame: Frame, overlay: RepOverlay | None) -> np.ndarray:
        """The frame with its overlays on a canvas of its own."""
        picture = overlay.draw(frame.bgr, frame.index, frame.time_s) if overlay else frame.bgr
        return fit_canvas(picture, self._size)

    def _stamp(self, picture: np.ndarray, words: str) -> np.ndarray:
        """A word in the upper left corner, drawn in place."""
        size = self._size[1] // 26
        mask = word_mask(words, size)
        darken(picture, (12, 12, 12 + mask.shape[1] + 16, 12 + mask.shape[0] + 16))
        draw_words(picture, words, 20, 20, size)
        return picture

    def _hold(self, piece: Piece, picture: np.ndarray) -> None:
        for step in range(max(int(piece.lasts_s * HELD_FRAMES_PER_S), 1)):
            self._encode(picture, piece.at_s + step / HELD_FRAMES_PER_S)
        self._sound_of(piece, None)
        self._told(piece)

    def _encode(self, picture: np.ndarray, at_s: float) -> None:
        planes: Any = cv2.cvtColor(picture, cv2.COLOR_BGR2YUV_I420)
        frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
        self._last_pts = max(round(at_s / TIME_BASE) if self._count else 0, self._last_pts + 1)
        frame.pts, frame.time_base = self._last_pts, TIME_BASE
        self._count += 1
        self._write_packets(self._stream.encode(frame))

    def _write_packets(self, packets: Iterable[Any]) -> None:
        for packet in packets:
            self._container.mux(packet)

    def _sound_of(self, piece: Piece, path: Path | None) -> None:
        if self._sound:
            natural = path is not None and piece.kind == FILM and piece.speed == 1.0
            heard = read_sound(path, piece.start_s, piece.end_s) if natural and path is not None else None
            self._sound.add(heard, piece.at_s + piece.lasts_s)

    def _told(self, piece: Piece) -> None:
        if self._progress:
            self._progress((piece.at_s + piece.lasts_s) / self._edit.duration_s, self._edit.reps[piece.rep].name)


def canvas_size(edit: EditList) -> tuple[int, int]:
    """(width, height) px of the cut-up: the style's height, as wide as the first film asks for, both even."""
    info = probe(sources(edit)[0])
    height = min(edit.style.height_px, info.height_px - info.height_px % 2)
    return 2 * round(info.width_px * height / info.height_px / 2), height


def fit_canvas(picture: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """A copy of the picture on a canvas (width, height) px, as large as it fits, black around."""
    width, height = size
    if picture.shape[1::-1] == size:
        return picture.copy()
    scale = min(width / picture.shape[1], height / picture.shape[0])
    inner = min(round(picture.shape[1] * scale), width), min(round(picture.shape[0] * scale), height)
    canvas = np.zeros((height, width, 3), np.uint8)
    left, top = (width - inner[0]) // 2, (height - inner[1]) // 2
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    canvas[top : top + inner[1], left : left + inner[0]] = cv2.resize(picture, inner, interpolation=method)
    return canvas


class ahead(Iterator[T]):
    """Pull an iterator in a thread of its own, a few items ahead: decoding goes on while drawing and encoding."""

    def __init__(self, items: Iterator[T], count: int) -> None:
        self._queue: queue.Queue[tuple[str, Any]] = queue.Queue(count)
        self._stop = threading.Event()
        self._items = items
        self._thread = threading.Thread(target=self._pull, daemon=True)
        self._thread.start()

    def __next__(self) -> T:
        kind, value = self._queue.get()
        if kind == "item":
            return value  # type: ignore[no-any-return]
        self._queue.put((kind, value))
        if kind == "error":
            raise value
        raise StopIteration

    def close(self) -> None:
        """Stop pulling, and close what was pulled from."""
        self._stop.set()
        while self._thread.is_alive():
            with self._queue.mutex:
                self._queue.queue.clear()
                self._queue.not_full.notify_all()
            self._thread.join(0.05)
        if hasattr(self._items, "close"):
            self._items.close()

    def _pull(self) -> None:
        try:
            for item in self._items:
                self._queue.put(("item", item))
                if self._stop.is_set():
                    return
            self._queue.put(("end", None))
        except Exception as error:  # handed over to the thread that asked
            self._queue.put(("error", error))
