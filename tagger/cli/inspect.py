"""deepthird inspect: what the machine saw at one moment."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tagger.cli.console import print_json, print_table, say
from tagger.cli.options import json_option, library_option, tagging_options

if TYPE_CHECKING:
    from tagger.options import TagOptions


@click.command("inspect")
@click.argument("clip", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="CLIP_OR_IMAGE")
@click.option("--at", "at_s", type=click.FloatRange(0.0), default=0.0, show_default=True, metavar="SECONDS",
              help="When, by the clip's clock.")
@click.option("--picture", type=click.Path(dir_okay=False, path_type=Path),
              help="Write the picture with boxes, tracks and the field's lines over the turf.")
@click.option("--mark", "words", multiple=True, metavar="MARK=X,Y",
              help="A mark of the field and where it lies at --at, in px; four or more give the field of the whole clip.")
@click.option("--marks", "file", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="FILE",
              help="Marks from a CSV or JSON file: mark, x_px, y_px, perhaps at_s.")
@click.option("--keep", "who", metavar="NAME", default=None,
              help="Keep the marks in the library as this coach's correction, and read the rep anew.")
@library_option
@tagging_options
@json_option
def inspect_command(clip: Path, at_s: float, picture: Path | None, words: tuple[str, ...], file: Path | None, who: str | None,
                    library: Path, options: TagOptions, as_json: bool) -> int:
    """Show what the machine saw in a clip at one moment, or in a still picture.

    Where it found no field, or a wrong one, name at least four marks, not three of them on one line:

    \b
    deepthird inspect CLIP --at 3.5 --mark "left 30 near hash=812,433" ...

    From a sideline a mark is "left 30 near hash" or "50 far sideline" or "right goal near numbers top"; from behind an end zone
    "near 30 left hash". Where no number can be read, count from any line: "line 0 near hash", "line 10 near hash".
    """
    from tagger.cli.inspect_marks import keep_marks, marks_from
    from tagger.cli.inspection_json import inspection_to_json
    from tagger.inspection import inspect_frame

    marked = marks_from(words, file)
    if who is not None and not marked:
        raise click.UsageError("--keep keeps marks, and none were given: --mark or --marks")
    seen = inspect_frame(clip, at_s, options, marked)
    if who is not None:
        say(keep_marks(library, clip, seen, who))
    if picture is not None:
        from tagger.cli.inspect_picture import draw_inspection, write_picture

        write_picture(picture, draw_inspection(seen))
        say(f"{picture} written")
    value = inspection_to_json(seen)
    if as_json:
        print_json(value)
    else:
        print_table(("what", "seen"), [
            ("picture", f"{value['width']} x {value['height']} at {value['time_s']:.2f} s"), ("people", len(value["boxes"])),
            ("field", value["status"]), ("view", value["view"]),
            ("uncertainty", "" if value["sigma_yd"] is None else f"{value['sigma_yd']:.2f} yd in the middle of what is seen"),
            ("yard line known", "yes" if value["yard_line_known"] else "no: right up to whole steps of 5 yd"),
            ("why not", value["reason"])])
        if picture is None:
            say("Next: --picture FILE.png draws it")
    return 0
