"""Serves a clip's bytes, whole or a range (RFC 9110, section 14), so that a browser can jump about in it.

The client names a clip by its number; which file that is, the library knows. Reading happens in worker threads, at most
`MAX_READERS` at once, so that a browser asking for hundreds of ranges cannot starve the pages.
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

import anyio
import anyio.to_thread
from starlette.responses import Response, StreamingResponse

from tagger.review.safety import refused

CHUNK_BYTES = 256 * 1024
MAX_READERS = 16
MEDIA_TYPES = {".mp4": "video/mp4", ".m4v": "video/mp4", ".mov": "video/mp4", ".webm": "video/webm", ".mkv": "video/webm"}


@dataclass(frozen=True)
class ByteRange:
    """Bytes `first` to `last`, both included, of a file of `size`."""

    first: int
    last: int
    size: int

    @property
    def length(self) -> int:
        return self.last - self.first + 1


def parse_range(header: str | None, size: int) -> ByteRange | None:
    """The one range that is asked for; None where the whole file is to be sent (no header, several ranges, another unit).
    Raises ValueError where the range lies outside the file."""
    match = re.fullmatch(r"bytes=(\d{0,18})-(\d{0,18})", header or "", re.ASCII)
    if match is None or match[1] == match[2] == "":
        return None
    if match[1] == "":
        if int(match[2]) == 0 or size == 0:
            raise ValueError("an empty range")
        return ByteRange(max(size - int(match[2]), 0), size - 1, size)
    first = int(match[1])
    last = min(int(match[2]), size - 1) if match[2] else size - 1
    if match[2] and int(match[2]) < first:
        return None
    if first >= size:
        raise ValueError("a range behind the end of the file")
    return ByteRange(first, last, size)


class FilmServer:
    """Answers requests for film; `readers` bounds how many read from the disk at once."""

    def __init__(self) -> None:
        self._readers: anyio.CapacityLimiter | None = None

    async def answer(self, path: Path, range_header: str | None, etag: str) -> Response:
        """The file or the asked range of it; one plain line if the file has gone."""
        try:
            size = (await anyio.Path(path).stat()).st_size
        except OSError:
            return refused(404, f"{path.name}: the film is not where it was tagged; plug the drive in or tag it again")
        headers = {"accept-ranges": "bytes", "etag": f'"{etag}"', "cache-control": "private, max-age=3600"}
        try:
            asked = parse_range(range_header, size)
        except ValueError:
            return Response(status_code=416, headers={"content-range": f"bytes */{size}", "accept-ranges": "bytes"})
        part = asked or ByteRange(0, size - 1, size)
        headers["content-length"] = str(part.length)
        if asked:
            headers["content-range"] = f"bytes {part.first}-{part.last}/{size}"
        media_type = MEDIA_TYPES.get(path.suffix.lower(), "application/octet-stream")
        return StreamingResponse(self._stream(path, part), 206 if asked else 200, headers, media_type)

    async def _stream(self, path: Path, part: ByteRange) -> AsyncIterator[bytes]:
        if self._readers is None:
            self._readers = anyio.CapacityLimiter(MAX_READERS)
        at = part.first
        while at <= part.last:
            chunk = await anyio.to_thread.run_sync(_read, path, at, min(CHUNK_BYTES, part.last - at + 1), limiter=self._readers)
            if not chunk:
                return
            yield chunk
            at += len(chunk)


def _read(path: Path, offset: int, length: int) -> bytes:
    with path.open("rb") as file:
        file.seek(offset)
        return file.read(length)
