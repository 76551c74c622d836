"""Files that appear whole or not at all: written beside their place under another name, flushed, then moved over it."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import av

REASONS = {
    errno.ENOSPC: "the disk is full, nothing was written; free some space or write to another disk",
    errno.EDQUOT: "the quota is used up, nothing was written; free some space or write to another disk",
    errno.EFBIG: "the file would grow larger than this disk or account allows; cut fewer reps or write to another disk",
    errno.EROFS: "the disk is read-only; write to another folder",
    errno.EACCES: "this folder may not be written; write to another folder",
    errno.EPERM: "this folder may not be written; write to another folder",
    errno.ENOENT: "there is no such folder; make it first or write to another",
    errno.ENOTDIR: "a part of this path is a file, not a folder; write to another folder",
    errno.EISDIR: "is a folder; give the name of a file",
    errno.ENAMETOOLONG: "the name is too long for this disk; give a shorter one",
    errno.EIO: "the disk failed while writing; check the drive",
}


class OutputError(ValueError):
    """A file that could not be written; the message is one line: what, where, what to do."""


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Yield a temporary path in the same folder; move it to `path` when the block ends well, delete it otherwise.

    Raises OutputError with one clear line for what the disk refused; a file that stood at `path` is then as it was.
    """
    if path.is_dir():
        raise OutputError(f"{path}: {REASONS[errno.EISDIR]}")
    temporary = path.with_name(f".{path.stem[:80]}.{os.getpid()}.part{path.suffix}")
    try:
        with open(temporary, "wb"):  # the clearest errors come from opening, before any work is done
            pass
        yield temporary
        _flush(temporary)
        os.replace(temporary, path)
        _flush(path.parent)
    except (OSError, av.error.FFmpegError) as error:
        raise OutputError(_line(path, error)) from error
    finally:
        with suppress(OSError):
            temporary.unlink()


def write_text(path: Path, text: str) -> None:
    """Write a whole UTF-8 text file. Raises OutputError."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Write a whole file. Raises OutputError."""
    with written_whole(path) as temporary:
        temporary.write_bytes(data)


def make_folder(path: Path) -> None:
    """Make a folder if it is not there. Raises OutputError."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(_line(path, error)) from error


def _flush(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _line(path: Path, error: Exception) -> str:
    code = getattr(error, "errno", None)
    told = getattr(error, "strerror", None) or error
    return f"{path}: {REASONS.get(code or 0, f'could not be written ({told})')}"
