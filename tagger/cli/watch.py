"""deepthird watch: the overnight job."""

from __future__ import annotations

import signal
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import print_json
from tagger.cli.options import (
    cluster_option,
    column_option,
    jobs_option,
    json_option,
    library_option,
    limit_options,
    script_option,
    tagging_options,
)

if TYPE_CHECKING:
    from tagger.batch.limits import Bounds
    from tagger.options import TagOptions


@click.command("watch")
@click.argument("folder", required=False, type=click.Path(exists=True, file_okay=False, path_type=Path))
@library_option
@tagging_options
@script_option
@column_option
@jobs_option
@limit_options
@cluster_option
@click.option("--once", is_flag=True, help="Take what is ready now, then end (for cron).")
@click.option("--every", type=click.FloatRange(0.1), default=10.0, show_default=True, metavar="SECONDS",
              help="Time between looks.")
@click.option("--settle", type=click.FloatRange(0.0), default=5.0, show_default=True, metavar="SECONDS",
              help="A file is taken once its size and date have stood still so long.")
@click.option("--hours", type=click.FloatRange(0.0), default=24.0, show_default=True, help="How far the summary looks back.")
@click.option("--cutups", type=click.Path(file_okay=False, path_type=Path),
              help="Write every saved search as a cut-up into this folder.")
@json_option
def watch_command(folder: Path | None, library: Path, options: TagOptions, script: Path | None,
                  columns: dict[str, str], jobs: int | None, bounds: Bounds, cluster: str | None, once: bool, every: float,
                  settle: float, hours: float, cutups: Path | None, as_json: bool) -> int:
    """Tag whatever lands in FOLDER or is uploaded on the review page, and write a summary (summary.html, summary.json) into the
    library. Without FOLDER only what is uploaded.

    A file is taken when it has stopped growing, each content once, under whatever name. Works through the night: what crashes
    or hangs is set aside after two tries, with its reason. Writes watch.log in the library; prints nothing but to a terminal.
    """
    from tagger.batch.cluster import crew_for
    from tagger.batch.night import NightOptions, keep_watch, open_log
    from tagger.batch.plan import Scripts
    from tagger.batch.summary import summary_to_json
    from tagger.batch.watch import Watch
    from tagger.library import Library
    from tagger.library.own_shifts import load_shifts
    from tagger.library.owner import WATCH, Owner

    options = replace(options, own=load_shifts(library))
    scripts = Scripts.told(script, columns, library)
    signal.signal(signal.SIGTERM, _stop)
    if once and not sys.stderr.isatty() and not Owner(library).is_dead(WATCH):
        return 0  # cron's next call is no error while the last one is at work
    with Library.open(library) as kept, Owner(library, WATCH), Owner(library) as owner:
        log = open_log(library, also_to_terminal=sys.stderr.isatty())
        watch = Watch(folder, kept, options, scripts, settle)
        night = NightOptions(once, every, settle, hours, cutups)
        summary = keep_watch(watch, kept, owner, lambda pieces: crew_for(cluster, jobs, pieces, options, bounds), night, log)
    if as_json:
        print_json(summary_to_json(summary))
    return 1 if summary.not_tagged else 0


def _stop(_signal: int, _frame: Any) -> None:
    """A service is stopped as a person stops it: what is in work waits again."""
    raise KeyboardInterrupt
