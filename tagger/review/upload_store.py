"""Files on their way in from a browser: what came of each lies on the disk, so that any break can be gone on from.

A file lands, whole and looked into, in the library's folder for uploaded film, where every watch of the library finds it. One
that is refused leaves nothing but a line.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any, BinaryIO

from tagger.cutups.whole_file import OutputError, write_text
from tagger.library import Library, fingerprint
from tagger.library.landing import SCRIPT, UPLOADED, UPLOADS
from tagger.review.upload_names import Kind, NotTaken, check_script, kind_of

OPEN, LANDED, REFUSED = "open", "landed", "refused"
GIB = 1 << 30
KEPT_S = 7 * 24 * 3600.0
"""So long what came of a file waits for the rest."""
LEAST_FREE_BYTES = 2 * GIB
"""Of the disk, for the library itself."""
MOST_OPEN = 2000


@dataclass(frozen=True)
class UploadLimits:
    """`file_bytes` of one file; `quota_bytes` of all uploaded film together, half files counted whole."""

    file_bytes: int = 64 * GIB
    quota_bytes: int = 500 * GIB


@dataclass(frozen=True)
class Upload:
    """A file on its way, or after it. `name` as the coach's folder has it; `at_s` (Unix time) of the last change of its state;
    `note` says why it was refused, or what is special; `path` and `fingerprint` once it has landed."""

    upload_id: str
    name: str
    length_bytes: int
    at_s: float
    state: str = OPEN
    note: str = ""
    path: str = ""
    fingerprint: str = ""


class Superseded(Exception):
    """A newer request goes on with this file."""


class Writing:
    """One request's turn at a file, until a newer one takes it over."""

    def __init__(self, file: BinaryIO, lock: threading.Lock) -> None:
        self._file, self._lock, self._ended = file, lock, False

    def write(self, data: bytes) -> None:
        """Append. Raises Superseded, or OSError if the disk is full."""
        with self._lock:
            if self._ended:
                raise Superseded
            left = memoryview(data)
            while left:
                left = left[self._file.write(left):]

    def cut_back(self, size_bytes: int) -> None:
        """Drop what was written beyond."""
        with self._lock:
            if not self._ended:
                self._file.truncate(size_bytes)

    def end(self) -> None:
        """Let go of the file; later writes are refused."""
        with self._lock:
            if not self._ended:
                self._ended = True
                self._file.close()


