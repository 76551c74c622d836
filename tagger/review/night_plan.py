"""The night's work as a coach wants to see it: what waits, what runs, what is done or set aside and why, and until when."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from tagger.library import Job, Library
from tagger.library.jobs import DONE, FAILED, RUNNING, SET_ASIDE, WAITING
from tagger.library.owner import somebody_works

HOURS = 24.0
ENDED = (DONE, FAILED, SET_ASIDE)
PACE_OF = 30
"""So many clips that ended last tell the pace."""
LULL_S = 1800.0
"""A longer pause between two ends was no work."""
MOST_SHOWN = 500


@dataclass(frozen=True)
class Piece:
    """A clip of the night. `since` (Unix time) when it came into its state; `about_at` when a waiting one is likely done."""

    job_id: int
    name: str
    path: str
    state: str
    reason: str
    attempts: int
    since: float
    about_at: float | None = None


@dataclass(frozen=True)
class NightPlan:
    """`counts` by state over all `pieces`, of which the first MOST_SHOWN stand here: running, then waiting in order of work, then
    the last that ended. `rate_per_h` and `remaining_s` are None until two clips have ended. `at_work`: somebody works on them."""

    at_work: bool
    counts: dict[str, int]
    rate_per_h: float | None
    remaining_s: float | None
    pieces: tuple[Piece, ...]


def night_plan(library: Library, now: datetime | None = None) -> NightPlan:
    """What waits or runs, and what ended in the last HOURS."""
    now = now or datetime.now(UTC)
    since = (now - timedelta(hours=HOURS)).isoformat()
    ended = sorted((job for job in library.jobs.changed_since(since) if job.state in ENDED), key=_changed_s, reverse=True)
    running = library.jobs.list(RUNNING)
    waiting = sorted(library.jobs.list(WAITING), key=lambda job: (job.attempts + job.interruptions, job.job_id))
    at_work = somebody_works(library.folder)
    per_s = pace(ended, now.timestamp() if at_work else None)
    pieces = [_piece(job) for job in running]
    for place, job in enumerate(waiting, start=len(running) + 1):
        pieces.append(_piece(job, now.timestamp() + place / per_s if per_s and at_work else None))
    pieces += [_piece(job) for job in ended]
    counts = Counter(piece.state for piece in pieces)
    return NightPlan(at_work, {state: counts[state] for state in (RUNNING, WAITING, *ENDED)}, 3600.0 * per_s if per_s else None,
                     (len(running) + len(waiting)) / per_s if per_s else None, tuple(pieces[:MOST_SHOWN]))


def pace(ended: Sequence[Job], until_s: float | None) -> float | None:
    """Clips a second of those that ended last, the newest first; `until_s` (Unix time) if work still goes on, so that a clip that
    takes long is felt before it ends. None if too few ended without a pause between."""
    stretch: list[float] = []
    for job in ended[:PACE_OF]:
        end_s = _changed_s(job)
        if stretch and stretch[-1] - end_s > LULL_S:
            break
        stretch.append(end_s)
    if len(stretch) < 2 or (until_s is not None and until_s - stretch[0] > LULL_S):
        return None
    lasted_s = (max(until_s, stretch[0]) if until_s is not None else stretch[0]) - stretch[-1]
    return (len(stretch) - 1) / lasted_s if lasted_s > 0 else None


def _piece(job: Job, about_at: float | None = None) -> Piece:
    return Piece(job.job_id, job.path.stem, str(job.path), job.state, job.reason, job.attempts, _changed_s(job), about_at)


def _changed_s(job: Job) -> float:
    return datetime.fromisoformat(job.changed_at).timestamp()
