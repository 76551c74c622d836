"""A copy of film that a browser cannot show, or cannot step through: plain H.264 at the film's own times, made once."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterable
from contextlib import suppress
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import ClassVar

import av

from tagger.cutups.whole_file import OutputError, make_folder, written_whole
from vision.video import probe, read_frames

FOLDER = "review-copies"
MAX_HEIGHT_PX = 1080
LONGEST_GOP_S = 2.0
"""Farther apart, a jump to a frame decodes so much film that the page stutters."""
KEYFRAME_EVERY_S = 0.5
CLOCK = Fraction(1, 90_000)
SUFFIXES = {".mp4", ".m4v", ".mov"}
PLAYED = {"h264": {"yuv420p", "yuvj420p"}}
"""Codec -> pixel formats that every common browser decodes (H.264 of 8 bits, 4:2:0)."""


def why_not_shown(path: Path) -> str:
    """Why a browser does not show this film well, "" if it does. Reads the packets, decodes but one frame. Raises ValueError
    where it is no film."""
    film = probe(path)
    with av.open(f"file:{path.resolve()}") as container:
        stream = container.streams.video[0]
        context, base = stream.codec_context, float(stream.time_base or 0)
        keys = [p.pts * base for p in container.demux(stream) if p.is_keyframe and p.pts is not None]
        form = context.pix_fmt
    ends = [*sorted(keys), film.start_s + film.duration_s]
    if path.suffix.lower() not in SUFFIXES:
        return f"{path.suffix.lstrip('.') or 'this'} files are not for browsers"
    if form not in PLAYED.get(film.codec, ()):
        return f"{film.codec} ({form}) is not played by every browser"
    if film.interlaced:
        return "the film is interlaced"
    if not keys or max(b - a for a, b in pairwise(ends)) > LONGEST_GOP_S:
        return f"keyframes lie more than {LONGEST_GOP_S:g} s apart"
    return ""


def write_review_copy(path: Path, out: Path) -> None:
    """Write the film to `out` (.mp4): upright, square pixels, no sound, every frame at its own time. Raises ValueError or
    OutputError with one line."""
    with written_whole(out) as temporary, av.open(str(temporary), "w", options={"movflags": "faststart"}) as container:
        stream, key_at_s, last = None, 0.0, -1
        for frame in read_frames(path, MAX_HEIGHT_PX):
            height, width = (side - side % 2 for side in frame.bgr.shape[:2])
            if stream is None:
                stream = container.add_stream("libx264", options={"preset": "veryfast", "crf": "21", "bf": "0", "g": "600"})
                stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
                stream.time_base = stream.codec_context.time_base = CLOCK
                key_at_s = frame.time_s
            picture = av.VideoFrame.from_ndarray(frame.bgr[:height, :width], "bgr24")
            picture.pts, picture.time_base = max(round(frame.time_s / CLOCK), last + 1), CLOCK
            last = picture.pts
            if frame.time_s >= key_at_s:
                picture.pict_type = av.video.frame.PictureType.I
                key_at_s = frame.time_s + KEYFRAME_EVERY_S
            container.mux(stream.encode(picture))
        if stream is not None:
            container.mux(stream.encode(None))


class ReviewCopies:
    """The copies of one library, named after the content of their film. Safe to use from several threads."""

    _locks: ClassVar[dict[Path, threading.Lock]] = {}
    _door = threading.Lock()

    def __init__(self, library: Path) -> None:
        self.folder = library / FOLDER
        self._shown: dict[tuple[Path, str], Path] = {}

    def shown(self, film: Path, fingerprint: str) -> Path:
        """What to show of a film: itself, or its copy, made at the first call. Where no copy can be made, the film as it is."""
        copy = self.folder / f"{fingerprint}.mp4"
        with self._door:
            lock = self._locks.setdefault(copy, threading.Lock())
        with lock:
            known = self._shown.get((film, fingerprint))
            if known is None or not known.exists():
                known = self._shown[film, fingerprint] = self._made(film, copy)
            return known

    def prepare(self, films: Iterable[tuple[Path, str]]) -> None:
        """Make what is wanted of (film, fingerprint), one after the other: then no page waits for it."""
        for film, fingerprint in films:
            self.shown(film, fingerprint)

    def _made(self, film: Path, copy: Path) -> Path:
        if copy.exists():
            return copy
        with suppress(ValueError, OSError, av.error.FFmpegError):
            if why_not_shown(film):
                make_folder(self.folder)
                write_review_copy(film, copy)
                return copy
        return film


def forget_copies(library: Path, kept: Collection[str]) -> list[Path]:
    """Remove the copies of film that is not among `kept` (fingerprints); returns what went."""
    gone = [path for path in (library / FOLDER).glob("*.mp4") if path.stem not in kept]
    for path in gone:
        path.unlink()
    return gone


__all__ = ["OutputError", "ReviewCopies", "forget_copies", "why_not_shown", "write_review_copy"]
