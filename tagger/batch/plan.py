"""From film that lies somewhere to wishes for the queue: who is whose other view, and what the script says of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from tagger.batch.film import RepFilm
from tagger.batch.script import Script, own_columns, read_script, script_near
from tagger.batch.work import options_to_json
from tagger.football.types import Situation
from tagger.library import Wish, fingerprint
from tagger.pipeline import TagOptions

MOST_NAMED = 8


@dataclass
class Plan:
    """What is to be done. `notes` are lines on film that is left out for a good reason, `problems` on what is wrong."""

    wishes: list[Wish] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


class Scripts:
    """Each rep's situation, from the named script or the one that lies beside its film; `columns` are the club's own names of
    columns (see `script.read_script`)."""

    def __init__(self, named: Script | None = None, columns: Mapping[str, str] | None = None) -> None:
        self.named, self.problems = named, list[str]()
        self._columns = columns
        self._read: dict[Path, Script | None] = {}
        self._by_order: dict[str, Situation] = {}

    @classmethod
    def told(cls, named: Path | None, columns: Mapping[str, str], library: Path) -> Scripts:
        """Scripts as a call tells of them; its `columns` join those that the library keeps. Raises ValueError as `read_script`
        and `own_columns` do."""
        own = own_columns(library, columns)
        return cls(read_script(named, own) if named else None, own)

    def situation(self, film: RepFilm) -> Situation:
        """What is known of a rep before it is seen."""
        script = self._script_of(film.clips[0])
        named = script.situation_of(film.name) if script else None
        return named or self._by_order.get(film.name) or Situation()

    def expect(self, films: Sequence[RepFilm]) -> list[str]:
        """Match reps that come together with their scripts' rows: by name or number, or in order where no name is known and there
        are as many rows as reps. Returns a line for each script on what has no counterpart in it."""
        lines: list[str] = []
        scripts: dict[Path, tuple[Script, list[str]]] = {}
        for film in films:
            if (script := self._script_of(film.clips[0])) is not None:
                scripts.setdefault(script.path, (script, []))[1].append(film.name)
        for script, names in scripts.values():
            rows = dict(script.rows)
            said = {name: script.row_of(name) for name in names}
            if not any(said.values()) and len(rows) == len(names):
                self._by_order |= dict(zip(names, rows.values(), strict=True))
                continue
            bare = [name for name, row in said.items() if row is None]
            idle = [row for row in rows if row not in said.values()]
            lines += [f"{script.path}: no row for {_some(bare)}"] if bare else []
            if idle and len(idle) < len(rows) / 2:  # else a part of the practice is being tagged
                lines.append(f"{script.path}: no film for {_some(idle)}")
        return lines

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
            return read_script(path, self._columns)
        except (ValueError, OSError) as error:
            self.problems.append(str(error))
            return None


def plan_films(films: Iterable[RepFilm], options: TagOptions, scripts: Scripts,
               leave_out: Callable[[tuple[str, ...]], bool] = lambda prints: False) -> Plan:
    """Wishes for these reps, each clip once; `leave_out` is asked with the fingerprints of each rep."""
    films = list(films)
    plan, seen, names = Plan(notes=scripts.expect(films)), dict[str, Path](), set[str]()
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


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:MOST_NAMED]) + (f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else "")


def _free(film: RepFilm, taken: set[str]) -> str:
    """The rep's name, with its folder before it where two of the same name come together; the order of work must not matter."""
    name, number = film.name, 2
    while name in taken:
        folder = f"{film.clips[0].parent.name}/{film.name}"
        name, number = (folder, number) if folder not in taken else (f"{folder}-{number}", number + 1)
    taken.add(name)
    return name
