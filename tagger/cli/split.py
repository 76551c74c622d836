"""deepthird split: where the reps of a practice recording are."""

from __future__ import annotations

import json
from pathlib import Path

import click

from tagger.cli.console import print_json, print_table, progress, say
from tagger.cli.options import json_option


@click.command("split")
@click.argument("film", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--clips", type=click.Path(file_okay=False, path_type=Path), help="Also cut the reps out, into this folder.")
@json_option
def split_command(film: Path, clips: Path | None, as_json: bool) -> int:
    """Find the reps in a practice recording FILM, and write its cut list beside it (FILM.reps.json).

    Correct the list by hand, in seconds of the film: {"reps": [{"start_s": 12.5, "end_s": 24.0}, ...]}. A list that lies beside
    the film is believed, here and by deepthird tag, which cuts recordings by itself; delete it to have the reps found anew.
    """
    from tagger.batch import cut_list
    from tagger.batch.limits import Limits, cores
    from tagger.batch.process import WorkFailed, call_of, run_call
    from tagger.batch.split import cut_work, find_cuts_work

    film = film.resolve()
    limits = Limits(threads=cores())
    written: list[str] = []
    try:
        with progress(1, "looking for reps") as tell:
            asked = {"path": str(film), "threads": limits.threads}
            told = json.loads(run_call(call_of(find_cuts_work, asked), limits, tell))["cut_list"]
        cuts = cut_list.from_json(told, film)
        path = cut_list.beside(film)
        if not path.exists():
            cut_list.write(cuts, (path,))
        if clips is not None:
            with progress(1, "cutting") as tell:
                asked = {"path": str(film), "folder": str(clips.resolve()), "cut_list": told}
                written = json.loads(run_call(call_of(cut_work, asked), limits, tell))
    except WorkFailed as failure:
        raise ValueError(failure.line) from failure
    if as_json:
        print_json({**told, "cut_list": str(path), "clips": written})
        return 0
    print_table(("rep", "from", "snap about", "to"), [
        (number, f"{rep.start_s:.1f} s", f"{rep.snap_s:.1f} s", f"{rep.end_s:.1f} s")
        for number, rep in enumerate(cuts.reps, start=1)])
    say(f"{len(cuts.reps)} rep(s); correct {path} by hand if needed, then deepthird tag {film}")
    return 0
