"""What the page's scripts ask for: reps, their moving things, film, and changes."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path as FilmPath
from typing import Annotated, Any, Literal

import anyio.to_thread
from fastapi import APIRouter, Path, Request
from starlette.responses import JSONResponse, Response

from tagger.football.types import Interval
from tagger.library.effective import standing
from tagger.library.faults import StaleEdit
from tagger.library.queue_order import progress_of
from tagger.library.reading_json import family_of, reading_to_json, situation_to_json
from tagger.library.records import Correction, StoredRep
from tagger.library.store import Library
from tagger.review.clicked_film import arrays_of, check_anchors
from tagger.review.edits import Edits, Reread, Undo
from tagger.review.film import FilmServer
from tagger.review.lot import drawn_reps
from tagger.review.registration_fix import anchors_from
from tagger.review.rep_data import log_data, moving_data, rep_data, sides_of, version_of
from tagger.review.reread import is_stale, read_anew
from tagger.review.safety import refused
from tagger.review.track_fixes import track_of

router = APIRouter()
Number = Annotated[int, Path(ge=1, lt=2**53)]


def _library(request: Request) -> Library:
    library: Library = request.app.state.shelf.library
    return library


@router.get("/api/queue")
def queue(request: Request, part: Literal["worth", "lot"] = "worth") -> dict[str, Any]:
    """Ids of all reps in the order in which to look at them (or of those drawn by lot), and how far the pass has come."""
    reps = request.app.state.shelf.queue.ordered(_library(request))
    reps = drawn_reps(reps) if part == "lot" else reps
    progress = progress_of(reps)
    return {
        "order": [rep.rep_id for rep in reps],
        "done": progress.done,
        "total": progress.total,
        "value_done_share": round(progress.value_done_share, 4),
    }


@router.get("/api/reps/{rep_id}")
def rep(request: Request, rep_id: Number) -> JSONResponse:
    """One rep as it stands, without its tracks."""
    return _whole(_library(request), rep_id)


@router.get("/api/reps/{rep_id}/moving/{clip_id}")
def moving(request: Request, rep_id: Number, clip_id: Number) -> JSONResponse:
    """A view's people, camera and zones over its frames, the coach's swaps and clicks applied."""
    library = _library(request)
    stored = library.rep(rep_id)
    clip = next((clip for clip in stored.clips if clip.clip_id == clip_id), None)
    if clip is None:
        return refused(404, f"clip {clip_id}: not a view of this rep")
    return JSONResponse(moving_data(stored, clip, {one.clip_id: arrays_of(library, stored, one) for one in stored.clips}))


@router.get("/film/{clip_id}")
async def film(request: Request, clip_id: Number) -> Response:
    """A clip's bytes, or those of its review copy where a browser cannot show the film itself; answers one Range."""
    found = await anyio.to_thread.run_sync(_film_of, request, clip_id)
    if found is None:
        return refused(404, f"clip {clip_id}: not in this library")
    server: FilmServer = request.app.state.film
    return await server.answer(FilmPath(found[0]), request.headers.get("range"), found[1])


def _film_of(request: Request, clip_id: int) -> tuple[str, str] | None:
    _, rows = _library(request).sql("SELECT path, fingerprint FROM clips WHERE clip_id = ?", (clip_id,))
    if not rows:
        return None
    path, mark = str(rows[0][0]), str(rows[0][1])
    return str(request.app.state.copies.shown(FilmPath(path), mark)), mark


@router.post("/api/reps/{rep_id}/corrections")
def correct(request: Request, rep_id: Number, edits: Edits) -> JSONResponse:
    """Log a coach's fixes, all or none. 409 with both versions if somebody else was faster."""
    library = _library(request)
    stored = library.rep(rep_id)
    for edit in edits.edits:
        if edit.field == "anchors":
            check_anchors(library, stored, edit.subject, edit.after)
    said = [
        Correction(edits.who, e.subject, e.field, e.after, edits.reason, before_of(stored, e.subject, e.field, e.after))
        for e in edits.edits
    ]
    try:
        library.correct_all(rep_id, said, seen=edits.version)
    except StaleEdit:
        return _stale_edit(library, rep_id, edits.version, edits.model_dump()["edits"])
    return _whole(library, rep_id)


