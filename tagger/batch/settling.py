"""Which files of a folder have stopped growing. Looks again and again: network folders tell nothing by themselves."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tagger.library.landing import SUFFIXES


@dataclass(frozen=True)
class Standing:
    """A film file as it looks now; `steady_s` is how long it has looked so (by a clock that never goes back)."""

    path: Path
    size_bytes: int
    mtime_ns: int
    steady_s: float


class Settling:
    """Remembers how the files of `folder` looked. `leave_out` are folders inside that are not looked into."""

    def __init__(self, folder: Path, leave_out: tuple[Path, ...] = ()) -> None:
        self.folder, self._leave_out = folder.resolve(), {path.resolve() for path in leave_out}
        self._since: dict[Path, tuple[int, int, float]] = {}

    def look(self, now_s: float) -> list[Standing]:
        """Every film file, in order of name. Raises ValueError if the folder cannot be read."""
        found = {}
        for path in self._files():
            try:
                status = path.stat()
            except OSError:  # gone between the listing and here
                continue
            size, mtime, since_s = self._since.get(path, (-1, -1, now_s))
            steady = (size, mtime) == (status.st_size, status.st_mtime_ns)
            found[path] = (status.st_size, status.st_mtime_ns, since_s if steady else now_s)
        self._since = found
        return [Standing(path, size, mtime, now_s - since_s) for path, (size, mtime, since_s) in sorted(found.items())]

    def _files(self) -> Iterator[Path]:
        if not self.folder.is_dir():
            raise ValueError(f"{self.folder}: no such folder, or it cannot be reached now")
        for place, folders, names in os.walk(self.folder):
            folders[:] = [name for name in folders
                          if not name.startswith(".") and (Path(place) / name).resolve() not in self._leave_out]
            yield from (Path(place) / name for name in names
                        if not name.startswith(".") and Path(name).suffix.lower() in SUFFIXES)
