"""Dask workers on two networks of their own (Linux network namespaces), as on two machines; the line to one is cut in mid-work.

Needs root and `ip` (iproute2); skipped where namespaces cannot be made.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
import small_work

from tagger.batch.cluster import ClusterCrew
from tagger.batch.film import find_clips, pair_views
from tagger.batch.limits import Limits
from tagger.batch.plan import Scripts, plan_films
from tagger.batch.queue import work_through
from tagger.library import Library
from tagger.library.owner import Owner
from tagger.options import TagOptions

pytest.importorskip("distributed")
pytestmark = pytest.mark.slow
Film = Callable[[str, str], Path]
NET, PORT = "10.213.77", 28786
PATIENCE = {"DASK_DISTRIBUTED__SCHEDULER__WORKER_TTL": "10s", "DASK_DISTRIBUTED__COMM__TIMEOUTS__TCP": "12s",
            "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "3"}  # fmt: skip
"""Dask gives a silent worker five minutes; a test has not so long."""


def ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True, capture_output=True)


@pytest.fixture
def networks() -> Iterator[tuple[str, str]]:
    """Two namespaces, each joined to this machine by a bridge."""
    if os.name == "nt" or os.geteuid() or shutil.which("ip") is None:
        pytest.skip("needs root and iproute2")
    names = ("dt-left", "dt-right")
    with ExitStack() as stack:
        try:
            ip("link", "add", "dt-bridge", "type", "bridge")
            stack.callback(lambda: ip("link", "del", "dt-bridge"))
            ip("addr", "add", f"{NET}.1/24", "dev", "dt-bridge")
            ip("link", "set", "dt-bridge", "up")
            for number, name in enumerate(names, start=2):
                ip("netns", "add", name)
                stack.callback(lambda name=name: ip("netns", "del", name))
                ip("link", "add", f"dt-v{number}", "type", "veth", "peer", "name", f"dt-p{number}")
                ip("link", "set", f"dt-v{number}", "master", "dt-bridge", "up")
                ip("link", "set", f"dt-p{number}", "netns", name)
                for words in (("addr", "add", f"{NET}.{number}/24", "dev", f"dt-p{number}"),
                              ("link", "set", f"dt-p{number}", "up"), ("link", "set", "lo", "up")):
                    ip("netns", "exec", name, "ip", *words)
        except subprocess.CalledProcessError as error:
            pytest.skip(f"network namespaces cannot be made here: {error.stderr.decode().strip()}")
        yield names


@pytest.fixture
def scheduler(networks: tuple[str, str]) -> Iterator[str]:
    """A scheduler here, and a worker on each of the two networks."""
    environment = {**os.environ, **PATIENCE}
    dask, address = [sys.executable, "-m", "dask"], f"{NET}.1:{PORT}"
    commands = [[*dask, "scheduler", "--host", f"{NET}.1", "--port", str(PORT), "--no-dashboard"]]
    commands += [["ip", "netns", "exec", name, *dask, "worker", f"tcp://{address}", "--nthreads", "1", "--no-dashboard"]
                 for name in networks]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    programs = [subprocess.Popen(one, env=environment, start_new_session=True, **quiet) for one in commands]  # type: ignore[call-overload]
    yield address
    for program in programs:
        program.kill()
        program.wait()


def test_a_cut_line_loses_nothing_and_nothing_is_done_twice(film: Film, tmp_path: Path, scheduler: str) -> None:
    for number in range(6):
        film(f"{number}.mp4", f"slow 3 {number}")
    library = tmp_path / "library"
    crew = ClusterCrew(scheduler, 2, Limits())
    until_s = time.monotonic() + 60
    while crew.workers < 2 and time.monotonic() < until_s:
        time.sleep(0.5)
    assert crew.workers == 2
    with Library.open(library) as kept, Owner(library) as owner:
        run = kept.jobs.add(plan_films(pair_views(find_clips([tmp_path / "film"])), TagOptions(), Scripts()).wishes)
        ends = []
        for done in work_through(kept, owner, crew, run, work=small_work.act):
            if not ends:
                time.sleep(0.5)
                ip("link", "set", "dt-v2", "down")
            ends.append((done.job.path.stem, done.state))
        assert sorted(ends) == [(str(number), "done") for number in range(6)]
        assert kept.count() == 6
