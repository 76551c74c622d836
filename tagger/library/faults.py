"""What can go wrong with a library, in one line each."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class LibraryError(ValueError):
    """A library that cannot be used as asked; the message says what, where and what to do."""


class LibraryBusy(LibraryError):
    """Another program holds the library; waiting helps."""


class StaleEdit(LibraryError):
    """A change that was made on an older state of a rep than the library's."""


def explain(error: sqlite3.Error, path: Path) -> LibraryError:
    """The one line for what SQLite met at `path`."""
    code = (getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF  # extended codes carry the primary one in their low byte
    text = str(error)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return LibraryBusy(f"{path}: another program is writing to this library; wait until it is done, then try again")
    if code == sqlite3.SQLITE_FULL:
        return LibraryError(f"{path}: the disk is full, nothing was saved; free some space, then tag again")
    if code == sqlite3.SQLITE_READONLY:
        return LibraryError(f"{path}: the library may not be written; check who owns the folder, or name another with --library")
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return LibraryError(f"{path}: not a library, or damaged ({text}); move it away, restore a copy or tag the film again")
    if code == sqlite3.SQLITE_CANTOPEN:
        return LibraryError(f"{path}: cannot be opened; check that the folder exists and may be written")
    if code == sqlite3.SQLITE_IOERR:
        return LibraryError(f"{path}: the disk failed while reading or writing ({text}); check the drive, then try again")
    return LibraryError(f"{path}: {text}")


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into a LibraryError's one line."""
    try:
        yield
    except sqlite3.Error as error:
        raise explain(error, path) from error
