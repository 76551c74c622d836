"""deepthird tag: film into the library."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import coverage, percent, print_json, print_table, progress, say, seconds
from tagger.cli.options import (
    DEFAULT_LIBRARY,
    EXISTING_PATH,
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
    from tagger.batch.crew import Crew
    from tagger.batch.limits import Bounds
    from tagger.batch.plan import Plan, Scripts
    from tagger.football.types import Reading
    from tagger.library import Library
    from tagger.library.owner import Owner
    from tagger.options import TagOptions


@click.command("tag")
@click.argument("paths", nargs=-1, required=True, type=EXISTING_PATH, metavar="PATH...")
@library_option
@tagging_options
@script_option
@column_option
@jobs_option
@limit_options
@cluster_option
@click.option("--new-only", is_flag=True, help="Leave out film that is in the library already.")
@json_option
def tag_command(paths: tuple[Path, ...], library: Path, options: TagOptions, script: Path | None, columns: dict[str, str],
                jobs: int | None, bounds: Bounds, cluster: str | None, new_only: bool, as_json: bool) -> int:
    """Tag clips, or folders of clips, into the library.

    Two clips named alike but for their view (rep-7-sideline, rep-7-end-zone) are one rep. Film that is tagged again gets new
    automatic tags; a coach's corrections stay. A call that was cut short goes on when it is given again.
    """
    from tagger.batch.cluster import crew_for
    from tagger.batch.film import find_clips, pair_views
    from tagger.batch.plan import Scripts, plan_films
    from tagger.library import Library
    from tagger.library.own_shifts import load_shifts
    from tagger.library.owner import Owner

    films = pair_views(find_clips(paths))
    scripts = Scripts.told(script, columns, library)
    options = replace(options, own=load_shifts(library))
    with Library.open(library) as kept, Owner(library) as owner:
        plan = plan_films(films, options, scripts, lambda prints: new_only and all(kept.has_film(mark) for mark in prints))
        for line in plan.problems:
            say(f"deepthird: {line}")
        failures = plan.problems + _work(
            kept, owner, plan, scripts, lambda pieces: crew_for(cluster, jobs, pieces, options, bounds))
        for line in plan.notes:
            say(f"deepthird: {line}")
        saved = _saved(kept, plan)
    _print(saved, failures, library, as_json)
    return 1 if failures else 0


def _work(library: Library, owner: Owner, plan: Plan, scripts: Scripts, make_crew: Callable[[int], Crew]) -> list[str]:
    """Tag what is planned; returns a line for each clip that could not be."""
    from tagger.batch.queue import work_through

    if not plan.wishes:
        return []
    library.jobs.reopen(owner.is_dead)
    run = library.jobs.add(plan.wishes)
    for job in library.jobs.list(run=run):
        if job.reason and job.state != "waiting":  # of the call that was cut short
            say(f"deepthird: {job.reason}")
    waiting = len(library.jobs.list("waiting", run))
    if waiting < len(plan.wishes):
        say(f"deepthird: going on where the last call was cut short: {waiting} of {len(plan.wishes)} clip(s) left")
    with progress(waiting, "tagging") as tell:
        for finished in work_through(library, owner, make_crew(waiting), run, tell, scripts=scripts):
            if finished.reason and finished.state != "waiting":
                say(f"deepthird: {finished.reason}")
    return [job.reason for job in library.jobs.list(run=run) if job.state in ("failed", "set-aside")]


def _saved(library: Library, plan: Plan) -> list[tuple[str, list[str], Reading]]:
    """(name, clips, automatic reading) of the reps that are in the library now."""
    found = dict[int, None]()
    for part in (part for wish in plan.wishes for part in library.jobs.with_parts(wish)):
        rep_id = library.rep_of(part.fingerprint)
        if rep_id is not None:
            found[rep_id] = None
    reps = [library.rep(rep_id) for rep_id in found]
    return [(rep.summary.name, [str(clip.path) for clip in rep.clips], rep.automatic) for rep in reps]


def _print(saved: list[tuple[str, list[str], Reading]], failures: list[str], library: Path, as_json: bool) -> None:
    from tagger.library import reading_to_json

    if as_json:
        print_json({"reps": [{"rep": name, "clips": clips, **reading_to_json(reading)} for name, clips, reading in saved],
                    "failed": failures})
        return
    if saved:
        print_table(("rep", "snap", "shell", "family", "sure", "deep men", "events"),
                    [summary_row(name, reading) for name, _, reading in sorted(saved, key=lambda one: one[0])])
        place = "" if library == DEFAULT_LIBRARY else f" --library {library}"
        say(f"{len(saved)} rep(s) in {library}")
        say(f"Next: deepthird show {saved[0][0]}{place}, deepthird reps --help, deepthird review{place}")
    if failures:
        say(f"{len(failures)} could not be tagged; their lines stand above")


def summary_row(name: str, reading: Reading) -> tuple[Any, ...]:
    """A rep's line in the table."""
    from tagger.football.vocabulary import UNKNOWN
    from tagger.library import family_of, likeliest

    family, sure = family_of(reading)
    shell, kind = likeliest(reading.shell), likeliest(reading.play_kind)
    why = reading.abstained[0].why if family == UNKNOWN and reading.abstained else ""
    return (name, seconds(reading.snap_s) or "not found", shell[0] if shell else "?",
            coverage(family, reading.variant, kind[0] if kind else None), percent(sure) if family != UNKNOWN else "",
            deep_men(reading) or why, events_in_short(reading))


def deep_men(reading: Reading) -> str:
    """Who has which deep area at the end: `middle third: free-safety`."""
    found = []
    for defender in reading.defenders:
        last = defender.intervals[-1] if defender.intervals else None
        if last is not None and last.assignment.startswith("deep-"):
            where = f"{last.area or ''} {last.assignment.removeprefix('deep-')}".strip()
            found.append((last.area or "", f"{where}: {defender.slot or defender.player_id}"))
    order = ("left", "left-outside", "left-inside", "middle", "right-inside", "right-outside", "right")
    found.sort(key=lambda pair: order.index(pair[0]) if pair[0] in order else len(order))
    return ", ".join(text for _, text in found)


def events_in_short(reading: Reading) -> str:
    """Each kind of event once, with how often."""
    counts = Counter(event.kind for event in reading.events)
    return ", ".join(kind if n == 1 else f"{n} {kind}" for kind, n in counts.items())
