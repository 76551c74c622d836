"""The same work over several machines, by Dask `distributed`. Film is read from storage that all of them share under the same
path; results come back to the one library. Each clip still has a process of its own on the machine that tags it."""

from __future__ import annotations

from concurrent.futures import Future
from typing import TYPE_CHECKING, Any

from tagger.batch.crew import Crew, LocalCrew
from tagger.batch.limits import Bounds, Limits, limits_for
from tagger.batch.process import Call, Tell, WorkFailed, run_call

if TYPE_CHECKING:
    from tagger.options import TagOptions

LOCAL = "local"
PATIENCE_S = 30


class ClusterLost(ValueError):
    """The cluster cannot be used, through no fault of the film; the message is one line."""


class ClusterCrew:
    """Workers of the cluster at `address` ("host:port" of its scheduler), or of a cluster of `workers` processes made here."""

    def __init__(self, address: str, workers: int, limits: Limits) -> None:
        try:
            from distributed import Client, LocalCluster
        except ImportError as error:
            raise ClusterLost("--cluster needs Dask: pip install 'deepthird[cluster]'") from error
        self.limits, self._address, self._own = limits, address, None
        try:
            if address == LOCAL:
                self._own = LocalCluster(  # type: ignore[no-untyped-call]
                    n_workers=workers, threads_per_worker=1, dashboard_address=None)
            self._client: Any = Client(self._own or address, timeout=PATIENCE_S)  # type: ignore[no-untyped-call]
            self._client.wait_for_workers(1, timeout=PATIENCE_S)
        except (OSError, ValueError, TimeoutError) as error:
            raise ClusterLost(f"cluster {address}: no scheduler with a worker answers there ({_short(error)}); "
                              "start dask scheduler and dask worker, then give the scheduler's HOST:PORT") from error
        self._pending: set[Any] = set()

    @property
    def workers(self) -> int:
        """As many pieces of work as the cluster has threads now; workers may come and go."""
        return max(1, int(sum(self._client.nthreads().values())))

    def start(self, call: Call, tell: Tell | None = None) -> Future[bytes]:
        """See `Crew.start`. A lost worker's work is done by another. Progress within a clip is not told."""
        done: Future[bytes] = Future()
        far = self._client.submit(run_call, call, self.limits, pure=False)
        self._pending.add(far)
        far.add_done_callback(lambda _: self._hand_on(far, done, str(call.arguments.get("path", call.function))))
        return done

    def _hand_on(self, far: Any, done: Future[bytes], path: str) -> None:
        from distributed import KilledWorker

        self._pending.discard(far)
        try:
            done.set_result(far.result())
        except WorkFailed as failure:
            done.set_exception(failure)
        except KilledWorker:
            done.set_exception(WorkFailed(f"{path}: several workers of the cluster died over this clip", again=True))
        except BaseException as error:  # cancelled, or the connection is gone
            done.set_exception(ClusterLost(f"cluster {self._address}: lost ({_short(error)}); what is done is saved, call again"))

    def close(self) -> None:
        """See `Crew.close`. Workers elsewhere end what they have begun; nobody waits for it."""
        self._client.cancel(list(self._pending), force=True)
        self._client.close()
        if self._own is not None:
            self._own.close()


def _short(error: BaseException) -> str:
    return " ".join(str(error).split())[:160] or type(error).__name__


def crew_for(cluster: str | None, jobs: int | None, pieces: int, options: TagOptions, bounds: Bounds | None = None) -> Crew:
    """Who does so many pieces of work: processes of this machine, or the `cluster` ("local" or the scheduler's "host:port")."""
    workers, limits = limits_for(jobs, pieces, options, bounds)
    return LocalCrew(workers, limits) if cluster is None else ClusterCrew(cluster, workers, limits)
