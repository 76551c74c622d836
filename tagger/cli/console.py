"""What the commands share on the terminal: progress on stderr, tables, JSON on stdout."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

PLAIN_WIDTH = 160
"""Columns of a table that goes to a file or a pipe: nothing is cut there that a terminal would show."""

Tell = Callable[[float, str], None]


def say(line: str) -> None:
    """A line for a person, on stderr."""
    click.echo(line, err=True)


def print_json(value: Any) -> None:
    """One JSON value on stdout; numbers that JSON has no word for (NaN, infinity) become null."""
    click.echo(json.dumps(_clean(value), ensure_ascii=False, allow_nan=False))


def _clean(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(key): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if hasattr(value, "tolist"):  # numpy's scalars and arrays
        return _clean(value.tolist())
    return value


def print_table(columns: Sequence[str], rows: Sequence[Sequence[object]], title: str | None = None) -> None:
    """A table on stdout, as wide as the terminal."""
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, title=title, title_justify="left", pad_edge=False)
    for column in columns:
        table.add_column(column, overflow="fold")
    for row in rows:
        table.add_row(*("" if cell is None else str(cell) for cell in row))
    Console(file=sys.stdout, width=None if sys.stdout.isatty() else PLAIN_WIDTH, markup=False, highlight=False).print(table)


@contextmanager
def progress(total: int, what: str) -> Iterator[Tell]:
    """A bar on stderr, only where a person watches. Call the yielded function with the share done (0..1) of all and a word."""
    if not sys.stderr.isatty() or total == 0:
        yield lambda share, word: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f}%"), TimeElapsedColumn(),
               TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share, word: bar.update(task, completed=share, description=word or what)


def coverage(family: str, variant: str | None, play_kind: str | None) -> str:
    """The coverage in words; for a play that has no coverage to grade, what it was instead."""
    if family == "unknown":
        return family if play_kind in (None, "pass") else f"{family} ({play_kind})"
    return f"{family} {variant or ''}".strip()


def percent(probability: float | None) -> str:
    """A probability as a whole percentage."""
    return "" if probability is None else f"{100 * probability:.0f}%"


def seconds(time_s: float | None) -> str:
    """A time of the clip's clock to the tenth."""
    return "" if time_s is None else f"{time_s:.1f} s"
