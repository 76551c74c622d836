"""deepthird cutup: a search as one film."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from tagger.cli.console import print_json, progress, say
from tagger.cli.filters import filter_options, query_of
from tagger.cli.options import json_option, library_option

ORDERS = ("rep", "-rep", "name", "tagged", "-tagged", "confidence", "-confidence", "margin", "-margin")
OVERLAYS = ("zones", "labels", "trails", "events")
VIEWS = ("sideline", "end-zone")
COMPANIONS = (".otio", ".vtt", ".captions.vtt", ".csv")


@click.command("cutup")
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@library_option
@filter_options
@click.option("--order", type=click.Choice(ORDERS), default="rep", show_default=True,
              help="Order of the reps; margin: by the least margin of the events asked for. - means the other way round.")
@click.option("--limit", type=click.IntRange(1), default=None, help="No more reps than this.")
@click.option("--view", "views", type=click.Choice(VIEWS), multiple=True, default=VIEWS, show_default=True,
              help="The views of each rep, in this order.")
@click.option("--lead-in", type=float, default=2.0, show_default=True, metavar="SECONDS", help="Film before the snap.")
@click.option("--tail", type=float, default=1.5, show_default=True, metavar="SECONDS", help="Film after the end of the play.")
@click.option("--slate", type=float, default=2.5, show_default=True, metavar="SECONDS", help="Slate with the situation; 0: none.")
@click.option("--freeze", type=float, default=1.0, show_default=True, metavar="SECONDS", help="Hold the snap; 0: not.")
@click.option("--slow", type=float, default=1.0, show_default=True, metavar="SPEED",
              help="Slow motion around the events asked for, else of the whole play, as 0.5.")
@click.option("--draw", type=click.Choice(OVERLAYS), multiple=True, default=OVERLAYS, show_default=True,
              help="What to draw on the turf.")
@click.option("--plain", is_flag=True, help="Nothing but film: no slate, freeze, slow motion or drawing; copied where possible.")
@click.option("--mute", is_flag=True, help="Without sound.")
@click.option("--height", type=int, default=720, show_default=True, metavar="PIXELS", help="Height of the picture at most.")
@click.option("--with", "companions", type=click.Choice(COMPANIONS), multiple=True,
              help="Write beside the film: edit list (.otio), chapters (.vtt), captions (.captions.vtt), table (.csv).")
@click.option("--skip-missing", is_flag=True, help="Leave out reps whose film is gone, instead of stopping.")
@json_option
def cutup_command(out: Path, library: Path, filters: Mapping[str, Any], order: str, limit: int | None,
                  companions: tuple[str, ...], skip_missing: bool, as_json: bool, **look: Any) -> int:
    """Cut every rep that fits into one film OUT (.mp4).

    The same options as `deepthird reps` choose the reps. Sideline and end-zone view follow each other; what the search asks
    for is drawn strong, everything else faint.
    """
    from tagger.cutups.collect import collect, numbered
    from tagger.cutups.edit_list import plan
    from tagger.cutups.film import write_film
    from tagger.cutups.sidecars import write_sidecar
    from tagger.library import Library

    if out.suffix.lower() != ".mp4":
        raise click.UsageError(f"{out}: a cut-up is an MP4; end the name in .mp4")
    style = _style(look)
    with Library.open(library, read_only=True) as kept:
        query = query_of(filters, kept)
        reps, overlays, missing = collect(kept, query, order, limit, style.overlays, skip_missing)
        if not reps:
            for line in kept.doubtful_words(query):
                say(f"deepthird: {line}")
    edit = plan(reps, style)
    with progress(1, "cutting") as tell:
        cut = write_film(edit, out, numbered(edit, overlays), tell)
    written = [out.with_suffix(ending) for ending in companions]
    for path in written:
        write_sidecar(cut.edit, out, path)
    for line in (*missing, *edit.missing):
        say(f"deepthird: left out {line}")
    if as_json:
        print_json({"film": str(out), "beside": [str(path) for path in written], "reps": [rep.name for rep in cut.edit.reps],
                    "duration_s": cut.edit.duration_s, "copied": cut.copied, "missing": [*missing, *edit.missing]})
    else:
        how = "copied" if cut.copied else "encoded"
        say(f"{out}: {len(cut.edit.reps)} rep(s), {cut.edit.duration_s:.0f} s, {how}")
    return 0


def _style(look: Mapping[str, Any]) -> Any:
    from tagger.cutups.edit_list import CutStyle

    shown = {"views": tuple(dict.fromkeys(look["views"])), "sound": not look["mute"], "height_px": look["height"],
             "lead_in_s": look["lead_in"], "tail_s": look["tail"]}
    if look["plain"]:
        return CutStyle(slate_s=0.0, freeze_s=0.0, **shown)
    return CutStyle(slate_s=look["slate"], freeze_s=look["freeze"], slow=look["slow"], overlays=frozenset(look["draw"]), **shown)
