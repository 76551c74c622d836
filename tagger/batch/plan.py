"""From film that lies somewhere to wishes for the queue: who is whose other view, and what the script says of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from tagger.batch.film import RepFilm
from tagger.batch.script import Script, read_script, script_near
from tagger.batch.work import options_to_json
from tagger.football.types import Situation
from tagger.library import Wish, fingerprint
from tagger.pipeline import TagOptions


@dataclass
class Plan:
    """What is to be done. `notes` are lines on film that is left out for a good reason, `problems` on what is wrong."""

    wishes: list[Wish] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


class Scripts:
    """Each rep's situation, from the named script or the one that lies beside its film."""

    def __init__(self, named: Script | None = None) -> None:
        self.named, self.problems = named, list[str]()
        self._read: dict[Path, Script | None] = {}

    def situation(self, film: RepFilm) -> Situation:
        """What is known of a rep before it is seen."""
        script = self._script_of(film.clips[0])
        return (script.situation_of(film.name) if script else None) or Situation()

    def in_order(self, recording: Path) -> list[Situation]:
        """The situation of each rep in the script of a recording, each rep once, in order."""
        script = self._script_of(recording)
        return list(dict(script.rows).values()) if script else []

    def _script_of(self, clip: Path) -> Script | None:
        script, path = self.named, script_near(clip)
        if script is None and path is not None:
            if path not in self._read:
                self._read[path] = self._open(path)
            script = self._read[path]
        return script

    def _open(self, path: Path) -> Script | None:
        try:
            return read_script(path)
        except (ValueError, OSError) as error:
            self.problems.append(str(error))
            return None


def plan_films(films: Iterable[RepFilm], options: TagOptions, scripts: Scripts,
               leave_out: Callable[[tuple[str, ...]], bool] = lambda prints: False) -> Plan:
    """Wishes for these reps, each clip once; `leave_out` is asked with the fingerprints of each rep."""
    plan, seen, names = Plan(), dict[str, Path](), set[str]()
    for film in films:
        prints: dict[str, Path] = {}
        for path in film.clips:
            try:
                mark = fingerprint(path)
            except (ValueError, OSError) as error:
                plan.problems.append(" ".join(str(error).split()))
                continue
            if mark in seen:
                plan.notes.append(f"{path}: the same film as {seen[mark]}; left out")
                continue
            prints[mark] = seen[mark] = path
        if not prints or leave_out(tuple(prints)):
            continue
        value = options_to_json(replace(options, situation=scripts.situation(film)))
        name = _free(film, names)
        plan.wishes += [Wish(mark, path, value, name, tuple(other for other in prints if other != mark))
                        for mark, path in prints.items()]
    plan.problems += scripts.problems
    return plan


def _free(film: RepFilm, taken: set[str]) -> str:
    """The rep's name, with its folder before it where two of the same name come together; the order of work must not matter."""
    name, number = film.name, 2
    while name in taken:
        folder = f"{film.clips[0].parent.name}/{film.name}"
        name, number = (folder, number) if folder not in taken else (f"{folder}-{number}", number + 1)
    taken.add(name)
    return name
