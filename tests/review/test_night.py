"""The Night page: the plan, its state and its pace."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tagger.library import Wish
from tagger.library.owner import Owner
from tagger.library.store import Library


def test_the_plan_tells_state_pace_and_time(client: TestClient, library: Library, folder: Path) -> None:
    library.jobs.add([Wish(f"{n}", Path(f"/film/rep-{n}.mp4"), {}, f"rep-{n}") for n in range(7)])
    job = library.jobs.claim("w")
    assert job is not None
    library.jobs.fail(job.job_id, "rep-0: not a video")
    claimed = [library.jobs.claim("w") for _ in range(3)]
    for one in claimed[:2]:
        assert one is not None
        library.jobs.finish(one.job_id)
    told = client.get("/api/night").json()
    assert told["counts"] == {"running": 1, "waiting": 3, "done": 2, "failed": 1, "set-aside": 0}
    assert [piece["state"] for piece in told["pieces"]] == ["running", *["waiting"] * 3, "done", "done", "failed"]
    assert not told["at_work"]
    with Owner(folder):
        told = client.get("/api/night").json()
    assert told["at_work"]
    assert told["remaining_s"] == pytest.approx(4 * 3600 / told["rate_per_h"])
    times = [piece["about_at"] for piece in told["pieces"] if piece["state"] == "waiting"]
    assert times == sorted(times)
    failed = told["pieces"][-1]
    assert failed["reason"] == "rep-0: not a video"
    assert client.post("/api/night/again", json={"job_id": failed["job_id"]}).status_code == 200
    assert client.post("/api/night/again", json={"job_id": failed["job_id"]}).status_code == 422
    assert client.get("/api/night").json()["counts"]["waiting"] == 4


def test_the_page_stands(client: TestClient) -> None:
    page = client.get("/night")
    assert page.status_code == 200
    for name in ("tus.min.js", "night.js", "night_uploads.js", "night.css", "tus-licence.txt"):
        assert client.get(f"/static/{name}").status_code == 200, name
    assert "The MIT License" in client.get("/static/tus-licence.txt").text
