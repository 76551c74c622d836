"""deepthird reps: finds reps."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import coverage, percent, print_json, print_table, say, seconds
from tagger.cli.filters import filter_options, query_of
from tagger.cli.options import json_option, library_option

if TYPE_CHECKING:
    from tagger.library import Library, RepSummary

ORDERS = ("rep", "-rep", "name", "tagged", "-tagged", "confidence", "-confidence")


@click.command("reps")
@library_option
@filter_options
@click.option("--order", type=click.Choice(ORDERS), default="rep", show_default=True, help="- means the other way round.")
@click.option("--limit", type=click.IntRange(1), default=None, help="No more than this many.")
@click.option("--save", "save_as", metavar="NAME", help="Keep this search under a name.")
@click.option("--searches", is_flag=True, help="List the saved searches.")
@click.option("--sql", metavar="SELECT", help="A SELECT on the views reps, defenders, assignments, events, corrections, ...")
@json_option
def reps_command(library: Path, filters: Mapping[str, Any], order: str, limit: int | None, save_as: str | None, searches: bool,
                 sql: str | None, as_json: bool) -> int:
    """Find reps by situation, coverage, defender, event, confidence, or by SQL.

    Options of different names must all hold; one option twice means either. A value may be a list (a,b), a range (7..10) or
    none.
    """
    from tagger.library import Library
    from tagger.library.query import written

    with Library.open(library, read_only=save_as is None) as kept:
        if sql is not None:
            _print_rows(*kept.sql(sql), as_json)
            return 0
        if searches:
            _print_rows(["name", "search"], list(kept.saved_searches().items()), as_json)
            return 0
        query = query_of(filters, kept)
        if save_as is not None:
            kept.save_search(save_as, written(query))
        found = kept.search(query, limit, order=order)
        if not found:
            for line in kept.doubtful_words(query):
                say(f"deepthird: {line}")
        _print(found, kept, as_json)
    return 0


def _print(found: list[RepSummary], library: Library, as_json: bool) -> None:
    if as_json:
        print_json({"reps": [rep._asdict() for rep in found], "count": len(found)})
        return
    if not found:
        say("no rep fits" if library.count() else f"{library.folder}: the library is empty; start with deepthird tag PATH")
        return
    print_table(("id", "rep", "down", "call", "snap", "shell", "family", "sure", "review"), [
        (rep.rep_id, rep.name, _down(rep), rep.call, seconds(rep.snap_s), rep.shell,
         coverage(rep.family, rep.variant, rep.play_kind), _sure(rep), rep.review_state) for rep in found])
    say(f"{len(found)} rep(s)")


def _sure(rep: RepSummary) -> str:
    if rep.family_source == "coach":
        return "coach"
    return "" if rep.family == "unknown" else percent(rep.family_confidence)


def _down(rep: RepSummary) -> str:
    if rep.down is None:
        return ""
    return f"{rep.down}" if rep.distance_yd is None else f"{rep.down} & {rep.distance_yd:g}"


def _print_rows(columns: list[str], rows: list[tuple[Any, ...]], as_json: bool) -> None:
    if as_json:
        print_json([dict(zip(columns, row, strict=True)) for row in rows])
    else:
        print_table(columns, rows)
