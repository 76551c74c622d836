"""`simulate`: practice reps on film with exact truth, a folder a rep, and the practice script beside them."""

from __future__ import annotations

import csv
import json
import multiprocessing
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from demo_clips.play import make_rep
from demo_clips.render import RATES, design_look, render_clip

VIEWS = ("sideline", "end-zone", "low-sideline")
SCRIPT_COLUMNS = ("rep", "clip", "down", "distance", "hash", "yards_to_goal", "personnel", "period", "call")


@dataclass(frozen=True)
class _Order:
    seed: int
    index: int
    out_dir: Path
    views: tuple[str, ...]
    size_px: tuple[int, int]
    rate: str | None
    own_club: bool
    odd_field: bool
    duration_s: float | None
    quality: int
    play_options: Mapping[str, Any]


def rep_name(index: int) -> str:
    """The folder's name of the rep with this index: rep-001 is the first."""
    return f"rep-{index + 1:03d}"


def _write_rep(order: _Order) -> int:
    """Render one rep into a folder of its own, which gets its name only when whole."""
    cv2.setNumThreads(1)
    name = rep_name(order.index)
    motion, truth = make_rep(order.seed, order.index, order.play_options)
    rng = np.random.default_rng([order.seed, order.index, 1])
    look = design_look(motion, rng, order.own_club, order.odd_field)
    rate: Fraction = RATES[order.rate or str(rng.choice(list(RATES), p=[0.7, 0.15, 0.1, 0.05]))]
    lasts = float(motion.time_s[-1]) if order.duration_s is None else min(order.duration_s, float(motion.time_s[-1]))
    partial = order.out_dir / f".{name}.partial"
    shutil.rmtree(partial, ignore_errors=True)
    partial.mkdir(parents=True)
    truth = truth | {
        "rep": name,
        "clips": [
            render_clip(
                motion,
                look,
                view,
                partial / f"{name}-{view}.mp4",
                order.size_px,
                rate,
                lasts,
                int(truth["direction"]),
                np.random.default_rng([order.seed, order.index, 2 + VIEWS.index(view)]),
                order.quality,
            )
            for view in order.views
        ],
    }
    (partial / "truth.json").write_text(json.dumps(truth, separators=(",", ":")))
    partial.rename(order.out_dir / name)
    return order.index


def _already_there(folder: Path, seed: int, views: tuple[str, ...]) -> bool:
    """Whether the rep is done. Raises ValueError if the folder holds another rep under this name."""
    if not folder.exists():
        return False
    path = folder / "truth.json"
    if not path.is_file():
        raise ValueError(f"{folder}: exists but holds no truth.json; choose another folder or delete it")
    truth = json.loads(path.read_text())
    found = [clip["view"] for clip in truth["clips"]]
    if truth["seed"] != seed or sorted(found) != sorted(views):
        raise ValueError(
            f"{folder}: holds seed {truth['seed']} with views {', '.join(found)}, not seed {seed} with {', '.join(views)}; "
            "choose another folder or delete it"
        )
    return True


def write_script(out_dir: Path) -> Path:
    """Write practice-script.csv from the truth of all reps in the folder: what a coach's script would say, a row a clip."""
    path = out_dir / "practice-script.csv"
    partial = path.with_name(".practice-script.partial")
    with partial.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(SCRIPT_COLUMNS)
        for truth_path in sorted(out_dir.glob("rep-*/truth.json")):
            truth = json.loads(truth_path.read_text())
            s = truth["situation"]
            for clip in truth["clips"]:
                rows.writerow(
                    [
                        truth["rep"],
                        clip["file"],
                        s["down"],
                        s["distance_yd"],
                        s["hash"],
                        s["yards_to_goal"],
                        s["personnel"],
                        truth["period"],
                        s["call"],
                    ]
                )
    partial.rename(path)
    return path


def simulate(
    seed: int,
    count: int,
    out_dir: Path,
    views: tuple[str, ...] = ("sideline", "end-zone"),
    size: tuple[int, int] = (1280, 720),
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    options: Mapping[str, Any] | None = None,
) -> Path:
    """Write `count` reps of `seed` under `out_dir` and return it. What is already there is kept, so a broken run goes on.

    The same seed gives the same reps on any number of workers. `progress(done, count)` is called after each rep. `options`:
    `rate` (29.97, 30, 25 or 59.94; default: mixed), `own_club` (the invented club's field and kits; default: varied), `odd_field`
    (a practice field that may lack hash marks, every other yard line or a half of its paint; default: whole fields),
    `duration_s` (cut longer reps), `quality` (x264's constant rate factor), and those of `demo_clips.play.make_rep`.
    Raises ValueError on unknown views, options or rates, and where the folder holds other reps.
    """
    given = dict(options or {})
    for view in views:
        if view not in VIEWS:
            raise ValueError(f"view {view!r}: unknown, wanted one of {', '.join(VIEWS)}")
    usual = {"rate": None, "own_club": False, "odd_field": False, "duration_s": None, "quality": 25}
    rate, own_club, odd_field, duration, quality = (given.pop(name, value) for name, value in usual.items())
    if rate is not None and rate not in RATES:
        raise ValueError(f"rate {rate!r}: unknown, wanted one of {', '.join(RATES)}")
    if count < 1 or min(size) < 64 or size[0] % 2 or size[1] % 2:
        raise ValueError(f"simulate: {count} reps of {size[0]}x{size[1]}; ask for at least one, with even sides of 64 px or more")
    out_dir = Path(out_dir)
    out_dir.mkdir(parents=True, exist_ok=True)
    todo = [
        _Order(seed, i, out_dir, tuple(views), size, rate, own_club, odd_field, duration, quality, given)
        for i in range(count)
        if not _already_there(out_dir / rep_name(i), seed, tuple(views))
    ]
    done = count - len(todo)
    if progress and done:
        progress(done, count)
    if workers <= 1 or len(todo) <= 1:
        for order in todo:
            _write_rep(order)
            done += 1
            if progress:
                progress(done, count)
    else:
        with multiprocessing.get_context("spawn").Pool(min(workers, len(todo))) as pool:
            for _ in pool.imap_unordered(_write_rep, todo):
                done += 1
                if progress:
                    progress(done, count)
    write_script(out_dir)
    return out_dir
