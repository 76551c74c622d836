"""Files in the library's folder that came from film: what `forget` removes beside the rows."""

from __future__ import annotations

import shutil
from pathlib import Path

from tagger.batch.night import LOG, LOG_COUNT
from tagger.batch.split import CLIPS
from tagger.batch.summary import DATA, PAGE
from tagger.cutups.whole_file import write_text


def forget_files(library: Path, folder: Path | None) -> list[Path]:
    """Remove the summary, and the watch log (of a `folder`: the lines that speak of it); with `folder` None also every clip that
    was cut out of a recording. Returns what was removed or rewritten."""
    done = [path for path in (library / PAGE, library / DATA) if path.exists()]
    for path in done:
        path.unlink()
    for path in [library / LOG, *(library / f"{LOG}.{number}" for number in range(1, LOG_COUNT + 1))]:
        if path.exists() and _without(path, folder):
            done.append(path)
    if folder is None and (library / CLIPS).is_dir():
        shutil.rmtree(library / CLIPS)
        done.append(library / CLIPS)
    return done


def _without(path: Path, folder: Path | None) -> bool:
    if folder is None:
        path.unlink()
        return True
    text = path.read_text(encoding="utf-8", errors="replace")
    kept = "".join(line for line in text.splitlines(keepends=True) if str(folder) not in line)
    if kept != text:
        write_text(path, kept)
    return kept != text
