"""deepthird roster: who wears which number."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from tagger.cli.console import print_json, print_table, say
from tagger.cli.options import json_option, library_option


@click.command("roster")
@click.argument("file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@library_option
@json_option
def roster_command(file: Path | None, library: Path, as_json: bool) -> int:
    """Show the library's roster, or replace it by FILE (CSV: number, name, side, position).

    A man of the film gets his number in the review page (#); his name follows from the roster there, in reports and in the
    view `defenders`.
    """
    from tagger.library import Library
    from tagger.library.roster_csv import read_roster

    entries = read_roster(file) if file else None
    with Library.open(library) as kept:
        if entries is not None:
            kept.set_roster(entries)
        listed = kept.roster()
    if as_json:
        print_json({"roster": [asdict(entry) for entry in listed]})
    elif listed:
        print_table(("number", "name", "side", "position"), [(e.number, e.name, e.side, e.position) for e in listed])
    else:
        say(f"{library}: no roster yet; give one as CSV with the columns number, name, side, position")
    return 0
