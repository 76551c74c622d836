"""The two views of a rep read as one, once both are tagged."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tagger.batch.clip_bytes import clip_to_bytes, clips_from_bytes, clips_to_bytes
from tagger.batch.limits import Limits
from tagger.batch.process import Tell, Work, WorkFailed, call_of, run_call
from tagger.batch.spool import Spool
from tagger.batch.whole_clip import load_whole
from tagger.batch.work import options_from_json, record_of
from tagger.football.types import Situation
from tagger.library import Job, Library, RepRecord


def join_work(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """Read the clips in the files `wholes` as views of one rep; the tagged clips as bytes, nothing if they cannot be laid on each
    other. Runs in a process of its own."""
    from tagger.two_views import join_views

    clips = [load_whole(Path(path)) for path in arguments["wholes"]]
    tell(0.1, "both views")
    joined = join_views(clips, options_from_json(arguments["options"], arguments["threads"]))
    if all(after is before for after, before in zip(joined, clips, strict=True)):
        return b""
    return clips_to_bytes([clip_to_bytes(record_of(clip, mark)) for clip, mark in zip(joined, arguments["prints"], strict=True)])


@dataclass(frozen=True)
class Joined:
    """Two views after the try to read them as one: where they are, or one line on why it failed (both stay as they were)."""

    job: Job
    rep_id: int | None
    reason: str = ""


class Joins:
    """Joins views one rep at a time, beside the other work, on this machine (the spool is here)."""

    def __init__(self, library: Library, limits: Limits, work: Work = join_work) -> None:
        self._library, self._limits, self._work = library, limits, work
        self.spool = Spool(library)
        self._stop = threading.Event()
        self._thread = ThreadPoolExecutor(1)
        self.pending: dict[Future[bytes], tuple[Job, Job]] = {}
        self._tries = Counter[int]()

    def offer(self, jobs: Iterable[Job]) -> None:
        """Join those of the jobs whose rep's other view is tagged too."""
        for job in jobs:
            partner = self._partner(job) if self.spool.find(job) is not None else None
            if partner is not None:
                self.start(*sorted((job, partner), key=lambda one: one.job_id))

    def start(self, one: Job, other: Job) -> None:
        """Join these two, unless that is under way."""
        if any({one.job_id, other.job_id} & {job.job_id for job in pair} for pair in self.pending.values()):
            return
        call = call_of(self._work, {
            "path": str(one.path), "wholes": [str(self.spool.find(job)) for job in (one, other)],
            "prints": [one.fingerprint, other.fingerprint], "options": dict(one.options), "threads": self._limits.threads})
        self.pending[self._thread.submit(run_call, call, self._limits, None, self._stop)] = one, other

    def settle(self, future: Future[bytes]) -> Joined:
        """Save what came of one that is done, or begin it again: its process may have been ended from outside."""
        pair = self.pending.pop(future)
        self._tries[pair[0].job_id] += 1
        try:
            told = future.result()
            rep_id = None
            if told:
                clips, first = clips_from_bytes(told), pair[0]
                situation = Situation(**first.options["situation"])
                rep_id = self._library.save_rep(RepRecord(first.rep_name, tuple(clips), situation, None)).rep_id
            self.spool.drop(pair)
            return Joined(pair[0], rep_id)
        except WorkFailed as failure:
            if failure.again and self._tries[pair[0].job_id] < self._limits.tries:
                self.start(*pair)
                return Joined(pair[0], None)
            self.spool.drop(pair)
            return Joined(pair[0], None, f"{failure.line}; the rep's views are read one by one")

    def close(self) -> None:
        """Stop what is under way; it is begun again at the next call."""
        self._stop.set()
        self._thread.shutdown(wait=True, cancel_futures=True)

    def _partner(self, job: Job) -> Job | None:
        """The tagged clip that is another view of this rep, and is still whole."""
        for mark in self._library.views_beside(job.fingerprint):
            for other in reversed(self._library.jobs.of_film(mark)):
                if other.state == "done" and self.spool.find(other) is not None:
                    return other
        return None
