"""What the server does by itself while a coach looks: reads anew what waits for it, and makes review copies of film."""

from __future__ import annotations

import threading
from contextlib import suppress
from pathlib import Path

from tagger.cutups.review_copy import ReviewCopies
from tagger.library.connection import FILE_NAME
from tagger.library.faults import LibraryError
from tagger.library.queue_order import ReviewQueue
from tagger.library.store import Library
from tagger.review.rep_data import version_of
from tagger.review.reread import is_stale, read_anew


def catch_up(folder: Path, copies: ReviewCopies, rereading: threading.Lock) -> threading.Thread:
    """Start doing so in the background; returns the thread. Only reps that a coach has spoken of by now are read anew. Raises
    LibraryError if there is no library in `folder`."""
    with Library.open(folder, read_only=not (folder / FILE_NAME).is_file()) as library:  # never made here, but brought up to date
        told = [int(row[0]) for row in library.sql("SELECT DISTINCT rep_id FROM corrections")[1]]

    def work() -> None:
        with suppress(LibraryError):
            if told:
                read_stale(folder, told, rereading)
            copies.prepare(_film(folder))

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread


def read_stale(folder: Path, rep_ids: list[int], rereading: threading.Lock) -> None:
    """Read anew the reps whose tags do not yet follow the coach's word, as after a new tagging. What cannot be read stays."""
    with Library.open(folder) as library:
        for rep_id in rep_ids:
            with rereading, suppress(ValueError):
                rep = library.rep(rep_id)
                if is_stale(rep):
                    reading, laid = read_anew(library, rep)
                    library.save_reread(rep_id, reading, version_of(rep), laid)


def _film(folder: Path) -> list[tuple[Path, str]]:
    """(film, fingerprint) of the reps that are not done, in the order of the queue."""
    with Library.open(folder, read_only=True) as library:
        order = [rep.rep_id for rep in ReviewQueue().ordered(library) if not rep.done]
        rows = library.sql("SELECT rep_id, path, fingerprint FROM clips")[1]
    films: dict[int, list[tuple[Path, str]]] = {}
    for rep_id, path, mark in rows:
        films.setdefault(int(rep_id), []).append((Path(path), str(mark)))
    return [film for rep_id in order for film in films.get(rep_id, ())]
