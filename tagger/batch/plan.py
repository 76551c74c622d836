"""From film that lies somewhere to wishes for the queue: who is whose other view, and what the script says of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from tagger.batch.clock import LEAST_LAID, lay_on_clock, recorded
from tagger.batch.film import RepFilm
from tagger.batch.script import Script, own_columns, read_script, script_near
from tagger.batch.work import options_to_json
from tagger.football.types import Situation
from tagger.library import Wish, fingerprint
from tagger.options import TagOptions

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
        self._laid: dict[Path, Situation] = {}

    @classmethod
    def told(cls, named: Path | None, columns: Mapping[str, str], library: Path) -> Scripts:
        """Scripts as a call tells of them; its `columns` join those that the library keeps. Raises ValueError as `read_script`
        and `own_columns` do."""
        own = own_columns(library, columns)
        return cls(read_script(named, own) if named else None, own)

    def situation(self, film: RepFilm) -> Situation:
        """What is known of a rep before it is seen."""
        script = self._script_of(film.clips[0])
        return self._laid.get(film.clips[0]) or (script.situation_of(film.name) if script else None) or Situation()

    def expect(self, films: Sequence[RepFilm]) -> list[str]:
        """Match reps that come together with their scripts' rows: by name; where no name is known, by the clock, else by number,
        else in order where there are as many rows as reps. Returns a line for each script on what has no counterpart in it."""
        lines: list[str] = []
        scripts: dict[Path, tuple[Script, list[RepFilm]]] = {}
        for film in films:
            if (script := self._script_of(film.clips[0])) is not None:
                scripts.setdefault(script.path, (script, []))[1].append(film)
        for script, its in scripts.values():
            said = _rows_of(script, its)
            rows = dict(script.rows)
            self._laid |= {film.clips[0]: rows[row] for film, row in zip(its, said, strict=True) if row is not None}
            bare = [film.name for film, row in zip(its, said, strict=True) if row is None]
            idle = [row for row in rows if row not in said]
            lines += [f"{script.path}: no row for {_some(bare)}"] if bare else []
            if idle and len(idle) < len(rows) / 2:  # else a part of the practice is being tagged
                lines.append(f"{script.path}: no film for {_some(idle)}")
        return lines

    def speak_of(self, clip: Path) -> bool:
        """Whether there is a script for this film."""
        return self._script_of(clip) is not None

    def of_recording(self, recording: Path, starts_s: Sequence[float]) -> list[Situation] | None:
        """The situation of each rep cut out of a recording, by when it starts: by the script's clock, else in order where the
        script has as many. None where neither can be, or without a script."""
        script = self._script_of(recording)
        if script is None:
            return None
        rows = dict(script.rows)
        laid = lay_on_clock(starts_s, list(script.times_s.values()))
        if laid:
            timed = list(script.times_s)
            return [rows[timed[laid[i]]] if i in laid else Situation() for i in range(len(starts_s))]
        return list(rows.values()) if len(rows) == len(starts_s) else None

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


def _rows_of(script: Script, films: Sequence[RepFilm]) -> list[str | None]:
    """What the rep's column says in the row of each film, None where it has none."""
    named = [script.row_named(film.name) for film in films]
    numbered = [script.row_numbered(film.name) for film in films]
    if any(named):
        return [row or other for row, other in zip(named, numbered, strict=True)]
    cards: dict[Path, list[int]] = {}  # each camera has its own clock and its own count
    for i, film in enumerate(films):
        cards.setdefault(film.clips[0].parent, []).append(i)
    groups = [list(cards.values()), [list(range(len(films)))]]
    laid = next(filter(None, (_by_clock(script, films, group) for group in groups)), None)
    if laid is None and not any(numbered):
        laid = next(filter(None, (_in_order(script, group) for group in groups)), None)
    return [laid.get(i) for i in range(len(films))] if laid else numbered


def _by_clock(script: Script, films: Sequence[RepFilm], groups: Sequence[Sequence[int]]) -> dict[int, str]:
    rows, laid = list(script.times_s), dict[int, str]()
    for group in groups:
        if min(len(group), len(rows)) >= LEAST_LAID:
            when = recorded([films[i].clips[0] for i in group])
            told = [(i, at_s) for i, at_s in zip(group, when, strict=True) if at_s is not None]
            found = lay_on_clock([at_s for _, at_s in told], list(script.times_s.values()))
            laid |= {told[place][0]: rows[row] for place, row in found.items()}
    return laid


def _in_order(script: Script, groups: Sequence[Sequence[int]]) -> dict[int, str]:
    rows = list(dict(script.rows))
    return {i: row for group in groups if len(group) == len(rows) for i, row in zip(group, rows, strict=True)}


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
