"""The morning summary: what was tagged, what was not and why, what to look at first. A page and a JSON file in the library."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, StrictUndefined

from tagger.cutups.whole_file import write_text
from tagger.library import Library
from tagger.library.queue_order import QueuedRep, review_queue

PAGE, DATA = "summary.html", "summary.json"
FORMAT = "deepthird-summary/1"
LOOK_FIRST = 20


@dataclass(frozen=True)
class NotTagged:
    """A clip that has no tags, and why. `state` as in the queue."""

    path: str
    state: str
    reason: str
    attempts: int


@dataclass(frozen=True)
class LookAt:
    """A rep that is worth a look, with what speaks for it."""

    rep: str
    reasons: tuple[str, ...]
    call: str | None
    family: str
    confidence: float


@dataclass(frozen=True)
class Summary:
    """The work of `since` to `made_at` (ISO 8601, UTC); `made_at_local` is the second for people. `look_first` is in the order
    of the review queue; `cutups` are the files written from saved searches."""

    made_at: str
    made_at_local: str
    since: str
    clips_tagged: int
    tagged: tuple[str, ...]
    not_tagged: tuple[NotTagged, ...]
    waiting: int
    left_out: tuple[str, ...]
    look_first: tuple[LookAt, ...]
    cutups: tuple[str, ...] = ()
    format: str = field(default=FORMAT)


def summarise(library: Library, hours: float, cutups: tuple[str, ...] = ()) -> Summary:
    """What happened in the last hours."""
    now = datetime.now(UTC)
    since = (now - timedelta(hours=hours)).isoformat()
    jobs = library.jobs.changed_since(since)
    done = [job for job in jobs if job.state == "done"]
    rep_ids = dict.fromkeys(rep_id for job in done if (rep_id := library.rep_of(job.fingerprint)) is not None)
    names = dict(library.sql("SELECT rep_id, rep FROM reps")[1])
    first = [rep for rep in review_queue(library) if rep.rep_id in rep_ids and not rep.done][:LOOK_FIRST]
    return Summary(
        now.isoformat(timespec="seconds"), now.astimezone().strftime("%A %d %B %Y, %H:%M"), since, len(done),
        tuple(sorted(names[rep_id] for rep_id in rep_ids)),
        tuple(NotTagged(str(job.path), job.state, job.reason, job.attempts) for job in jobs
              if job.state in ("failed", "set-aside")),
        sum(job.state in ("waiting", "running") for job in library.jobs.list()),
        tuple(library.seen_film.notes(since)), tuple(_look_at(rep) for rep in first), cutups)


def _look_at(rep: QueuedRep) -> LookAt:
    return LookAt(rep.name, rep.reasons, rep.call, rep.family, rep.family_confidence)


def write_summary(library: Library, hours: float, cutups: tuple[str, ...] = ()) -> Summary:
    """Write `summary.html` and `summary.json` into the library's folder, each whole or not at all."""
    found = summarise(library, hours, cutups)
    write_text(library.folder / DATA, json.dumps(summary_to_json(found), indent=1, ensure_ascii=False))
    write_text(library.folder / PAGE, render(found))
    return found


def summary_to_json(summary: Summary) -> dict[str, Any]:
    """Plain JSON values."""
    value: dict[str, Any] = json.loads(json.dumps(asdict(summary)))
    return value


def render(summary: Summary) -> str:
    """The summary as one HTML document that needs nothing else."""
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    source = files("tagger.batch").joinpath("templates/summary.html").read_text(encoding="utf-8")
    return environment.from_string(source).render(summary=summary, names=[Path(name).name for name in summary.cutups])
