"""Opening the database file: pragmas, and the numbered migrations that bring it to this program's schema."""

from __future__ import annotations

import os
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

from tagger.library.faults import LibraryError, explained

BUSY_TIMEOUT_S = 5.0
FILE_NAME = "library.sqlite"


def migrations() -> list[tuple[int, str]]:
    """(number, SQL) of every migration in order; the numbers are 1, 2, 3, ... without a gap."""
    found = []
    for entry in files("tagger.library").joinpath("schema").iterdir():
        match = re.fullmatch(r"(\d{4})_\w+\.sql", entry.name)
        if match:
            found.append((int(match[1]), entry.read_text(encoding="utf-8")))
    found.sort()
    if [number for number, _ in found] != list(range(1, len(found) + 1)):
        raise LibraryError("the installed program lacks a migration of the library; install it again")
    return found


def schema_version(connection: sqlite3.Connection) -> int:
    """Number of the last migration that this file has seen, 0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def connect(folder: Path, read_only: bool = False) -> sqlite3.Connection:
    """Open (and create or migrate, unless `read_only`) the library in `folder`. Raises LibraryError."""
    path = folder / FILE_NAME
    if read_only:
        return _connect_read_only(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        line = f"{folder}: the library's folder cannot be made ({error.strerror}); name another with --library"
        raise LibraryError(line) from error
    with explained(path):
        connection = sqlite3.connect(path, timeout=BUSY_TIMEOUT_S, isolation_level=None)
        try:
            _set_up(connection)
            if schema_version(connection) != len(migrations()):
                migrate(connection, path)
        except BaseException:
            connection.close()
            raise
    return connection


def _connect_read_only(path: Path) -> sqlite3.Connection:
    if not path.is_file():
        raise LibraryError(f"{path.parent}: no library here; tag film first (deepthird tag PATH), or name another with --library")
    with explained(path):
        # A write-ahead log needs its side files; on a medium that may not be written only the immutable mode reads.
        mode = "mode=ro" if os.access(path.parent, os.W_OK) else "immutable=1"
        connection = sqlite3.connect(f"{path.resolve().as_uri()}?{mode}", uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None)
        try:
            version = schema_version(connection)
            _refuse_newer(version, path)
            if version < len(migrations()):
                raise LibraryError(f"{path}: made by an older program; open it once with a command that writes, as deepthird tag")
        except BaseException:
            connection.close()
            raise
    connection.row_factory = sqlite3.Row
    return connection


def _set_up(connection: sqlite3.Connection) -> None:
    connection.row_factory = sqlite3.Row
    connection.execute("PRAGMA foreign_keys = ON")
    _write_ahead(connection)
    connection.execute("PRAGMA synchronous = FULL")  # what was said to be saved survives a power cut


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Readers then never wait for the writer. Two programs that make a library at once: SQLite does not wait here by itself."""
    until_s = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until_s:
                raise
            time.sleep(0.02)


def _refuse_newer(version: int, path: Path) -> None:
    known = len(migrations())
    if version > known:
        raise LibraryError(f"{path}: made by a newer program (schema {version}, this one knows {known}); update deepthird")


def migrate(connection: sqlite3.Connection, path: Path, upto: int | None = None) -> None:
    """Bring the file to schema `upto` (default: the newest), all in one transaction."""
    with transaction(connection):
        version = schema_version(connection)  # inside the lock: another program may just have migrated
        _refuse_newer(version, path)
        if version == 0 and connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
            raise LibraryError(f"{path}: a database of another program; move it away or name another folder with --library")
        for number, sql in migrations():
            if version < number <= (upto or number):
                for statement in statements(sql):
                    connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {number}")


def statements(sql: str) -> list[str]:
    """The single statements of a script. (`executescript` would commit, and a half migrated file must not be left.)"""
    found, pending = [], ""
    for piece in re.split(r"(?<=;)", sql):
        pending += piece
        if sqlite3.complete_statement(pending):
            found.append(pending)
            pending = ""
    return found


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """All or nothing; takes the write lock at once, so that two programs wait for each other instead of failing midway."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield connection
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
