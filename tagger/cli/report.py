"""deepthird report: a printable page of tendencies and defenders."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from tagger.cli.console import say
from tagger.cli.filters import filter_options, query_of
from tagger.cli.options import library_option


@click.command("report")
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@library_option
@filter_options
@click.option("--title", default="Coverage report", show_default=True, help="Title of the page.")
def report_command(out: Path, library: Path, filters: Mapping[str, Any], title: str) -> int:
    """Write a page OUT (.html, or .pdf where a Chromium browser is installed) of the reps that fit.

    What we showed and played by down and distance, set and field zone; disguise; called against played; each defender's reps
    and events. Counts come with 95% intervals, small samples are marked, and each number leads to its reps.
    """
    from tagger.cutups.page import write_page
    from tagger.cutups.report import build_page
    from tagger.library import Library

    with Library.open(library, read_only=True) as kept:
        page = build_page(kept, query_of(filters, kept), title)
    write_page(page, out)
    say(f"{out}: {len(page.reps)} rep(s)")
    return 0
