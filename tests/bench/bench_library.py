"""Searches over a library of 50,000 reps: each search field, some whole searches, and what one scan without SQL costs.

    python tests/bench/bench_library.py [REPS]

Prints the median of five runs and the ratio to the baseline: a Python loop over the reps' families in memory, the least that a
tagger without a database would have to do.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tagger.football.types import Defender, Event, Formation, Interval, Motion, Reading, Situation
from tagger.football.vocabulary import EVENT_KINDS, FAMILIES, SHELLS
from tagger.library import Library
from tagger.library.effective import effective
from tagger.library.fields import FIELDS
from tagger.library.rows import write_effective
from tagger.library.saving import now

SLOTS = (
    "left-corner",
    "right-corner",
    "free-safety",
    "strong-safety",
    "nickel",
    "will",
    "mike",
    "sam",
    "left-edge",
    "right-edge",
    "tackle",
)
ASSIGNED = (
    ("deep-third", "left"),
    ("deep-third", "right"),
    ("deep-third", "middle"),
    ("curl-flat", "left"),
    ("curl-flat", "right"),
    ("hook-curl", "left"),
    ("hook-curl", "right"),
    ("rush", None),
    ("rush", None),
    ("rush", None),
    ("man", None),
)
SEARCHES = (
    "family:cover-3 down:3 distance:7.. zone:red,plus",
    "family:cover-3 and not (down:3 or shell:two-high)",
    "defender(slot:free-safety assignment:deep-third area:middle sure>=0.8)",
    "defender(slot:nickel assignment:man) not event:break",
    "event(event:leverage-lost-over-top margin:1.. slot:free-safety)",
    "feature:bunch motion:motion answer:bumped",
    "not assignment:deep-third",
    "number:21 or number:22",
)
LISTED = 200
"""Reps of one page; a list in full is timed on its own."""


def make_reading(rng: np.random.Generator) -> Reading:
    family = str(rng.choice(FAMILIES))
    men = tuple(
        Defender(
            f"D{i}",
            SLOTS[i],
            (Interval(*ASSIGNED[(i + int(rng.integers(3))) % 11], 2.0, 5.0, float(rng.uniform(0.3, 1)), "why"),),
        )
        for i in range(11)
    )
    events = tuple(
        Event(str(rng.choice(EVENT_KINDS)), f"D{rng.integers(11)}", "O1", 3.0, 3.5, float(rng.normal(1, 1)), 0.7, "why")
        for _ in range(int(rng.integers(4)))
    )
    motions = (Motion("O1", "motion", 0.0, 1.0, 5.0, 20.0, str(rng.choice(["ran-with", "bumped", "stayed"])), "why"),) * int(
        rng.integers(2)
    )
    formation = Formation(
        str(rng.choice(["2x2", "3x1", "4x1"])),
        "left",
        1,
        {"O1": "left-1"},
        tuple(rng.choice(["bunch-left", "stack-right", "empty", "condensed-left"], int(rng.integers(3)), replace=False)),
        4,
        0.9,
        "why",
        motions,
    )
    return Reading(
        2.0,
        4.0,
        6.0,
        {"pass": 1.0},
        {str(rng.choice(SHELLS)): 0.8},
        "why",
        {family: float(rng.uniform(0.4, 1))},
        "why",
        (),
        str(rng.choice(["sky", "buzz", "cloud"])),
        formation,
        men,
        events,
        (),
        4,
        6,
    )


def fill(library: Library, count: int) -> list[str]:
    rng = np.random.default_rng(7)
    families = []
    with library._writing() as connection:
        for number in range(1, count + 1):
            made = make_reading(rng)
            situation = Situation(
                int(rng.integers(1, 5)),
                float(rng.integers(1, 15)),
                str(rng.choice(["left", "middle", "right"])),
                "team",
                "11",
                str(rng.choice(FAMILIES)),
                float(rng.integers(1, 99)),
            )
            connection.execute(
                "INSERT INTO rep (rep_id, name, folder, tagged_at, family, family_confidence, family_auto, family_source)"
                " VALUES (?, ?, '/film', ?, 'unknown', 0, 'unknown', 'auto')",
                (number, f"rep-{number:06d}", now()),
            )
            write_effective(connection, number, effective(made, situation, ()), made, {"O1": "offense"}, {})
            families.append(next(iter(made.family)))
    return families


def median_ms(call: Callable[[], object]) -> float:
    """Processor time, so that a busy machine does not spoil the figures."""
    times = []
    for _ in range(5):
        start = time.process_time()
        call()
        times.append(1000 * (time.process_time() - start))
    return statistics.median(times)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    with tempfile.TemporaryDirectory() as folder, Library.open(Path(folder)) as library:
        start = time.perf_counter()
        families = fill(library, count)
        size_mb = sum(f.stat().st_size for f in Path(folder).iterdir()) / 1e6
        print(f"{count} reps written in {time.perf_counter() - start:.0f} s, {size_mb:.0f} MB")
        baseline = median_ms(lambda: [i for i, family in enumerate(families) if family == "cover-3"])
        print(f"baseline {baseline:.2f} ms\n{'search':<75}{'reps':>8}{'page ms':>9}{'count ms':>9}{'ratio':>8}")
        single = [f"{name}:{value_of(name)}" for name in FIELDS]
        for text in ["", *single, *SEARCHES]:
            page, counted = median_ms(lambda t=text: library.search(t, LISTED)), median_ms(lambda t=text: library.count(t))
            slow = "  SLOW" if max(page, counted) > 100 else ""
            print(f"{text:<75}{library.count(text):>8}{page:>9.1f}{counted:>9.1f}{page / baseline:>8.1f}{slow}")
        print(f"one family, listed in full: {median_ms(lambda: library.search('family:cover-3')):.1f} ms")


def value_of(name: str) -> str:
    """A value that fits many reps: the dear case."""
    field = FIELDS[name]
    told = {
        "rep": "rep-0001*",
        "call": "cover-3",
        "personnel": "11",
        "set": "3x1",
        "variant": "sky",
        "feature": "bunch",
        "slot": "nickel",
        "number": "none",
        "player": "D3",
        "abstained": "none",
        "down": "3",
        "distance": "3..8",
        "to-goal": "..50",
        "confidence": "0.8..",
        "sure": "0.8..",
        "margin": "1..",
        "assignment": "deep-third",
        "event": "break",
        "disguised": "yes",
        "family": "cover-3",
    }
    return told.get(name) or (field.words[0] if field.words else "1..")


if __name__ == "__main__":
    main()
