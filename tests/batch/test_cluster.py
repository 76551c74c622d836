"""The same work on a real Dask cluster: two worker processes, of which one dies."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import small_work

from tagger.batch.cluster import LOCAL, ClusterCrew, ClusterLost
from tagger.batch.film import find_clips, pair_views
from tagger.batch.limits import Limits
from tagger.batch.plan import Scripts, plan_films
from tagger.batch.queue import work_through
from tagger.library import Library
from tagger.library.owner import Owner
from tagger.options import TagOptions

pytest.importorskip("distributed")
Film = Callable[[str, str], Path]


def test_an_address_where_nobody_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tagger.batch.cluster.PATIENCE_S", 1)
    with pytest.raises(ClusterLost, match=r"cluster 127\.0\.0\.1:9: no scheduler with a worker answers there"):
        ClusterCrew("127.0.0.1:9", 2, Limits())


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_a_lost_workers_clips_are_done_by_another(film: Film, tmp_path: Path) -> None:
    for number in range(5):
        film(f"{number}.mp4", f"slow 2 {number}")
    film("bad.mp4", "refuse")
    library = tmp_path / "library"
    crew = ClusterCrew(LOCAL, 2, Limits())
    assert crew.workers == 2
    with Library.open(library) as kept, Owner(library) as owner:
        plan = plan_films(pair_views(find_clips([tmp_path / "film"])), TagOptions(), Scripts())
        run = kept.jobs.add(plan.wishes)
        ends = []
        for done in work_through(kept, owner, crew, run, work=small_work.act):
            if not ends:
                time.sleep(0.5)
                victims = crew._client.run(os.getpid)
                os.kill(next(iter(victims.values())), signal.SIGKILL)
            ends.append((done.job.path.stem, done.state))
        assert sorted(ends) == [*((str(number), "done") for number in range(5)), ("bad", "failed")]
        assert kept.count() == 5
