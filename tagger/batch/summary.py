"""The morning summary: what was tagged, what was not and why, what to look at first. A page and a JSON file in the library."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, StrictUndefined

from tagger.cutups.whole_file import write_text
from tagger.football.vocabulary import FAMILIES, UNKNOWN
from tagger.library import Library
from tagger.library.queue_order import QueuedRep, review_queue

PAGE, DATA = "summary.html", "summary.json"
FORMAT = "deepthird-summary/1"
LOOK_FIRST = 20
UNGRADED = {"run": "run", "screen": "screen", "quick": "quick throw"}


@dataclass(frozen=True)
class NotTagged:
    """A clip that has no tags, and why. `state` as in the queue."""

    path: str
    state: str
    reason: str
    attempts: int


@dataclass(frozen=True)
class LookAt:
    """A rep that is worth a look, with what speaks for it. `kind` of play, if that was read."""

    rep: str
    reasons: tuple[str, ...]
    call: str | None
    family: str
    confidence: float
    kind: str | None


@dataclass(frozen=True)
class Summary:
    """The work of `since` to `made_at` (ISO 8601, UTC); `made_at_local` is the second for people. `look_first` is in the order
    of the review queue; `played` counts the tagged reps by what was played, in words; `unread` are those of which nothing could
    be read; `cutups` are the files written from saved searches."""

    made_at: str
    made_at_local: str
    since: str
    clips_tagged: int
    tagged: tuple[str, ...]
    not_tagged: tuple[NotTagged, ...]
    waiting: int
    left_out: tuple[str, ...]
    look_first: tuple[LookAt, ...]
    played: tuple[tuple[str, int], ...]
    unread: tuple[str, ...]
    cutups: tuple[str, ...] = ()
    format: str = field(default=FORMAT)


def summarise(library: Library, hours: float, cutups: tuple[str, ...] = ()) -> Summary:
    """What happened in the last hours."""
    now = datetime.now(UTC)
    since = (now - timedelta(hours=hours)).isoformat()
    jobs = library.jobs.changed_since(since)
    done = [job for job in jobs if job.state == "done"]
    rep_ids = dict.fromkeys(rep_id for job in done if (rep_id := library.rep_of(job.fingerprint)) is not None)
    rows = [row[1:] for row in library.sql("SELECT rep_id, rep, family, play_kind, snap_s FROM reps ORDER BY rep")[1]
            if row[0] in rep_ids]
    played = Counter(played_words(family, kind) for _, family, kind, snap_s in rows if snap_s is not None)
    first = [rep for rep in review_queue(library) if rep.rep_id in rep_ids and not rep.done][:LOOK_FIRST]
    return Summary(
        now.isoformat(timespec="seconds"), now.astimezone().strftime("%A %d %B %Y, %H:%M"), since, len(done),
        tuple(rep for rep, *_ in rows),
        tuple(NotTagged(str(job.path), job.state, job.reason, job.attempts) for job in jobs
              if job.state in ("failed", "set-aside")),
        sum(job.state in ("waiting", "running") for job in library.jobs.list()),
        tuple(library.seen_film.notes(since)), tuple(_look_at(rep) for rep in first), tuple(played.most_common()),
        tuple(rep for rep, _, _, snap_s in rows if snap_s is None), cutups)


def _look_at(rep: QueuedRep) -> LookAt:
    return LookAt(rep.name, rep.reasons, rep.call, rep.family, rep.family_confidence, rep.play_kind)


def family_words(text: str) -> str:
    """The coverages in a text as people write them: "Cover 3" for "cover-3"."""
    for family in sorted(FAMILIES, key=len, reverse=True):
        text = text.replace(family, family.replace("-", " ").capitalize())
    return text


def played_words(family: str, kind: str | None) -> str:
    """What was played, in words; runs, screens and quick throws have no coverage."""
    if family != UNKNOWN:
        return family_words(family)
    return UNGRADED.get(kind or "", "coverage not told")


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
    environment.filters |= {"words": family_words, "name": lambda path: Path(path).name,
                            "folder": lambda path: str(Path(path).parent)}
    environment.globals |= {"played_words": played_words, "UNKNOWN": UNKNOWN}
    source = files("tagger.batch").joinpath("templates/summary.html").read_text(encoding="utf-8")
    left_out = [line.partition(": ")[::2] for line in summary.left_out]
    return environment.from_string(source).render(summary=summary, left_out=left_out)
