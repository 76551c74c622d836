"""Files in the library's folder that came from film: what `forget` removes beside the rows."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from tagger.batch.night import LOG, LOG_COUNT
from tagger.batch.split import CLIPS
from tagger.batch.spool import Spool
from tagger.batch.summary import DATA, PAGE
from tagger.cutups.review_copy import forget_copies
from tagger.cutups.whole_file import write_text
from tagger.library import Library
from tagger.library.landing import UPLOADED, UPLOADS


def forget_files(library: Library, words: tuple[str, ...]) -> list[Path]:
    """After rows were forgotten: remove what belongs to film that the library no longer knows (clips cut out of recordings,
    review copies, half-joined views, uploaded film that lies at one of `words`), the summary, and the lines of the watch log
    that hold one of `words`. With no words: the whole log, and all that was uploaded. Returns what was removed or rewritten."""
    prints = {row[0] for row in library.sql("SELECT fingerprint FROM clips")[1]}
    known = {Path(row[0]) for row in library.sql("SELECT path FROM clips UNION SELECT path FROM jobs")[1]}
    done = [*_cut_out(library.folder / CLIPS, known), *forget_copies(library.folder, prints), *Spool(library).prune(),
            *_uploaded(library.folder.resolve(), known, words)]
    for path in (library.folder / PAGE, library.folder / DATA):
        if path.exists():
            path.unlink()
            done.append(path)
    for path in [library.folder / LOG, *(library.folder / f"{LOG}.{number}" for number in range(1, LOG_COUNT + 1))]:
        if path.exists() and _without(path, words):
            done.append(path)
    return done


def _cut_out(folder: Path, known: set[Path]) -> Iterator[Path]:
    """Clips of reps that are gone, and their folders once nothing but a cut list is left in them."""
    for place in sorted(folder.iterdir()) if folder.is_dir() else []:
        for clip in [path for path in place.iterdir() if path.suffix != ".json" and path.resolve() not in known]:
            clip.unlink()
            yield clip
        if all(path.suffix == ".json" for path in place.iterdir()):
            for path in place.iterdir():
                path.unlink()
            with suppress(OSError):
                place.rmdir()


def _uploaded(library: Path, known: set[Path], words: tuple[str, ...]) -> Iterator[Path]:
    """Film that lies in the library itself would only be tagged again."""
    for folder in (library / UPLOADED, library / UPLOADS):
        for path in sorted(folder.rglob("*"), reverse=True):  # a folder comes after what is in it
            named = not words or any(path.is_relative_to(word) for word in words)
            if path.is_file() and named and path not in known:
                path.unlink()
                yield path
            elif path.is_dir():
                with suppress(OSError):
                    path.rmdir()


def _without(path: Path, words: tuple[str, ...]) -> bool:
    if not words:
        path.unlink()
        return True
    text = path.read_text(encoding="utf-8", errors="replace")
    kept = "".join(line for line in text.splitlines(keepends=True) if not any(word in line for word in words))
    if kept != text:
        write_text(path, kept)
    return kept != text
