"""How long the review page takes with many reps in the library: the queue, a rep's data, a correction.

Run: python tests/bench/bench_review.py [REPS]. Prints medians, and as the baseline the same with ten reps in the library:
what grows with the library shows in the ratio.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "review"))

from invented import many_reps
from starlette.testclient import TestClient

from tagger.library.store import Library
from tagger.review.app import create_app
from tagger.review.safety import Door

HOST = "127.0.0.1:8423"


def median_ms(work: Callable[[], object], times: int = 15) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(1000 * (time.perf_counter() - start))
    return statistics.median(taken)


def measured(count: int) -> dict[str, float]:
    """Medians in ms over a library of `count` reps."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        with Library.open(home / "library") as library:
            many_reps(library, home / "film", count)
        door = Door(frozenset({HOST}))
        headers = {"x-page-token": door.page_token, "origin": f"http://{HOST}"}
        with TestClient(create_app(home / "library", door), base_url=f"http://{HOST}", headers=headers) as client:

            def correct() -> None:
                version = client.get("/api/reps/3").json()["version"]
                body = {"version": version, "who": "A", "edits": [{"subject": "rep", "field": "family", "after": "cover-1"}]}
                assert client.post("/api/reps/3/corrections", json=body).status_code == 200

            return {
                "queue page": median_ms(lambda: client.get("/")),
                "queue order": median_ms(lambda: client.get("/api/queue")),
                "rep": median_ms(lambda: client.get("/api/reps/2")),
                "moving things": median_ms(lambda: client.get("/api/reps/2/moving/2")),
                "look and correct": median_ms(correct),
            }


if __name__ == "__main__":
    reps = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    few, many = measured(10), measured(reps)
    for name, value in many.items():
        print(f"{name:18} {value:7.1f} ms with {reps} reps, {few[name]:7.1f} ms with 10: {value / few[name]:.1f} times")