class UploadStore:
    """The uploads of one library. `check` looks into a whole file and raises ValueError with one line; `known` says where film
    with a fingerprint is in the library already."""

    def __init__(self, library: Path, limits: UploadLimits, check: Callable[[Path], None],
                 known: Callable[[str], Path | None]) -> None:
        self.limits, self.landing = limits, library.resolve() / UPLOADED
        self._folder, self._check, self._known = library.resolve() / UPLOADS, check, known
        self._turns: dict[str, Writing] = {}
        self._lock, self._landing_lock = threading.Lock(), threading.Lock()

    def begin(self, name: str, length_bytes: int) -> Upload:
        """A new upload. Raises NotTaken where kind, size or quota forbid it, or the disk is full."""
        kind_of(name)
        if not length_bytes:
            raise NotTaken(f"{name}: empty; copy it from the camera again")
        if length_bytes > self.limits.file_bytes:
            raise NotTaken(f"{name}: {_gib(length_bytes)}, more than the {_gib(self.limits.file_bytes)} that one file may have; "
                           "export it smaller or in parts", True)
        with self._lock:
            self._make_room(name, length_bytes)
            upload = Upload(secrets.token_hex(16), name, length_bytes, time.time())
            self._keep(upload)
            self._part(upload.upload_id).touch()
        return upload

    def find(self, upload_id: str) -> Upload | None:
        """The upload of this id."""
        if not upload_id.isalnum():
            return None
        try:
            return Upload(**json.loads(self._record(upload_id).read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            return None

    def all(self) -> Iterator[Upload]:
        """Every upload that is remembered."""
        for path in sorted(self._folder.glob("*.json")):
            upload = self.find(path.stem)
            if upload is not None:
                yield upload

    def offset(self, upload: Upload) -> int:
        """Bytes that came and are kept."""
        if upload.state != OPEN:
            return upload.length_bytes
        return self._part(upload.upload_id).stat().st_size

    def turn(self, upload: Upload) -> Writing:
        """The right to go on with a file; ends any older request's."""
        with self._lock:
            self.stop(upload.upload_id)
            turn = self._turns[upload.upload_id] = Writing(self._part(upload.upload_id).open("ab", buffering=0), threading.Lock())
        return turn

    def stop(self, upload_id: str) -> None:
        """End the request that writes this file, if one does."""
        turn = self._turns.pop(upload_id, None)
        if turn is not None:
            turn.end()

    def drop(self, upload: Upload) -> None:
        """Forget an upload with all that came of it; film that has landed stays."""
        self.stop(upload.upload_id)
        self._part(upload.upload_id).unlink(missing_ok=True)
        self._record(upload.upload_id).unlink(missing_ok=True)

    def settle(self, upload: Upload) -> Upload:
        """Of a file that is whole: look into it and let it land, or refuse it. Once only, whoever asks."""
        if upload.state != OPEN or self.offset(upload) < upload.length_bytes:
            return upload
        with self._landing_lock:
            upload = self.find(upload.upload_id) or replace(upload, state=REFUSED, note=f"{upload.name}: was taken away")
            if upload.state != OPEN:
                return upload
            self.stop(upload.upload_id)
            part = self._part(upload.upload_id)
            try:
                _sync(part)
                self._check_content(upload, part)
                settled = self._land(upload, part)
            except ValueError as error:
                part.unlink(missing_ok=True)
                settled = replace(upload, state=REFUSED, note=" ".join(str(error).split()), at_s=time.time())
            self._keep(settled)
            return settled

    def sweep(self) -> None:
        """Settle what is whole (the power went before), and drop what nobody went on with."""
        for upload in list(self.all()):
            if time.time() - self._touched_s(upload) > KEPT_S:
                self.drop(upload)
            elif upload.state == OPEN:
                self.settle(upload)

    def used_bytes(self) -> int:
        """Of the quota: film that has landed, and the whole length of what is on its way."""
        landed = sum(path.stat().st_size for path in self.landing.rglob("*") if path.is_file())
        return landed + sum(upload.length_bytes for upload in self.all() if upload.state == OPEN)

    def expires_s(self, upload: Upload) -> float:
        """Unix time at which an unfinished upload is dropped."""
        return self._touched_s(upload) + KEPT_S

    def _make_room(self, name: str, length_bytes: int) -> None:
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            self.landing.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise NotTaken(f"{self._folder}: cannot be made ({error.strerror}); check who owns the library") from error
        opened = [upload for upload in self.all() if upload.state == OPEN]
        if len(opened) >= MOST_OPEN:
            raise NotTaken(f"{name}: {MOST_OPEN} files are on their way already; let them finish first")
        free_after = self.limits.quota_bytes - self.used_bytes() - length_bytes
        if free_after < 0:
            raise NotTaken(f"{name}: uploaded film may take {_gib(self.limits.quota_bytes)} here, and this file is "
                           f"{_gib(-free_after)} too much; remove film from {self.landing} or raise --upload-quota", True)
        to_come = sum(upload.length_bytes - self.offset(upload) for upload in opened)
        if shutil.disk_usage(self._folder).free - to_come - length_bytes < LEAST_FREE_BYTES:
            raise NotTaken(f"{name}: the library's disk is too full for it; free some space on {self._folder.parent}", True)

    def _check_content(self, upload: Upload, part: Path) -> None:
        look = check_script if kind_of(upload.name) is Kind.SCRIPT else self._check
        try:
            look(part)
        except ValueError as error:
            raise ValueError(str(error).replace(str(part), upload.name)) from None

    def _land(self, upload: Upload, part: Path) -> Upload:
        if kind_of(upload.name) is Kind.SCRIPT:
            target = self.landing / PurePosixPath(upload.name).parent / SCRIPT
            note = "it takes the place of the script that was there" if target.exists() else ""
            return self._move(upload, part, target, "", note)
        mark = fingerprint(part)
        other = self._known(mark) or self._landed(mark)
        if other is not None and other.exists():
            part.unlink()
            return replace(upload, state=LANDED, note=f"the same film as {other}; left out", at_s=time.time())
        return self._move(upload, part, self._free(upload.name), mark, "")

    def _move(self, upload: Upload, part: Path, target: Path, mark: str, note: str) -> Upload:
        target.parent.mkdir(parents=True, exist_ok=True)
        os.replace(part, target)
        return replace(upload, state=LANDED, path=str(target), fingerprint=mark, note=note, at_s=time.time())

    def _landed(self, mark: str) -> Path | None:
        return next((Path(one.path) for one in self.all() if one.fingerprint == mark and Path(one.path).exists()), None)

    def _free(self, name: str) -> Path:
        """Where no other film lies: a number goes to the folder, because views of one rep are told by their files' names."""
        wanted = PurePosixPath(name)
        folder, number = wanted.parent, 2
        while (self.landing / folder / wanted.name).exists():
            folder, number = wanted.parent.with_name(f"{wanted.parent.name}-{number}"), number + 1
        return self.landing / folder / wanted.name

    def _touched_s(self, upload: Upload) -> float:
        try:
            return max(upload.at_s, self._part(upload.upload_id).stat().st_mtime)
        except OSError:
            return upload.at_s

    def _keep(self, upload: Upload) -> None:
        try:
            write_text(self._record(upload.upload_id), json.dumps(asdict(upload)))
        except OutputError as error:
            raise NotTaken(str(error)) from error

    def _record(self, upload_id: str) -> Path:
        return self._folder / f"{upload_id}.json"

    def _part(self, upload_id: str) -> Path:
        return self._folder / f"{upload_id}.part"


def known_film(library: Library, mark: str) -> Path | None:
    """Where film with this fingerprint lies that the library has tagged or queued."""
    places = [library.film_path(mark), *(job.path for job in library.jobs.of_film(mark))]
    return next((path for path in places if path is not None and path.exists()), None)


def _sync(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _gib(size: float) -> str:
    return f"{size / GIB:.1f} GiB"


def progress_of(store: UploadStore, upload: Upload) -> dict[str, Any]:
    """What the page shows of an upload."""
    return {"id": upload.upload_id, "name": upload.name, "state": upload.state, "note": upload.note, "path": upload.path,
            "length_bytes": upload.length_bytes, "offset_bytes": store.offset(upload), "at_s": upload.at_s}
