"""Works through the queue: claims a clip, has it tagged in a process of its own, saves it and ends its job in one transaction.

Everything about the library happens in the caller's thread. Whatever stops the program, what was saved is whole; what was in
work waits again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, wait
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeVar

from tagger.batch.clip_bytes import clip_from_bytes
from tagger.batch.crew import Crew, Progress
from tagger.batch.owner import Owner
from tagger.batch.plan import Scripts
from tagger.batch.process import Tell, Work, WorkFailed, call_of
from tagger.batch.recording import is_recording, take_recording
from tagger.batch.work import tag_film
from tagger.football.types import Situation
from tagger.library import ClipRecord, Job, Library, LibraryBusy, LibraryError, RepRecord

LOOK_EVERY_S = 0.5
PATIENCE_S = 600.0
"""So long another program may hold the library before the work is given up."""

Result = TypeVar("Result")


@dataclass(frozen=True)
class Finished:
    """A job after a try. `state` as in the queue: done, failed, set-aside, or waiting for another try; `rep_id` where its tags
    are; `reason` is one line, also for a recording that was cut into reps."""

    job: Job
    state: str
    rep_id: int | None = None
    reason: str = ""


def work_through(library: Library, owner: Owner, crew: Crew, run: int | None = None, tell: Tell | None = None,
                 work: Work = tag_film, scripts: Scripts | None = None) -> Iterator[Finished]:
    """Do every waiting job (of `run`), and tell of each try as it ends. Jobs of the run that another living program has in hand
    are waited for. `work` is what tags a clip (see `work.tag_film`); `scripts` tell of the reps cut out of recordings."""
    pieces = len(library.jobs.list("waiting", run)) + len(library.jobs.list("running", run))
    progress = Progress(pieces, tell)
    in_work: dict[Future[bytes], Job] = {}
    try:
        while True:
            patiently(lambda: library.jobs.reopen(owner.is_dead))
            while len(in_work) < crew.workers and (job := patiently(lambda: library.jobs.claim(owner.name, run))) is not None:
                call = call_of(work, {"path": str(job.path), "options": dict(job.options), "threads": crew.limits.threads})
                in_work[crew.start(call, progress.teller(job.job_id, job.path.stem))] = job
            if not in_work:
                if run is None or not library.jobs.list("running", run):
                    return
                time.sleep(LOOK_EVERY_S)
                continue
            for future in wait(in_work, timeout=LOOK_EVERY_S, return_when=FIRST_COMPLETED).done:
                job = in_work.pop(future)
                finished = _settle(library, job, future, scripts or Scripts())
                if finished.state != "waiting":
                    progress.teller(job.job_id, job.path.stem)(1.0, "")
                yield finished
    finally:
        crew.close()
        with suppress(LibraryError):  # a full disk: whoever comes next sees that we are dead
            library.jobs.give_back(owner.name)


def _settle(library: Library, job: Job, future: Future[bytes], scripts: Scripts) -> Finished:
    """Save what came, or write down why nothing did."""
    try:
        answer = future.result()
        if is_recording(answer):
            return Finished(job, "done", reason=patiently(lambda: take_recording(library, job, answer, scripts)))
        clip = _clip(answer)
        if clip.fingerprint != job.fingerprint:
            raise WorkFailed(f"{job.path}: changed while it was in work (still being copied?); tag it again", again=False)
        record = RepRecord(job.rep_name, (clip,), Situation(**job.options["situation"]), None, job.views_of)
        saved = patiently(lambda: library.save_rep(record, job.job_id))
        return Finished(job, "done", saved.rep_id)
    except WorkFailed as failure:
        reason = failure.line
        if failure.again:
            state = patiently(lambda: library.jobs.tried(job.job_id, reason))
            return Finished(job, state, reason=reason)
        patiently(lambda: library.jobs.fail(job.job_id, reason))
        return Finished(job, "failed", reason=reason)


def _clip(data: bytes) -> ClipRecord:
    try:
        return clip_from_bytes(data)
    except ValueError as error:
        raise WorkFailed(str(error), again=True) from error


def patiently(do: Callable[[], Result]) -> Result:
    """Do it again while another program holds the library. Raises LibraryBusy after PATIENCE_S."""
    until_s = time.monotonic() + PATIENCE_S
    while True:
        try:
            return do()
        except LibraryBusy:
            if time.monotonic() > until_s:
                raise
            time.sleep(LOOK_EVERY_S)
