"""The review server: one library, its pages, its film, and the changes that coaches make."""

from __future__ import annotations

import threading
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from tagger.cutups.review_copy import ReviewCopies
from tagger.library.faults import LibraryError
from tagger.library.queue_order import ReviewQueue
from tagger.library.store import Library
from tagger.review import api, night_page, pages, upload_protocol
from tagger.review.catching_up import catch_up
from tagger.review.film import FilmServer
from tagger.review.safety import Door, SafetyLayer, refused
from tagger.review.upload_check import check_film
from tagger.review.upload_store import UploadLimits, UploadStore, known_film


class Shelf:
    """The library, opened once in each worker thread."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.rereading = threading.Lock()
        self.queue = ReviewQueue()
        self._local = threading.local()

    @property
    def library(self) -> Library:
        opened: Library | None = getattr(self._local, "library", None)
        if opened is None:
            opened = self._local.library = Library.open(self.folder)
        return opened


def create_app(folder: Path, door: Door, uploads: UploadLimits | None = None) -> FastAPI:
    """The application over the library in `folder`. Raises LibraryError if there is none that can be opened."""
    app = FastAPI(title="deepthird review", docs_url=None, redoc_url=None, openapi_url="/api/openapi.json")
    app.state.shelf, app.state.film, app.state.door = Shelf(folder), FilmServer(), door
    app.state.copies = ReviewCopies(folder)
    catch_up(folder, app.state.copies, app.state.shelf.rereading)
    app.include_router(pages.router)
    app.include_router(api.router)
    _take_film(app, folder, uploads or UploadLimits())
    app.add_exception_handler(LibraryError, _not_there)
    app.add_exception_handler(ValueError, _not_possible)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(HTTPException, _http)
    app.add_middleware(SafetyLayer, door=door, wider=upload_protocol.WIDER)
    return app


def _take_film(app: FastAPI, folder: Path, limits: UploadLimits) -> None:
    """The page of the night, and film from browsers."""
    shelf: Shelf = app.state.shelf
    app.state.uploads = UploadStore(folder, limits, check_film, lambda mark: known_film(shelf.library, mark))
    threading.Thread(target=app.state.uploads.sweep, daemon=True).start()
    app.include_router(upload_protocol.router)
    app.include_router(night_page.router)


def _answer(request: Request, status: int, line: str) -> Response:
    """A page for a person, JSON for a script."""
    if request.url.path.startswith("/api/") or request.method == "POST":
        return refused(status, line)
    return pages.error_page(request, status, line)


def _not_there(request: Request, error: Exception) -> Response:
    status = 404 if "not in this library" in str(error) or "no tracks are kept" in str(error) else 422
    return _answer(request, status, str(error))


def _not_possible(request: Request, error: Exception) -> Response:
    return _answer(request, 422, str(error))


def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"] if part != "body")
    return _answer(request, 422, f"{where}: {first['msg']}")


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    line = "there is no such page" if error.status_code == 404 else str(error.detail)
    return _answer(request, error.status_code, line)
