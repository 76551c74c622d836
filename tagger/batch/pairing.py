"""Finds the sideline and the end-zone clip of one rep when their names do not say it: by how people moved.

Both cameras saw the same men: where their paces rise and fall together, the men are laid on each other on the field, which also
tells by how much the two clocks differ. Names and order only say what is tried first. What is not clear stays apart.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from homography.align_views import Alignment, Paths, align, on_grid, pace, pace_fits
from tagger.batch.spool import Spool
from tagger.library import Job, Library

SIDELINE, END_ZONE = "sideline", "end-zone"
TRIED = 4
"""So many end-zone clips are laid on each sideline clip: those whose pace fits best, and the one in its place of the folder."""
LEAST_AGREEMENT = 0.6
LEAST_LEAD = 0.1
"""By which the best partner must be better than the next."""

Array = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Candidate:
    """A clip that lacks its other view: its people on an even clock, and their pace."""

    job: Job
    view: str
    yard_line_known: bool
    paths: Paths
    pace: Array


def find_pairs(library: Library, spool: Spool, jobs: Sequence[Job], fresh: Container[int] | None = None) -> list[tuple[Job, Job]]:
    """(sideline, end-zone) jobs of one rep, among tagged clips that are alone in theirs and still whole. With `fresh` (job ids)
    only pairs with one of these: the others were tried before."""
    alone = [job for job in jobs if spool.find(job) is not None and library.has_film(job.fingerprint)
             and not library.views_beside(job.fingerprint)]
    if fresh is not None and not any(job.job_id in fresh for job in alone):
        return []
    found = [candidate for job in alone if (candidate := _candidate(library, job)) is not None]
    return [(one.job, other.job) for one, other, _ in pair(found, fresh)]


def pair(candidates: Iterable[Candidate], fresh: Container[int] | None = None) -> list[tuple[Candidate, Candidate, Alignment]]:
    """Sideline and end-zone clips that belong together, each in one pair at most; `fresh` as in `find_pairs`."""
    ordered = sorted(candidates, key=lambda one: str(one.job.path))
    sides, ends = ([one for one in ordered if one.view == view] for view in (SIDELINE, END_ZONE))
    if not sides or not ends:
        return []
    agreement, how = np.zeros((len(sides), len(ends))), dict[tuple[int, int], Alignment]()
    likely = np.array([[float(pace_fits(one.pace, other.pace)[1].max(initial=-1.0)) for other in ends] for one in sides])
    for i, one in enumerate(sides):
        for j in {*np.argsort(-likely[i])[:TRIED].tolist(), *_same_place(one, sides, ends)}:
            other = ends[j]
            old = fresh is not None and one.job.job_id not in fresh and other.job.job_id not in fresh
            if not old and _one_practice(one.job.path, other.job.path):
                laid = align(one.paths, other.paths, one.yard_line_known and other.yard_line_known)
                if laid is not None:
                    agreement[i, j], how[i, j] = laid.agreement, laid
    matched = [(int(i), int(j)) for i, j in zip(*linear_sum_assignment(-agreement), strict=True)]
    return [(sides[i], ends[j], how[i, j]) for i, j in matched
            if agreement[i, j] >= LEAST_AGREEMENT and _stands_out(agreement, i, j)]


def _stands_out(agreement: Array, i: int, j: int) -> bool:
    rivals = np.concatenate([np.delete(agreement[i], j), np.delete(agreement[:, j], i), [0.0]])
    return bool(agreement[i, j] - rivals.max() >= LEAST_LEAD)


def _same_place(one: Candidate, sides: Sequence[Candidate], ends: Sequence[Candidate]) -> list[int]:
    """Of each folder of end-zone clips, the one that stands where this clip stands among its neighbours."""
    place = [side.job.path for side in sides if side.job.path.parent == one.job.path.parent].index(one.job.path)
    found = []
    for folder in dict.fromkeys(end.job.path.parent for end in ends):
        inside = [number for number, end in enumerate(ends) if end.job.path.parent == folder]
        found += inside[place:place + 1]
    return found


def _one_practice(one: Path, other: Path) -> bool:
    """Clips of one folder, or of two that lie side by side, as two cameras' cards are copied."""
    return one.parent == other.parent or one.parent.parent == other.parent.parent


def _candidate(library: Library, job: Job) -> Candidate | None:
    rep_id = library.rep_of(job.fingerprint)
    if rep_id is None:
        return None
    clip = next(clip for clip in library.rep(rep_id).clips if clip.fingerprint == job.fingerprint)
    tracks = library.arrays(clip.clip_id).field_tracks
    if clip.view not in (SIDELINE, END_ZONE) or not len(tracks):
        return None
    paths = on_grid(tracks)
    return Candidate(job, clip.view, clip.yard_line_known, paths, pace(paths))
