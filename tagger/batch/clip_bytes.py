"""A tagged clip as bytes, from the process (or machine) that tagged it to the one that keeps the library.

A ZIP of `clip.json` and the three NPZ of `tagger.library.arrays`: plain values only, because the process that read a hostile
file is not to be trusted with more. The same clip gives the same bytes.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tagger.library import ClipRecord, reading_from_json, reading_to_json
from tagger.library.arrays import pack, unpack_field_tracks, unpack_field_view, unpack_tracks

FORMAT = "deepthird-work/1"
_WHOLE = "whole"
_ARRAYS = ("tracks", "field_tracks", "field_view")
_PLAIN = ("fingerprint", "size_bytes", "fps", "duration_s", "width_px", "height_px", "frame_count")
_MAPPINGS = ("track_of_player", "side_of_player", "seconds", "number_of_player")
_EPOCH = (1980, 1, 1, 0, 0, 0)
"""The time that ZIP members carry: the earliest that the format has, so that equal content is equal bytes."""


def clip_to_bytes(clip: ClipRecord, whole: bytes = b"") -> bytes:
    """The bytes of a tagged clip; `whole` goes along as it is (see `whole_clip`)."""
    facts: dict[str, Any] = {"format": FORMAT, "path": str(clip.path), "reading": reading_to_json(clip.reading)}
    facts |= {name: getattr(clip, name) for name in _PLAIN}
    facts |= {name: dict(getattr(clip, name)) for name in _MAPPINGS}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(zipfile.ZipInfo("clip.json", _EPOCH), json.dumps(facts))
        for name in _ARRAYS:
            archive.writestr(zipfile.ZipInfo(f"{name}.npz", _EPOCH), pack(getattr(clip, name)))
        if whole:
            archive.writestr(zipfile.ZipInfo(_WHOLE, _EPOCH), whole)
    return buffer.getvalue()


def whole_in(data: bytes) -> bytes:
    """What went along; empty if nothing did."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return archive.read(_WHOLE) if _WHOLE in archive.namelist() else b""


def clips_to_bytes(clips: Sequence[bytes]) -> bytes:
    """Several clips' bytes as one, in order."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for number, clip in enumerate(clips):
            archive.writestr(zipfile.ZipInfo(str(number), _EPOCH), clip)
    return buffer.getvalue()


def clips_from_bytes(data: bytes) -> list[ClipRecord]:
    """The inverse. Raises ValueError if the bytes are none."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return [clip_from_bytes(archive.read(str(number))) for number in range(len(archive.namelist()))]
    except (KeyError, zipfile.BadZipFile) as error:
        raise ValueError(f"a worker's answer makes no sense ({error})") from error


def clip_from_bytes(data: bytes) -> ClipRecord:
    """The tagged clip. Raises ValueError if the bytes are none."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            facts = json.loads(archive.read("clip.json"))
            tracks, field_tracks, field_view = (archive.read(f"{name}.npz") for name in _ARRAYS)
        if facts["format"] != FORMAT:
            raise ValueError(f"format {facts['format']}")
        return ClipRecord(
            path=Path(facts["path"]), tracks=unpack_tracks(tracks), field_tracks=unpack_field_tracks(field_tracks),
            field_view=unpack_field_view(field_view), reading=reading_from_json(facts["reading"]),
            **{name: facts[name] for name in (*_MAPPINGS, *_PLAIN)})
    except (KeyError, TypeError, ValueError, zipfile.BadZipFile) as error:
        raise ValueError(f"a worker's answer makes no sense ({type(error).__name__}: {error}); do all machines run the same "
                         "version of deepthird?") from error
