"""The page on which film is brought in and the night's work is watched."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from tagger.library.jobs import FAILED, SET_ASIDE
from tagger.library.landing import SCRIPT, SUFFIXES
from tagger.library.store import Library
from tagger.review import pages
from tagger.review.night_plan import night_plan
from tagger.review.upload_store import LANDED, Upload, UploadStore, progress_of

router = APIRouter()


class Again(BaseModel):
    """Let a clip that failed or was set aside be tried anew."""

    model_config = ConfigDict(extra="forbid")

    job_id: Annotated[int, Field(ge=1, lt=2**53)]


@router.get("/night")
def page(request: Request) -> Response:
    """The page; its scripts fetch the rest."""
    store: UploadStore = request.app.state.uploads
    return pages.page(request, "night.html", here="night", endings=",".join(sorted(SUFFIXES)), script=SCRIPT,
                      landing=str(store.landing), library=str(request.app.state.shelf.folder))


@router.get("/api/night")
def state(request: Request) -> dict[str, Any]:
    """The night's plan and its state, and the uploads: on their way, refused, or whole and not yet in the queue."""
    library: Library = request.app.state.shelf.library
    store: UploadStore = request.app.state.uploads
    uploads = [progress_of(store, upload) for upload in store.all() if not _is_queued(library, upload)]
    return {**asdict(night_plan(library)), "uploads": uploads, "used_bytes": store.used_bytes(),
            "quota_bytes": store.limits.quota_bytes}


@router.post("/api/night/again")
def again(request: Request, wanted: Again) -> dict[str, Any]:
    """Queue a clip anew."""
    library: Library = request.app.state.shelf.library
    job = next((job for state in (FAILED, SET_ASIDE) for job in library.jobs.list(state) if job.job_id == wanted.job_id), None)
    if job is None:
        raise ValueError("this clip is neither failed nor set aside; reload the page")
    library.jobs.retry(job.job_id)
    return {"job_id": job.job_id}


def _is_queued(library: Library, upload: Upload) -> bool:
    """Landed, and a job since: the plan shows it."""
    if upload.state != LANDED or not upload.fingerprint:
        return False
    return bool(library.jobs.of_film(upload.fingerprint)) or library.has_film(upload.fingerprint)
