"""Takes what lands in a folder into the queue: film that has stopped growing, each content once, views of one rep together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from tagger.batch.film import RepFilm, pair_views
from tagger.batch.plan import Scripts
from tagger.batch.settling import Settling, Standing
from tagger.batch.work import options_to_json
from tagger.library import Library, Seen, Wish, fingerprint
from tagger.library.landing import UPLOADED
from tagger.options import TagOptions


@dataclass
class Taken:
    """What one look found: clips `queued`, files that are `moved` film, and a line for each that was left `out`; how many files
    are `unsettled`, still growing or too new to tell."""

    queued: list[Wish] = field(default_factory=list)
    moved: list[Path] = field(default_factory=list)
    out: list[str] = field(default_factory=list)
    unsettled: int = 0


class Watch:
    """A watched folder (None: none) and the one for film that was uploaded to the library. A file is taken once it has looked the
    same for `settle_s`."""

    def __init__(self, folder: Path | None, library: Library, options: TagOptions, scripts: Scripts, settle_s: float) -> None:
        uploaded = library.folder.resolve() / UPLOADED
        uploaded.mkdir(exist_ok=True)
        self._settlings = [Settling(uploaded)]
        if folder is not None and not folder.resolve().is_relative_to(uploaded):
            self._settlings.append(Settling(folder, leave_out=(library.folder,)))
        self.scripts = scripts
        self._library, self._options, self._settle_s = library, options, settle_s
        self._in_hand: set[Path] = set()

    def look(self, now_s: float) -> Taken:
        """Look once, and queue what is ready. Raises ValueError if the folder cannot be read."""
        taken, ready, fresh = Taken(), dict[Path, str](), set[Path]()
        for file in [file for settling in self._settlings for file in settling.look(now_s)]:
            known = self._library.seen_film.find(file.path)
            if known is not None and (known.size_bytes, known.mtime_ns) == (file.size_bytes, file.mtime_ns):
                if not known.note:
                    ready[file.path] = known.fingerprint
                    if file.path not in self._in_hand and not self._is_in_hand(known.fingerprint):
                        fresh.add(file.path)  # seen, but the program died before it was queued
            elif file.steady_s < self._settle_s:
                taken.unsettled += 1
            elif (mark := self._take(file, taken, ready)) is not None:
                ready[file.path] = mark
                if not self._library.has_film(mark):
                    fresh.add(file.path)
        self._in_hand = set(ready)
        self._queue(ready, fresh, taken)
        return taken

    def _take(self, file: Standing, taken: Taken, ready: Mapping[Path, str]) -> str | None:
        """Look into a new file; its fingerprint, None if it is left out."""
        try:
            mark = fingerprint(file.path)
        except (ValueError, OSError) as error:
            taken.out.append(f"{file.path}: cannot be read ({error})")
            return None
        seen = Seen(file.path, file.size_bytes, file.mtime_ns, mark)
        other = self._other_path(mark, file.path) or next((path for path in ready if ready[path] == mark), None)
        if not file.size_bytes:
            seen = replace(seen, note=f"{file.path}: empty; copy it again")
            taken.out.append(seen.note)
        elif other is not None and other.exists():
            seen = replace(seen, note=f"{file.path}: the same film as {other}; left out")
            taken.out.append(seen.note)
        elif other is not None:
            self._library.moved(mark, file.path)
            self._library.jobs.moved(mark, file.path)
            taken.moved.append(file.path)
        self._library.seen_film.keep(seen)
        return None if seen.note else mark

    def _is_in_hand(self, mark: str) -> bool:
        return self._library.has_film(mark) or bool(self._library.jobs.of_film(mark))

    def _other_path(self, mark: str, path: Path) -> Path | None:
        """Where the same content is known from, if not from here."""
        known = [job.path for job in self._library.jobs.of_film(mark)]
        tagged = self._library.film_path(mark)
        others = [other for other in (*known, *([tagged] if tagged else [])) if other != path]
        return next((other for other in others if other.exists()), others[0] if others else None)

    def _queue(self, ready: dict[Path, str], fresh: set[Path], taken: Taken) -> None:
        for film in pair_views(sorted(ready)):
            if fresh.intersection(film.clips):
                taken.queued += self._wishes(film, ready, [path for path in film.clips if path in fresh])
        if taken.queued:
            self._library.jobs.add(taken.queued)

    def _wishes(self, film: RepFilm, ready: dict[Path, str], clips: Sequence[Path]) -> list[Wish]:
        value = options_to_json(replace(self._options, situation=self.scripts.situation(film)))
        prints = [ready[path] for path in film.clips]
        return [Wish(ready[path], path, value, film.name, tuple(mark for mark in prints if mark != ready[path]))
                for path in clips]
