"""deepthird forget: remove for good."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tagger.cli.console import print_json, say
from tagger.cli.options import json_option, library_option

if TYPE_CHECKING:
    from tagger.library import Library

WORDS = {"reps": "rep(s) with tags and tracks", "clips": "clip(s)", "corrections": "correction(s)", "jobs": "job(s) of the queue",
         "seen_files": "file(s) noted by a watch", "roster_names": "name(s) of the roster",
         "reps_with_number": "rep(s) freed of his number"}


@click.command("forget")
@library_option
@click.option("--practice", type=click.Path(path_type=Path), metavar="FOLDER",
              help="Everything of the film in this folder or below.")
@click.option("--rep", "reps", multiple=True, help="One rep, by its name; may be given several times.")
@click.option("--number", help="A person: his number in every rep, and his name in the roster. The nameless player's tags stay.")
@click.option("--side", type=click.Choice(("offense", "defense")), help="With --number: only on this side.")
@click.option("--all", "everything", is_flag=True, help="Everything that came from film; roster and saved searches stay.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
def forget_command(library: Path, practice: Path | None, reps: tuple[str, ...], number: str | None, side: str | None,
                   everything: bool, yes: bool, as_json: bool) -> int:
    """Remove a practice, a rep, a person or everything from the library, for good.

    The library file is written anew afterwards, so that nothing of it can be brought back. Film itself is not touched, but for
    clips that were cut out of recordings into the library.
    """
    from tagger.batch.leftovers import forget_files
    from tagger.cutups.review_copy import forget_copies
    from tagger.library import Library, LibraryError
    from tagger.library.own_shifts import forget_shifts

    if sum((practice is not None, bool(reps), number is not None, everything)) != 1 or (side and number is None):
        raise click.UsageError("say what: one of --practice FOLDER, --rep NAME, --number N (with --side), --all")
    if not (library / "library.sqlite").is_file():
        raise LibraryError(f"{library}: no library here; name another with --library")
    folder = practice.resolve() if practice else None
    with Library.open(library) as kept:
        rep_ids = [kept.rep_id(name) for name in reps]
        if not yes:
            click.confirm(f"{_what(kept, folder, reps, number, everything)} Go on?", abort=True, err=True)
        words = () if everything else (str(folder),) if folder else tuple(_films(kept, rep_ids))
        gone = kept.forget(folder, rep_ids, number, side, everything)
        files = forget_files(kept, words) if number is None else []
    with Library.open(library, read_only=True) as kept:
        files += forget_copies(library, {str(row[0]) for row in kept.sql("SELECT fingerprint FROM clips")[1]})
    if everything and forget_shifts(library):
        files.append(library / "calibration.json")
    if as_json:
        print_json({**asdict(gone), "files": [str(path) for path in files]})
    else:
        for name, count in asdict(gone).items():
            if count:
                say(f"forgotten: {count} {WORDS[name]}")
        for path in files:
            say(f"forgotten: {path}")
        if gone.nothing and not files:
            say("nothing of that is in the library")
        elif not number:
            say("Film that still lies in a watched folder is tagged again: move it away first.")
    return 0


def _films(library: Library, rep_ids: list[int]) -> list[str]:
    return [str(clip.path) for rep_id in rep_ids for clip in library.rep(rep_id).clips]


def _what(library: Library, folder: Path | None, reps: tuple[str, ...], number: str | None, everything: bool) -> str:
    if everything:
        return f"All {library.count()} rep(s) with their tags, tracks and corrections will be removed for good."
    if number is not None:
        return f"The number {number} will be removed from the roster and from every rep for good."
    if folder is not None:
        return f"Everything of the film in {folder} ({library.count_in(folder)} rep(s)) will be removed for good."
    return f"{', '.join(reps)} will be removed for good."
