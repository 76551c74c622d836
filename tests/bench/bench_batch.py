"""How the overnight work scales, and how well recordings are split.

`bench_batch.py workers CLIP...`: the same clips by one worker and by two, one core each (and, as the baseline of a single clip,
by one worker on both cores): seconds, ratio, peak memory of a worker.
`bench_batch.py split FILM.mp4...`: films of `simulated_practice.py` with their truth beside them: reps found whole (snap at least
2 s inside, end inside), false cuts, error of the snap. Baseline: cutting every 30 s.
`bench_batch.py looks VIEW:SEED:KIND...`: the same for practices of `simulated_looks.py`, of the kinds of `simulated_practice.py`.
"""

from __future__ import annotations

import argparse
import json
import resource
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import simulated_looks

from tagger.batch.activity import Activity, measure
from tagger.batch.crew import LocalCrew, do_all
from tagger.batch.limits import MOST_SIDE_PX, Limits
from tagger.batch.movement import movement
from tagger.batch.process import WorkFailed, call_of
from tagger.batch.reps_in_activity import FoundRep, find_reps
from tagger.batch.work import options_to_json, tag_film
from tagger.cutups.cut_apart import Part, cut_apart
from tagger.options import TagOptions

LEAD_S = 2.0
BASELINE_EVERY_S = 30.0


def workers(clips: list[Path], seconds: float) -> None:
    """Print the comparison on the first `seconds` of each clip."""
    with tempfile.TemporaryDirectory() as folder:
        short = [cut_apart(clip, [Part(0.0, seconds, Path(folder) / f"{n}-{clip.stem}")])[0].path for n, clip in enumerate(clips)]
        took: dict[tuple[int, int], float] = {}
        for count, threads in ((1, 1), (2, 1), (1, 2)):
            asked = [
                (clip.stem, call_of(tag_film, {"path": str(clip), "options": options_to_json(TagOptions()), "threads": threads,
                                               "side_px": MOST_SIDE_PX}))
                for clip in short]
            crew = LocalCrew(count, Limits(threads=threads))
            start = time.perf_counter()
            for _, result in do_all(crew, asked):
                if isinstance(result, WorkFailed):
                    raise SystemExit(result.line)
            took[count, threads] = time.perf_counter() - start
            crew.close()
            print(f"{count} worker(s) of {threads} thread(s): {took[count, threads]:.1f} s for {len(short)} clips")
        print(f"two workers / one: {took[1, 1] / took[2, 1]:.2f} x; / one on both cores: {took[1, 2] / took[2, 1]:.2f} x")
        print(f"peak memory of a worker: {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")


def judge(found: list[FoundRep], truth: dict[str, list[float]]) -> tuple[int, int, int, list[float]]:
    """(reps found whole, reps, false cuts, snap errors in seconds)."""
    whole, errors = 0, []
    for snap_s, end_s in zip(truth["snaps_s"], truth["ends_s"], strict=True):
        inside = [rep for rep in found if rep.start_s <= max(0.0, snap_s - LEAD_S) and rep.end_s >= end_s]
        whole += bool(inside)
        errors += [min((rep.snap_s - snap_s for rep in inside), key=abs)] if inside else []
    false = sum(not any(rep.start_s <= snap_s <= rep.end_s for snap_s in truth["snaps_s"]) for rep in found)
    return whole, len(truth["snaps_s"]), false, errors


def split(films: list[Path]) -> None:
    """Look through films and judge them."""
    def looked() -> Iterator[tuple[str, Activity, dict[str, Any]]]:
        for film in films:
            yield film.name, measure(film), json.loads(film.with_suffix(".json").read_text())
    judge_all(looked())


def looks(asked: list[str], reps: int) -> None:
    """Judge practices of which no film was made."""
    def looked() -> Iterator[tuple[str, Activity, dict[str, Any]]]:
        for one in asked:
            view, seed, kind = one.split(":")
            yield one, *simulated_looks.looks(int(seed), reps, view, kind=kind)
    judge_all(looked())


def judge_all(looked: Iterator[tuple[str, Activity, dict[str, Any]]]) -> None:
    """Print each practice's figures, and all together beside the baseline's."""
    total, baseline, cuts, even_cuts, errors = np.zeros(3, int), np.zeros(3, int), 0, 0, list[float]()
    start_s = time.process_time()
    for name, activity, truth in looked:
        found = find_reps(movement(activity))
        used_s, start_s = time.process_time() - start_s, time.process_time()
        even = [FoundRep(t, t, t + BASELINE_EVERY_S) for t in np.arange(0.0, activity.end_s, BASELINE_EVERY_S)]
        *counts, off_s = judge(found, truth)
        total, baseline = total + counts, baseline + judge(even, truth)[:3]
        cuts, even_cuts, errors = cuts + len(found), even_cuts + len(even), errors + off_s
        print(f"{name}: {counts[0]} of {counts[1]} whole, {counts[2]} false of {len(found)} cuts, "
              f"{used_s:.0f} s of processor for {activity.end_s / 60:.1f} min", flush=True)
    print(f"all: {total[0]} of {total[1]} reps whole, {total[2]} false of {cuts}; "
          f"snap off by {np.median(np.abs(errors)):.2f} s (median), {np.max(np.abs(errors)):.2f} s at most")
    print(f"cut every {BASELINE_EVERY_S:.0f} s: {baseline[0]} of {baseline[1]} reps whole, {baseline[2]} false of {even_cuts}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("workers", "split", "looks"))
    parser.add_argument("films", nargs="+", help="or view:seed:kind, for looks")
    parser.add_argument("--seconds", type=float, default=3.0, help="of each clip, for workers")
    parser.add_argument("--reps", type=int, default=24, help="of each practice, for looks")
    given = parser.parse_args()
    if given.what == "looks":
        looks(given.films, given.reps)
    elif given.what == "workers":
        workers([Path(film) for film in given.films], given.seconds)
    else:
        split([Path(film) for film in given.films])
