"""Free SQL for analysts: on the views only, and never a write."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tagger.library.connection import connect
from tagger.library.faults import LibraryError, explain

VIEWS = ("reps", "clips", "defenders", "assignments", "events", "families", "motions", "features", "abstentions", "corrections",
         "jobs")
TIME_LIMIT_S = 30.0
_FORBIDDEN_FUNCTIONS = frozenset({"load_extension", "readfile", "writefile", "edit", "fts3_tokenizer"})


def query_views(folder: Path, sql: str,
                values: Sequence[Any] | Mapping[str, Any] = ()) -> tuple[list[str], list[tuple[Any, ...]]]:
    """(column names, rows) of one SELECT on the views. Raises LibraryError with one line for anything else."""
    connection = connect(folder, read_only=True)
    refused: list[str] = []
    until_s = time.monotonic() + TIME_LIMIT_S
    try:
        connection.row_factory = None
        connection.execute("PRAGMA query_only = ON")
        # SQLite reads its own schema lazily; it has to know the tables before the door is guarded.
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
        connection.set_authorizer(lambda *call: _allowed(refused, tables, *call))
        connection.set_progress_handler(lambda: time.monotonic() > until_s, 100_000)
        cursor = connection.execute(sql, values)
        return [column[0] for column in cursor.description or ()], cursor.fetchall()
    except (sqlite3.Error, sqlite3.Warning) as error:
        if refused:
            raise LibraryError(f"SQL: {refused[0]} may not be used here; only SELECT on {', '.join(VIEWS)}") from error
        if time.monotonic() > until_s:
            raise LibraryError(f"SQL: took longer than {TIME_LIMIT_S:g} s and was stopped; ask for less at once") from error
        if isinstance(error, sqlite3.OperationalError | sqlite3.ProgrammingError | sqlite3.Warning):
            raise LibraryError(f"SQL: {error}; the views are {', '.join(VIEWS)}") from error
        raise explain(error, folder) from error
    finally:
        connection.close()


def _allowed(refused: list[str], tables: set[str], action: int, first: str | None, second: str | None, _database: str | None,
             through: str | None) -> int:
    """SQLite's authorizer: reading a view, or a table's column through a view, is allowed; so are its functions but a few.
    A count of rows comes as a read of no column, and without telling through which view."""
    if action in (sqlite3.SQLITE_SELECT, sqlite3.SQLITE_RECURSIVE):
        return sqlite3.SQLITE_OK
    if action == sqlite3.SQLITE_READ and (through in VIEWS or not second or not _is_table(first, tables)):
        return sqlite3.SQLITE_OK
    if action == sqlite3.SQLITE_FUNCTION and (second or "").lower() not in _FORBIDDEN_FUNCTIONS:
        return sqlite3.SQLITE_OK
    refused.append(_named(action, first, second))
    return sqlite3.SQLITE_DENY


def _is_table(name: str | None, tables: set[str]) -> bool:
    return name in tables or (name or "").startswith("sqlite_")


def _named(action: int, first: str | None, second: str | None) -> str:
    if action == sqlite3.SQLITE_READ:
        return f"table {first}"
    if action == sqlite3.SQLITE_FUNCTION:
        return f"function {second}"
    return "a statement that is not a SELECT"
