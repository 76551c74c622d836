"""What one worker may take: time, memory, cores. And how many workers a machine carries."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import psutil

if TYPE_CHECKING:
    from tagger.options import TagOptions

GIB = 1 << 30
USUAL_MEMORY_BYTES = 4 * GIB
"""Ten times what a rep of 1080p film takes; more is a broken file or a fault."""
LEAST_MEMORY_BYTES = GIB
"""A worker is not started for less: 1080p film needs about 400 MB."""
ADDRESS_SPACE_HEADROOM_BYTES = 4 * GIB
"""Address space that libraries and their threads reserve without using it."""
MOST_SIDE_PX = 8192
"""More is never decoded (see `vision.video`), whatever is asked for."""


@dataclass(frozen=True)
class Bounds:
    """What a person allows a clip: time, memory (None: what the machine has for each worker), tries until it is set aside, and
    pixels of its picture's longer side."""

    wall_s: float = 3 * 3600.0
    memory_bytes: int | None = None
    tries: int = 2
    side_px: int = MOST_SIDE_PX


@dataclass(frozen=True)
class Limits:
    """Of one worker process. It is killed when it runs longer than `wall_s`, says nothing for `silent_s` (a hung decoder), or
    holds more than `memory_bytes`. `hard` also limits its address space, so that the system refuses what is too much at the
    moment it is asked for; a GPU's libraries reserve far too much for that. `threads` are the detector's. A clip is set aside
    after `tries`; a picture of more than `side_px` is refused.
    """

    wall_s: float = 3 * 3600.0
    silent_s: float = 600.0
    memory_bytes: int = USUAL_MEMORY_BYTES
    threads: int = 1
    hard: bool = True
    tries: int = 2
    side_px: int = MOST_SIDE_PX


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def usual_jobs() -> int:
    """As many workers as there are cores and memory for."""
    return max(1, min(cores(), int(psutil.virtual_memory().available) // LEAST_MEMORY_BYTES))


def share(jobs: int, pieces: int) -> tuple[int, int]:
    """(workers, threads of each) that use `jobs` cores on `pieces` of work: one core a worker while there is enough work."""
    workers = max(1, min(jobs, pieces))
    return workers, max(1, jobs // workers)


def limits_for(jobs: int | None, pieces: int, options: TagOptions, bounds: Bounds | None = None) -> tuple[int, Limits]:
    """(workers, limits of each) for so many pieces of work on this machine."""
    bounds = bounds or Bounds()
    workers, threads = share(jobs or usual_jobs(), pieces)
    on_cpu = options.device == "cpu" and (options.weights is None or options.weights.suffix.lower() == ".onnx")
    return workers, Limits(bounds.wall_s, memory_bytes=bounds.memory_bytes or memory_for(workers), threads=threads, hard=on_cpu,
                           tries=bounds.tries, side_px=bounds.side_px)


def memory_for(workers: int) -> int:
    """Bytes that each of so many workers may hold on this machine."""
    return max(LEAST_MEMORY_BYTES, min(USUAL_MEMORY_BYTES, int(0.8 * psutil.virtual_memory().total) // workers))
