"""Cutting without encoding anew: the source's own H.264 packets, from a keyframe on, where nothing is drawn.

A cut may begin a little earlier than asked, at the keyframe before, and end up to a few pictures later, where the coded
order closes; never later at the front or earlier at the end. The edit list returned says what really is in the film.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate
from pathlib import Path
from typing import Any

import av

from tagger.cutups.edit_list import EditList, Piece
from tagger.cutups.sound import SoundWriter, read_sound

EARLIER_S = 0.5
"""A copied cut may begin this much earlier than asked."""


@dataclass(frozen=True)
class Packets:
    """One film's picture packets in coded order: `pts` and `dts` in units of `time_base`, and what must agree to be joined."""

    path: Path
    pts: tuple[int, ...]
    dts: tuple[int, ...]
    key: tuple[bool, ...]
    last_duration: int
    time_base: Fraction
    form: tuple[Any, ...]
    height_px: int


@dataclass(frozen=True)
class Run:
    """Packets `first` <= number < `last` of a film; those shown before `pts[first]` are left out."""

    packets: Packets
    first: int
    last: int

    @property
    def start(self) -> int:
        """Presentation time of the first picture, in the film's time base."""
        return self.packets.pts[self.first]

    @property
    def stop(self) -> int:
        """Presentation time at which the last picture ends."""
        film = self.packets
        if self.last < len(film.pts):
            return min(film.pts[self.last :])
        return max(film.pts[self.first :]) + film.last_duration


def copy_edit(edit: EditList) -> tuple[EditList, list[Run], str]:
    """The edit list as it comes out of copying, its runs of packets, and "" - or the reason why it cannot be copied."""
    if not edit.style.plain:
        return edit, [], "something is drawn, held or slowed"
    films: dict[Path, Packets] = {}
    runs: list[Run] = []
    pieces: list[Piece] = []
    at_s = 0.0
    for piece in edit.pieces:
        assert piece.clip is not None  # a plain style has film only
        path = edit.reps[piece.rep].clips[piece.clip].path
        film = films.setdefault(path, films.get(path) or read_packets(path))
        run, why = _run(film, piece, edit.style.height_px)
        if run is None:
            return edit, [], why
        if runs and film.form != runs[0].packets.form:
            return edit, [], f"{path.name} is coded in another way than {runs[0].packets.path.name}"
        start_s, stop_s = float(run.start * film.time_base), float(run.stop * film.time_base)
        pieces.append(replace(piece, start_s=start_s, end_s=stop_s, at_s=at_s, lasts_s=stop_s - start_s))
        at_s += stop_s - start_s
        runs.append(run)
    return replace(edit, pieces=tuple(pieces)), runs, ""


def read_packets(path: Path) -> Packets:
    """List a film's picture packets without decoding them."""
    with av.open(f"file:{path.resolve()}") as container:
        stream = container.streams.video[0]
        found = [packet for packet in container.demux(stream) if packet.size]
        whole = [p for p in found if p.pts is not None and p.dts is not None]
        context = stream.codec_context
        # Side data (a rotation) and stretched pixels would be lost or shown wrong beside another film's.
        form = (context.name, context.extradata, context.width, context.height, context.pix_fmt, stream.sample_aspect_ratio)
        usable = context.name == "h264" and len(whole) == len(found) and not _turned(path)
        last_duration = whole[-1].duration or 0 if whole else 0
        pts, dts = tuple(int(p.pts or 0) for p in whole), tuple(int(p.dts or 0) for p in whole)
        return Packets(path, pts, dts, tuple(p.is_keyframe for p in whole), int(last_duration), Fraction(stream.time_base or 1),
                       form if usable else (), context.height)


def _turned(path: Path) -> bool:
    with av.open(f"file:{path.resolve()}") as container:
        first = next(container.decode(container.streams.video[0]), None)
        return first is None or bool(first.rotation) or bool(first.interlaced_frame)


def _run(film: Packets, piece: Piece, height_px: int) -> tuple[Run | None, str]:
    name = film.path.name
    if not film.form or not film.pts:
        return None, f"{name} is not plain H.264"
    if film.height_px > height_px:
        return None, f"{name} is higher than {height_px} px"
    start, stop = piece.start_s / film.time_base, piece.end_s / film.time_base
    keys = [i for i, (pts, key) in enumerate(zip(film.pts, film.key, strict=True)) if key and pts <= start + 1]
    if not keys or start - film.pts[keys[-1]] > EARLIER_S / film.time_base:
        return None, f"{name} has no keyframe within {EARLIER_S:g} s before {piece.start_s:.2f} s"
    first = keys[-1]
    # To cut before packet `last`, all that is still wanted and all that is shown before it must have been coded.
    next_shown = list(accumulate(reversed(film.pts), min))[::-1]
    last = first + 1
    shown = film.pts[first]
    while last < len(film.pts) and (next_shown[last] < stop or next_shown[last] <= shown):
        shown = max(shown, film.pts[last])
        last += 1
    return Run(film, first, last), ""


def copy_pictures(edit: EditList, runs: list[Run], container: Any, sound: bool) -> int:
    """Write the runs one after the other, the sound encoded beside them; the number of pictures written."""
    with av.open(f"file:{runs[0].packets.path.resolve()}") as first:
        stream = container.add_stream_from_template(first.streams.video[0])
    writer = SoundWriter(container) if sound else None
    count, last_dts = 0, -(1 << 60)
    for piece, run in zip(edit.pieces, runs, strict=True):
        film = run.packets
        shift = round(piece.at_s / film.time_base) - run.start
        for packet in _packets_of(run):
            packet.stream = stream
            packet.pts += shift
            packet.dts = min(max(packet.dts + shift, last_dts + 1), packet.pts)
            last_dts = packet.dts
            container.mux(packet)
            count += 1
        if writer:
            writer.add(read_sound(film.path, piece.start_s, piece.end_s), piece.at_s + piece.lasts_s)
    if writer:
        writer.close()
    return count


def _packets_of(run: Run) -> Iterator[Any]:
    with av.open(f"file:{run.packets.path.resolve()}") as container:
        number = 0
        for packet in container.demux(container.streams.video[0]):
            if not packet.size:
                continue
            if run.first <= number < run.last and (packet.pts or 0) >= run.start:
                yield packet
            number += 1
            if number >= run.last:
                return
