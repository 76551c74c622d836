"""The pages: the queue, one rep, the truth report, the guide. Templates hold no logic beyond loops and choices."""

from __future__ import annotations

import mimetypes
from functools import lru_cache
from importlib.resources import files
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response

from tagger.library.queue_order import progress_of
from tagger.library.store import Library
from tagger.review import guide_words, words
from tagger.review.field_pictures import field_picture, hatch_patterns
from tagger.review.lot import drawn, drawn_reps
from tagger.review.truth_report import truth_report

router = APIRouter(default_response_class=HTMLResponse)
PER_PAGE = 100
Part = Literal["worth", "lot"]
MEDIA_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


@lru_cache(maxsize=1)
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("tagger.review"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )


@lru_cache(maxsize=1)
def _static() -> dict[str, bytes]:
    """Every static file by name, read once: a name that a client sends never becomes a path."""
    return {entry.name: entry.read_bytes() for entry in files("tagger.review").joinpath("static").iterdir() if entry.is_file()}


def page(request: Request, template: str, status_code: int = 200, **values: Any) -> HTMLResponse:
    """A page from a template, with the token that its scripts send back."""
    door = request.app.state.door
    html = _templates().get_template(template).render(page_token=door.page_token, shared=door.share_token is not None, **values)
    return HTMLResponse(html, status_code)


def error_page(request: Request, status: int, line: str) -> HTMLResponse:
    """The page that says in one line what went wrong."""
    return page(request, "error.html", status, line=line, status=status, here="")


@router.get("/static/{name}")
def static(name: str) -> Response:
    """A style sheet, script or picture of the page itself."""
    content = _static().get(name)
    if content is None:
        raise HTTPException(404)
    suffix = "." + name.rpartition(".")[2]
    return Response(
        content, media_type=MEDIA_TYPES.get(suffix) or mimetypes.guess_type(name)[0], headers={"cache-control": "no-cache"}
    )


@router.get("/")
def queue_page(
    request: Request,
    search: Annotated[str, Query(max_length=300)] = "",
    start: Annotated[int, Query(ge=0, lt=10**7)] = 0,
    part: Part = "worth",
) -> Response:
    """The queue, the most valuable look first, or its reps drawn by lot; `search` narrows it as in `deepthird reps`."""
    library: Library = request.app.state.shelf.library
    queue, fault = request.app.state.shelf.queue.ordered(library), ""
    progress, lot = progress_of(queue), drawn_reps(queue)
    queue = lot if part == "lot" else queue
    if search.strip():
        try:
            wanted = {rep.rep_id for rep in library.search(search)}
            queue = [rep for rep in queue if rep.rep_id in wanted]
        except ValueError as error:
            fault = str(error)
    return page(
        request,
        "queue.html",
        reps=queue[start : start + PER_PAGE],
        progress=progress,
        found=len(queue),
        start=start,
        per_page=PER_PAGE,
        search=search,
        part=part,
        lot=progress_of(lot),
        fault=fault,
        names=words.FAMILY_NAMES,
        here="queue",
    )


@router.get("/rep/{rep_id}")
def rep_page(request: Request, rep_id: Annotated[int, Path(ge=1, lt=2**53)]) -> Response:
    """One rep; its scripts fetch the rest."""
    rep = request.app.state.shelf.library.rep(rep_id)
    return page(request, "rep.html", rep_id=rep_id, name=rep.summary.name, words=words.page_words(), here="rep")


@router.get("/truth")
def truth_page(request: Request) -> Response:
    """How right the machine was on this film."""
    library: Library = request.app.state.shelf.library
    _, rows = library.sql("SELECT rep_id FROM reps WHERE review_state != 'new' ORDER BY rep")
    lot = drawn(str(row[0]) for row in library.sql("SELECT rep FROM reps WHERE review_state != 'not-a-rep'")[1])
    report = truth_report((library.rep(int(row[0])) for row in rows), frozenset(lot))
    return page(request, "truth.html", report=report, names=words.FAMILY_NAMES, here="truth")


@router.get("/guide")
def guide_page(request: Request) -> Response:
    """The words, with pictures, and what to take care of."""
    return page(
        request,
        "guide.html",
        parts=guide_words.PARTS,
        picture=field_picture,
        patterns=hatch_patterns(),
        here="guide",
    )