@router.post("/api/reps/{rep_id}/undo")
def undo(request: Request, rep_id: Number, asked: Undo) -> JSONResponse:
    """Take a correction back, or bring a taken-back one again."""
    library = _library(request)
    try:
        library.undo(rep_id, asked.correction_id, asked.who, seen=asked.version)
    except StaleEdit:
        return _stale_edit(library, rep_id, asked.version, [{"undo": asked.correction_id}])
    return _whole(library, rep_id)


@router.post("/api/reps/{rep_id}/reread")
def read_again(request: Request, rep_id: Number, asked: Reread) -> JSONResponse:
    """Infer the rep's tags anew from its kept tracks, on the coach's word as it stands at `version`."""
    library = _library(request)
    with request.app.state.shelf.rereading:  # one at a time: it is the only thing here that takes a processor for long
        stored = library.rep(rep_id)
        if version_of(stored) == asked.version and is_stale(stored):
            reading, laid = read_anew(library, stored)
            with suppress(StaleEdit):  # a newer word will be read in its turn
                library.save_reread(rep_id, reading, asked.version, laid)
    return _whole(library, rep_id)


@router.get("/api/corrections")
def corrections(request: Request) -> JSONResponse:
    """The whole log, oldest first, with the reps' names."""
    columns, rows = _library(request).sql("SELECT * FROM corrections ORDER BY correction_id")
    listed = [dict(zip(columns, row, strict=True)) for row in rows]
    for row in listed:
        row["before"], row["after"] = (None if row[k] is None else json.loads(row[k]) for k in ("before", "after"))
    return JSONResponse(listed, headers={"content-disposition": 'attachment; filename="corrections.json"'})


def before_of(rep: StoredRep, subject: str, field: str, after: Any) -> Any:
    """What stood there before a fix: for the log, and for whoever reads it later."""
    if subject == "rep":
        data = reading_to_json(rep.reading) | situation_to_json(rep.situation) | {"review_state": rep.summary.review_state}
        data["family"] = family_of(rep.reading)[0]
        return (data.get("formation") or {}).get(field, data.get(field))
    if subject.startswith("defender:"):
        player = subject.removeprefix("defender:")
        if field == "number":
            return rep.numbers.get(player)
        defender = next((d for d in rep.reading.defenders if d.player_id == player), None)
        if defender is None:
            return None
        if field == "slot":
            return defender.slot
        return [asdict(i) for i in defender.intervals if _meets(i, after)]
    if subject.startswith("player:"):
        player, main = subject.removeprefix("player:"), rep.main_clip
        track = track_of(main, player)
        return rep.numbers.get(player) if field == "number" else None if track is None else sides_of(rep, main).get(track)
    if field == "anchors":
        return list(anchors_from(standing(rep.corrections), subject.removeprefix("clip:"))) or None
    return None


def _meets(interval: Interval, after: Any) -> bool:
    try:
        return interval.start_s < float(after["end_s"]) and interval.end_s > float(after["start_s"])
    except (TypeError, KeyError, ValueError):
        return False


def _whole(library: Library, rep_id: int) -> JSONResponse:
    stored = library.rep(rep_id)
    return JSONResponse(rep_data(stored, is_stale(stored), library.roster()))


def _stale_edit(library: Library, rep_id: int, seen_version: int, yours: Any) -> JSONResponse:
    """The refusal that shows both sides: what you wanted, and what has been said since you looked."""
    stored = library.rep(rep_id)
    theirs = [row for row in log_data(stored.corrections) if row["correction_id"] > seen_version]
    who = ", ".join(sorted({row["who"] for row in theirs})) or "another program"
    return JSONResponse(
        {
            "error": f"{who} changed this rep while you were at it; nothing of yours was saved",
            "yours": yours,
            "theirs": theirs,
            "rep": rep_data(stored, stale=False, roster=library.roster()),
        },
        status_code=409,
    )
