"""Who does the work: processes of this machine. (`cluster.py` has the same over several.)"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from typing import Protocol

from tagger.batch.limits import Limits
from tagger.batch.process import Call, Tell, WorkFailed, run_call


class Crew(Protocol):
    """`workers` pieces of work are done at once; `limits` holds for each."""

    limits: Limits

    @property
    def workers(self) -> int: ...

    def start(self, call: Call, tell: Tell | None = None) -> Future[bytes]:
        """Begin a piece of work. The future raises WorkFailed."""
        ...

    def close(self) -> None:
        """Stop at once whatever is still in work."""
        ...


class LocalCrew:
    """Each piece of work in a process of its own on this machine, watched by a thread."""

    def __init__(self, workers: int, limits: Limits) -> None:
        self.workers, self.limits = workers, limits
        self._stop = threading.Event()
        self._threads = ThreadPoolExecutor(workers)

    def start(self, call: Call, tell: Tell | None = None) -> Future[bytes]:
        """See `Crew.start`."""
        return self._threads.submit(run_call, call, self.limits, tell, self._stop)

    def close(self) -> None:
        """See `Crew.close`."""
        self._stop.set()
        self._threads.shutdown(wait=True, cancel_futures=True)


class Progress:
    """Adds up the shares of pieces of work that run at the same time."""

    def __init__(self, pieces: int, tell: Tell | None) -> None:
        self._of, self._tell = max(1, pieces), tell
        self._shares: dict[int, float] = {}
        self._lock = threading.Lock()

    def teller(self, number: int, name: str) -> Tell:
        """What piece `number` tells its progress to."""
        def hear(share: float, word: str) -> None:
            with self._lock:
                self._shares[number] = share
                whole = sum(self._shares.values()) / self._of
            if self._tell is not None:
                self._tell(min(1.0, whole), f"{name}: {word}" if word else name)
        return hear


def do_all(crew: Crew, calls: Sequence[tuple[str, Call]], tell: Tell | None = None) -> Iterator[tuple[int, bytes | WorkFailed]]:
    """(number, result or failure) of each named call as it is done; every call is made once."""
    progress = Progress(len(calls), tell)
    futures = {crew.start(call, progress.teller(number, name)): number for number, (name, call) in enumerate(calls)}
    for future in as_completed(list(futures)):
        number = futures.pop(future)  # results are large: let go of each once it is handed on
        progress.teller(number, calls[number][0])(1.0, "")
        try:
            yield number, future.result()
        except WorkFailed as failure:
            yield number, failure
