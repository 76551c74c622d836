"""deepthird export: reps and tracks for other programs."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import print_json, say
from tagger.cli.filters import filter_options, query_of
from tagger.cli.options import library_option

if TYPE_CHECKING:
    from tagger.library import Library, StoredRep

FORMATS = ("json", "parquet", "field-parquet", "mot")


@click.command("export")
@click.argument("out", type=click.Path(path_type=Path), required=False)
@library_option
@filter_options
@click.option("--format", "form", type=click.Choice(FORMATS), default="json", show_default=True,
              help="json: tags. parquet: tracks in the play frame, as tag-tracks reads them. field-parquet: every view's tracks "
                   "on the field. mot: boxes as MOTChallenge text, a file for each clip.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the tags, and nothing else.")
def export_command(out: Path | None, library: Path, filters: Mapping[str, Any], form: str, schema: bool) -> int:
    """Write the reps that fit to OUT: a file, or with --format mot a folder."""
    from tagger.cutups import interchange
    from tagger.library import Library

    if schema:
        print_json(interchange.schema())
        return 0
    if out is None:
        raise click.UsageError("OUT is missing: name the file to write")
    with Library.open(library, read_only=True) as kept:
        reps = [kept.rep(summary.rep_id) for summary in kept.search(query_of(filters, kept))]
        if not reps:
            raise ValueError("export: no rep fits; loosen the search, or tag film first")
        if form == "json":
            interchange.write_json(reps, out)
        elif form == "mot":
            _write_mot(kept, reps, out)
        else:
            _write_parquet(kept, reps, out, form == "field-parquet")
    say(f"{out}: {len(reps)} rep(s)")
    return 0


def _write_mot(library: Library, reps: list[StoredRep], folder: Path) -> None:
    from tagger.cutups.interchange import mot_text
    from tagger.cutups.whole_file import make_folder, write_text

    make_folder(folder)
    for stored in reps:
        for clip in stored.clips:
            name = f"{stored.summary.name}-{clip.view}"
            plain = "".join(letter if letter.isalnum() or letter in "-_." else "-" for letter in name)
            write_text(folder / f"{plain}.txt", mot_text(library.arrays(clip.clip_id).tracks))


def _write_parquet(library: Library, reps: list[StoredRep], out: Path, on_field: bool) -> None:
    import pyarrow as pa

    from tagger.cutups.interchange import field_table, tracks_table, write_parquet
    from tagger.cutups.shelf import play_of

    tables = []
    for stored in reps:
        for clip in stored.clips:
            if on_field:
                tables.append(field_table(stored.summary.name, clip.view, library.arrays(clip.clip_id)))
            elif clip.is_main and (play := play_of(stored, clip, library.arrays(clip.clip_id))) is not None:
                tables.append(tracks_table(stored.summary.name, play))
    if not tables:
        raise ValueError("export: none of these reps has players on the field; use --format json")
    write_parquet(pa.concat_tables(tables), out)
