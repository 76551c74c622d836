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

from tagger.batch.clip_bytes import clip_from_bytes, whole_in
from tagger.batch.crew import Crew, Progress
from tagger.batch.joining import Joins, join_work
from tagger.batch.pairing import find_pairs
from tagger.batch.plan import Scripts
from tagger.batch.process import Tell, Work, WorkFailed, call_of
from tagger.batch.recording import is_recording, take_recording
from tagger.batch.work import tag_film
from tagger.football.types import Situation
from tagger.library import ClipRecord, Job, Library, LibraryBusy, LibraryError, RepRecord
from tagger.library.owner import Owner

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
                 work: Work = tag_film, scripts: Scripts | None = None, join: Work = join_work,
                 pair_old: bool = True) -> Iterator[Finished]:
    """Do every waiting job (of `run`), and tell of each try as it ends. Jobs of the run that another living program has in hand
    are waited for. Views of one rep are read as one when both are there. `work` is what tags a clip (see `work.tag_film`), `join`
    what joins two (see `joining.join_work`); `scripts` tell of the reps cut out of recordings; without `pair_old` the other
    view is looked for only for what is tagged now."""
    joins = Joins(library, crew.limits, join)
    night = _Night(library, owner, crew, run, tell, work, scripts or Scripts(), joins)
    try:
        joins.offer(library.jobs.list("done", run))  # of a call that was cut short
        yield from night.clips()
        for one, other in find_pairs(library, joins.spool, library.jobs.list("done", run), None if pair_old else night.fresh):
            joins.start(one, other)
        yield from night.joined(to_the_end=True)
    finally:
        joins.close()
        crew.close()
        with suppress(LibraryError):  # a full disk: whoever comes next sees that we are dead
            library.jobs.give_back(owner.name)


class _Night:
    """One way through the queue."""

    def __init__(self, library: Library, owner: Owner, crew: Crew, run: int | None, tell: Tell | None, work: Work,
                 scripts: Scripts, joins: Joins) -> None:
        self._library, self._owner, self._crew, self._run = library, owner, crew, run
        self._work, self._scripts, self._joins = work, scripts, joins
        pieces = len(library.jobs.list("waiting", run)) + len(library.jobs.list("running", run))
        self._progress = Progress(pieces, tell)
        self._in_work: dict[Future[bytes], Job] = {}
        self.fresh: set[int] = set()

    def clips(self) -> Iterator[Finished]:
        """Every clip's tries, until none waits."""
        while True:
            self._fill()
            if not self._in_work:
                if self._run is None or not self._library.jobs.list("running", self._run):
                    return
                time.sleep(LOOK_EVERY_S)
                continue
            done = [(self._in_work.pop(future), future)
                    for future in wait(self._in_work, timeout=LOOK_EVERY_S, return_when=FIRST_COMPLETED).done]
            if done:
                self._fill()  # nobody idles while we save
            for job, future in done:
                finished = self._settle(job, future)
                if finished.state != "waiting":
                    self._progress.teller(job.job_id, job.path.stem)(1.0, "")
                if finished.rep_id is not None:
                    self.fresh.add(job.job_id)
                    self._joins.offer([job])
                yield finished
            yield from self.joined()

    def joined(self, to_the_end: bool = False) -> Iterator[Finished]:
        """The joins that are done; `to_the_end` waits for those under way."""
        while self._joins.pending:
            done = wait(self._joins.pending, timeout=None if to_the_end else 0.0, return_when=FIRST_COMPLETED).done
            for future in done:
                joined = patiently(lambda future=future: self._joins.settle(future))  # type: ignore[misc]
                if joined.reason:
                    yield Finished(joined.job, "done", joined.rep_id, joined.reason)
            if not to_the_end:
                return

    def _fill(self) -> None:
        jobs = self._library.jobs
        patiently(lambda: jobs.reopen(self._owner.is_dead))
        while len(self._in_work) < self._crew.workers:
            job = patiently(lambda: jobs.claim(self._owner.name, self._run))
            if job is None:
                return
            limits = self._crew.limits
            asked = {"path": str(job.path), "options": dict(job.options), "threads": limits.threads, "side_px": limits.side_px}
            call = call_of(self._work, asked)
            self._in_work[self._crew.start(call, self._progress.teller(job.job_id, job.path.stem))] = job

    def _settle(self, job: Job, future: Future[bytes]) -> Finished:
        """Save what came, or write down why nothing did."""
        try:
            return self._save(job, future.result())
        except WorkFailed as failure:
            reason = failure.line
            if failure.again:
                state = patiently(lambda: self._library.jobs.tried(job.job_id, reason, self._crew.limits.tries))
                return Finished(job, state, reason=reason)
            patiently(lambda: self._library.jobs.fail(job.job_id, reason))
            return Finished(job, "failed", reason=reason)

    def _save(self, job: Job, answer: bytes) -> Finished:
        if is_recording(answer):
            return Finished(job, "done", reason=patiently(lambda: take_recording(self._library, job, answer, self._scripts)))
        clip = _clip(answer)
        if clip.fingerprint != job.fingerprint:
            raise WorkFailed(f"{job.path}: changed while it was in work (still being copied?); tag it again", again=False)
        if whole := whole_in(answer):
            self._joins.spool.keep(job, whole)
        record = RepRecord(job.rep_name, (clip,), Situation(**job.options["situation"]), None, job.views_of)
        saved = patiently(lambda: self._library.save_rep(record, job.job_id))
        return Finished(job, "done", saved.rep_id)


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
