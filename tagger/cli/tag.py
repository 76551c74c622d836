"""deepthird tag: film into the library."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import coverage, percent, print_json, print_table, progress, say, seconds
from tagger.cli.options import DEFAULT_LIBRARY, EXISTING_PATH, json_option, level_or_none, library_option, tagging_options

if TYPE_CHECKING:
    from tagger.cli.film import RepFilm
    from tagger.cli.script import Script
    from tagger.football.types import Reading, Situation
    from tagger.library import Library


@click.command("tag")
@click.argument("paths", nargs=-1, required=True, type=EXISTING_PATH, metavar="PATH...")
@library_option
@tagging_options
@click.option("--script", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="Practice script (CSV); a practice-script.csv beside the film is found by itself.")
@click.option("--jobs", type=click.IntRange(1, 256), default=1, show_default=True, help="Processes at once.")
@click.option("--new-only", is_flag=True, help="Leave out film that is in the library already.")
@json_option
def tag_command(paths: tuple[Path, ...], library: Path, level: str, weights: Path | None, device: str, script: Path | None,
                jobs: int, new_only: bool, as_json: bool) -> int:
    """Tag clips, or folders of clips, into the library.

    Two clips named alike but for their view (rep-7-sideline, rep-7-end-zone) are one rep. Film that is tagged again gets new
    automatic tags; a coach's corrections stay.
    """
    from tagger.cli.film import find_clips, pair_views
    from tagger.cli.script import read_script
    from tagger.cli.tagging import record_of, tag_reps
    from tagger.library import Library
    from tagger.pipeline import TagOptions

    films = pair_views(find_clips(paths))
    told = read_script(script) if script else None
    with Library.open(library) as kept:
        if new_only:
            films = [film for film in films if not _is_known(kept, film)]
        scripts = _Scripts(told)
        work = [(film, TagOptions(weights=weights, device=device, level=level_or_none(level), situation=scripts.situation(film)))
                for film in films]
        saved, failures = [], list(scripts.problems)
        with progress(len(work), "tagging") as tell:
            for rep in tag_reps(work, jobs, tell):
                for line in rep.failures:
                    failures.append(line)
                    say(f"deepthird: {line}")
                if rep.clips:
                    name = kept.save_rep(record_of(rep)).name
                    saved.append((name, [str(path) for path in rep.film.clips], rep.clips[rep.main].reading))
    _print(saved, failures, library, as_json)
    return 1 if failures else 0


class _Scripts:
    """Each rep's situation, from the named script or the one that lies beside its film."""

    def __init__(self, named: Script | None) -> None:
        self.named, self.problems = named, list[str]()
        self._read: dict[Path, Script | None] = {}

    def situation(self, film: RepFilm) -> Situation:
        from tagger.cli.script import script_near
        from tagger.football.types import Situation

        script, path = self.named, script_near(film.clips[0])
        if script is None and path is not None:
            if path not in self._read:
                self._read[path] = self._open(path)
            script = self._read[path]
        return (script.situation_of(film.name) if script else None) or Situation()

    def _open(self, path: Path) -> Script | None:
        from tagger.cli.script import read_script

        try:
            return read_script(path)
        except (ValueError, OSError) as error:
            self.problems.append(str(error))
            say(f"deepthird: {error}")
            return None


def _is_known(library: Library, film: RepFilm) -> bool:
    from tagger.library import fingerprint

    return all(library.has_film(fingerprint(path)) for path in film.clips)


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
