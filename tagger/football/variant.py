"""The variant of a family in the trade's words (common practice, no source), from who plays which zone."""

from __future__ import annotations

from collections.abc import Sequence

from tagger.football.course import Job

PLAIN = {"cover-0": "pressure", "cover-2-man": "trail", "tampa-2": "runner", "cover-4": "quarters",
         "cover-6": "quarter-quarter-half"}
FIRE_ZONE_UNDER = 3


def name_variant(family: str, jobs: Sequence[Job]) -> str | None:
    """cover-3: fire-zone with three underneath, else by who has the curl-flat on the rotation side (safety: sky, corner: cloud)
    or whether a safety has a hook (buzz); cover-2: hard-flat, or inverted with a safety in the flat; cover-1: robber or rat
    (whether the free man underneath robs at depth or stays in the hole, if there is one). None of no family."""
    if family in PLAIN:
        return PLAIN[family]
    if family == "cover-3":
        return _cover_3(jobs)
    if family == "cover-2":
        return "inverted" if any(job.word == "flat" and _safety(job) for job in jobs) else "hard-flat"
    if family == "cover-1":
        return "robber" if any(job.word == "robber" for job in jobs) else "rat"
    return None


def _cover_3(jobs: Sequence[Job]) -> str:
    under = [job for job in jobs if job.zone and not job.deep]
    if len(under) <= FIRE_ZONE_UNDER and sum(job.word == "rush" for job in jobs) >= 5:
        return "fire-zone"
    if any(job.word == "curl-flat" and job.slot.startswith("corner") for job in under):
        return "cloud"
    return "buzz" if any(job.word in ("hook-curl", "middle-hook", "robber") and _safety(job) for job in under) else "sky"


def _safety(job: Job) -> bool:
    return job.slot.startswith("safety")
