"""One long film into several short ones in a single pass, the pictures copied as they are.

A copied film can only begin at a keyframe: each begins at the one at or before the moment asked for, never later, and says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av

from tagger.cutups.whole_file import OutputError, written_whole

IN_MP4 = frozenset({"h264", "hevc", "mpeg4", "av1", "mjpeg", "vp9"})
"""Codecs that an MP4 may hold; others go into Matroska."""


_GIVEN_UP = (OutputError, OutputError("given up"), None)


@dataclass(frozen=True)
class Part:
    """A stretch of the film, in its own clock, and where it goes (the ending is chosen here)."""

    start_s: float
    end_s: float
    out: Path


@dataclass(frozen=True)
class WrittenPart:
    """What was written: `path`, and `begins_s`, the moment of the long film that is 0 in it."""

    path: Path
    begins_s: float


def cut_apart(film: Path, parts: Sequence[Part], tell: Callable[[float], None] | None = None) -> list[WrittenPart]:
    """Write each part; they may overlap. Raises ValueError with one line for film that cannot be copied, OutputError where the
    disk refuses (what was written before stays)."""
    waiting = sorted(parts, key=lambda part: part.start_s)
    done: list[WrittenPart] = []
    with ExitStack() as stack:
        source = stack.enter_context(av.open(f"file:{film.resolve()}"))
        stream = source.streams.video[0]
        ending = ".mp4" if stream.codec_context.name in IN_MP4 else ".mkv"
        writing: list[_Writing] = []
        stack.callback(lambda: [one.give_up() for one in writing])
        for group in _groups(source, stream, film):
            starts_s, ends_s = group.shown_s
            if tell is not None and waiting:
                tell(min(1.0, starts_s / max(part.end_s for part in parts)))
            while waiting and waiting[0].start_s < ends_s:
                part = waiting.pop(0)
                writing.append(_Writing(stream, part, part.out.with_suffix(ending), starts_s, group.packets[0].pts))
            for one in writing:
                one.take(group.packets)
            for one in [one for one in writing if one.part.end_s <= ends_s]:
                writing.remove(one)
                done.append(one.close())
            if not waiting and not writing:
                break
        while writing:
            done.append(writing.pop(0).close())
    if waiting:
        raise ValueError(f"{film}: ends before {waiting[0].start_s:.1f} s, where the cut list has a rep; "
                         "correct or delete the list")
    return done


@dataclass(frozen=True)
class _Group:
    """A keyframe and the packets up to the next, in coded order; `shown_s` from the first picture to the next group's."""

    packets: list[Any]
    shown_s: tuple[float, float]


def _groups(source: Any, stream: Any, film: Path) -> Iterator[_Group]:
    packets: list[Any] = []
    for packet in source.demux(stream):
        if not packet.size:
            continue
        if packet.pts is None or packet.dts is None:
            raise ValueError(f"{film}: its pictures carry no times, so it cannot be cut; export it as MP4")
        if packet.is_keyframe and packets:
            yield _Group(packets, (_s(packets[0]), _s(packet)))
            packets = []
        if packets or packet.is_keyframe:
            packets.append(packet)
    if packets:
        last = max(packets, key=lambda packet: packet.pts)
        yield _Group(packets, (_s(packets[0]), _s(last) + float((last.duration or 1) * last.time_base)))


def _s(packet: Any) -> float:
    return float(packet.pts * packet.time_base)


class _Writing:
    """One part on its way to the disk."""

    def __init__(self, stream: Any, part: Part, path: Path, begins_s: float, first_pts: int) -> None:
        self.part, self._path, self._begins_s, self._first_pts = part, path, begins_s, first_pts
        self._stack = ExitStack()
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = self._stack.enter_context(written_whole(path))
        self._out = self._stack.enter_context(av.open(str(temporary), "w", format="matroska" if path.suffix == ".mkv" else "mp4"))
        self._stream = self._out.add_stream_from_template(stream)

    def take(self, packets: list[Any]) -> None:
        """Those of a group's packets that belong here."""
        for packet in packets:
            early = packet.pts < self._first_pts  # shown before the keyframe: needs pictures that are not here
            if early or float(packet.dts * packet.time_base) > self.part.end_s:
                continue
            copy = av.Packet(bytes(packet))
            copy.stream, copy.time_base = self._stream, packet.time_base
            copy.pts, copy.dts = packet.pts - self._first_pts, packet.dts - self._first_pts
            copy.duration, copy.is_keyframe = packet.duration, packet.is_keyframe
            self._out.mux(copy)

    def give_up(self) -> bool:
        """Leave nothing behind."""
        with suppress(Exception):
            self._stack.__exit__(*_GIVEN_UP)
        return True

    def close(self) -> WrittenPart:
        """Move it to its place. Raises OutputError."""
        try:
            self._stack.close()
        except (av.error.FFmpegError, OSError) as error:
            why = error.strerror or error
            raise OutputError(f"{self._path}: cannot be written ({why}); free some space and try again") from error
        return WrittenPart(self._path, self._begins_s)
