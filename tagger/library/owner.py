"""Who is alive: a locked file for each program that works on a library. The system lets the lock go when the program dies,
however it dies, so no clock and no process number has to be believed."""

from __future__ import annotations

import os
import socket
import time
import uuid
from pathlib import Path
from types import TracebackType
from typing import IO, Self

LOCKS = "locks"
WATCH = "watch"
LOOK_S = 0.2


class Owner:
    """This program's name in the queue, as a context: alive from entering to leaving. Raises ValueError where another living
    program has the same `name`; left out, it is one that no other has."""

    def __init__(self, library: Path, name: str | None = None) -> None:
        self.folder = library / LOCKS
        self.name = name or f"{socket.gethostname()}-{os.getpid()}-{uuid.uuid4().hex[:8]}"
        self._only_ours = name is None
        self._file: IO[bytes] | None = None

    def __enter__(self) -> Self:
        self.folder.mkdir(parents=True, exist_ok=True)
        self._file = _lock(self.folder / f"{self.name}.lock") or _lock_soon(self.folder / f"{self.name}.lock")
        if self._file is None:
            raise ValueError(f"{self.folder.parent}: another deepthird does the same on this library already; stop it first")
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        if self._file is not None:
            if self._only_ours:  # a shared name's file stays: whoever waits for it must find the same file
                (self.folder / f"{self.name}.lock").unlink(missing_ok=True)
            self._file.close()

    def is_dead(self, name: str) -> bool:
        """True if the program that called itself so lives no more."""
        path = self.folder / f"{name}.lock"
        if name == self.name or not path.exists():
            return name != self.name
        file = _lock(path)
        if file is None:
            return False
        if name != WATCH:
            path.unlink(missing_ok=True)
        file.close()
        return True


def somebody_works(library: Path) -> bool:
    """True if a program (tag, watch) works on this library's queue now."""
    for path in (library / LOCKS).glob("*.lock"):
        try:
            file = _lock(path)
        except OSError:  # gone between the listing and here
            continue
        if file is None:
            return True
        file.close()
    return False


def _lock_soon(path: Path) -> IO[bytes] | None:
    """Once more after a moment: somebody may only have looked who is alive."""
    time.sleep(LOOK_S)
    return _lock(path)


def _lock(path: Path) -> IO[bytes] | None:
    """The open file, locked by us; None if another holds it."""
    file = path.open("ab")
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        file.close()
        return None
    return file
