"""Uploading by the tus resumable upload protocol 1.0.0 (https://tus.io/protocols/resumable-upload, an open protocol): its core
and the extensions creation, checksum, expiration and termination.

A browser that lost its line asks by HEAD how much has come, and goes on from there by PATCH. Two departures, both toward
safety: `X-HTTP-Method-Override` is obeyed on POST only, and a newer request for a file ends an older one instead of being
locked out (a broken line can seem open for minutes). The server's own rules (host, origin, page token) hold besides.
"""

from __future__ import annotations

import asyncio
import base64
import binascii
import hashlib
import hmac
from collections.abc import Callable
from datetime import date
from email.utils import formatdate
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect
from starlette.responses import Response

from tagger.review.safety import Wider, length_of, refused
from tagger.review.upload_names import NotTaken, clean_name
from tagger.review.upload_store import OPEN, REFUSED, Superseded, Upload, UploadStore, Writing

VERSION = "1.0.0"
EXTENSIONS = "creation,checksum,expiration,termination"
DIGESTS: dict[str, Callable[[], Any]] = {"sha1": hashlib.sha1, "sha256": hashlib.sha256, "md5": hashlib.md5}
"""sha1 is the one that every server must have."""
BODY = "application/offset+octet-stream"
HOME = "/uploads"
WIDER = Wider(HOME, frozenset({"HEAD", "POST", "PATCH", "DELETE", "OPTIONS"}), 1 << 40)
"""What the door lets in here beyond the pages' own; how much really comes is bounded by each upload's length."""
WRITE_BYTES = 1 << 20
SILENT_S = 60.0
"""A line that brings nothing for so long is broken; what came is kept."""
router = APIRouter(prefix=HOME)
Id = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]


def _store(request: Request) -> UploadStore:
    store: UploadStore = request.app.state.uploads
    return store


def _answer(status: int, **headers: str) -> Response:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return Response(status_code=status, headers={"Tus-Resumable": VERSION, **named})


def _refuse(status: int, line: str) -> Response:
    answer = refused(status, line)
    answer.headers["Tus-Resumable"] = VERSION
    return answer


def _other_version(request: Request) -> Response | None:
    """Core protocol, Tus-Resumable: 412 where client and server speak different versions."""
    if request.headers.get("tus-resumable") == VERSION:
        return None
    answer = _refuse(412, f"this server speaks tus {VERSION}")
    answer.headers["Tus-Version"] = VERSION
    return answer


@router.options("")
@router.options("/{upload_id}")
def abilities(request: Request) -> Response:
    """What this server can (core protocol, OPTIONS)."""
    return _answer(204, Tus_Version=VERSION, Tus_Extension=EXTENSIONS, Tus_Max_Size=str(_store(request).limits.file_bytes),
                   Tus_Checksum_Algorithm=",".join(DIGESTS))


@router.post("")
async def create(request: Request) -> Response:
    """A new upload (extension creation)."""
    wrong = _other_version(request)
    if wrong is not None:
        return wrong
    length = _whole(request.headers.get("upload-length"))
    if length is None:
        return _refuse(400, "Upload-Length is missing or no whole number; this server wants it from the start")
    try:
        told = _metadata(request.headers.get("upload-metadata", ""))
        name = clean_name(told.get("relativePath") or told.get("filename", ""), date.today())
        upload = await run_in_threadpool(_store(request).begin, name, length)
    except NotTaken as error:
        return _refuse(413 if error.too_large else 422, str(error))
    except ValueError as error:
        return _refuse(400, f"Upload-Metadata is not understood ({error})")
    return _answer(201, Location=f"{HOME}/{upload.upload_id}", Upload_Expires=_expires(request, upload))


@router.head("/{upload_id}")
async def how_far(request: Request, upload_id: Id) -> Response:
    """How much has come (core protocol, HEAD). A file that is whole is first looked into, if that has not been done."""
    wrong = _other_version(request)
    if wrong is not None:
        return wrong
    store = _store(request)
    upload = await run_in_threadpool(store.find, upload_id)
    if upload is None:
        return _refuse(404, "no such upload")
    if upload.state == OPEN:
        store.stop(upload_id)
        upload = await run_in_threadpool(store.settle, upload)
    if upload.state == REFUSED:
        return _refuse(410, upload.note)
    return _answer(200, Upload_Offset=str(store.offset(upload)), Upload_Length=str(upload.length_bytes), Cache_Control="no-store",
                   **({"Upload_Expires": _expires(request, upload)} if upload.state == OPEN else {}))


@router.delete("/{upload_id}")
async def terminate(request: Request, upload_id: Id) -> Response:
    """Give an upload up (extension termination)."""
    wrong = _other_version(request)
    if wrong is not None:
        return wrong
    upload = await run_in_threadpool(_store(request).find, upload_id)
    if upload is None:
        return _refuse(404, "no such upload")
    await run_in_threadpool(_store(request).drop, upload)
    return _answer(204)


@router.post("/{upload_id}")
async def overridden(request: Request, upload_id: Id) -> Response:
    """For lines that let no PATCH or DELETE through (core protocol, X-HTTP-Method-Override)."""
    method = request.headers.get("x-http-method-override", "").upper()
    answer = {"PATCH": go_on, "DELETE": terminate, "HEAD": how_far}.get(method)
    if answer is None:
        return _refuse(405, "POST goes to /uploads; an upload itself takes HEAD, PATCH and DELETE")
    return await answer(request, upload_id)


@router.patch("/{upload_id}")
async def go_on(request: Request, upload_id: Id) -> Response:
    """More of a file (core protocol, PATCH; extension checksum). With the last byte it is looked into: it lands or is refused."""
    wrong = _other_version(request)
    if wrong is not None:
        return wrong
    if request.headers.get("content-type", "").split(";")[0].strip().lower() != BODY:
        return _refuse(415, f"wanted Content-Type: {BODY}")
    store = _store(request)
    upload = await run_in_threadpool(store.find, upload_id)
    if upload is None or upload.state == REFUSED:
        return _refuse(404 if upload is None else 410, "no such upload" if upload is None else upload.note)
    at, given = store.offset(upload), _whole(request.headers.get("upload-offset"))
    if given is None or given != at:
        answer = _refuse(400 if given is None else 409, f"{at} bytes have come; go on from there")
        answer.headers["Connection"] = "close"  # a browser that sends again by itself need not send gigabytes for nothing
        return answer
    coming = length_of(request.headers.get("content-length"))
    if at + coming > upload.length_bytes:
        return _refuse(413, f"more than the {upload.length_bytes} bytes that were told")
    try:
        digest = _digest(request.headers.get("upload-checksum"))
    except ValueError as error:
        return _refuse(400, str(error))
    if upload.state == OPEN and at < upload.length_bytes:
        failure = await _take(request, store, upload, at, digest)
        if failure is not None:
            return failure
    return await _after(request, upload_id)


async def _after(request: Request, upload_id: str) -> Response:
    """The answer once the body is written."""
    store = _store(request)
    upload = await run_in_threadpool(store.find, upload_id)
    if upload is None:
        return _refuse(404, "the upload was given up")
    upload = await run_in_threadpool(store.settle, upload)
    if upload.state == REFUSED:
        return _refuse(422, upload.note)
    answer = _answer(204, Upload_Offset=str(store.offset(upload)))
    if upload.state == OPEN:
        answer.headers["Upload-Expires"] = _expires(request, upload)
    return answer


async def _take(request: Request, store: UploadStore, upload: Upload, at: int,
                digest: tuple[Any, bytes] | None) -> Response | None:
    """Write the body as it comes; None if all is well. Whatever breaks, what came stays, unless a checksum was to prove it."""
    turn = await run_in_threadpool(store.turn, upload)
    whole = False
    try:
        room = upload.length_bytes - at
        async for piece in _pieces(request):
            room -= len(piece)
            if room < 0:
                return _refuse(413, f"more than the {upload.length_bytes} bytes that were told")
            if digest is not None:
                digest[0].update(piece)
            await run_in_threadpool(turn.write, piece)
        if digest is not None and not hmac.compare_digest(digest[0].digest(), digest[1]):
            return _refuse(460, "the checksum does not fit what came; send it again")
        whole = True
        return None
    except Superseded:
        return _refuse(423, "a newer request goes on with this file")
    except (ClientDisconnect, TimeoutError):
        return _refuse(408, "the line broke; what came is kept")
    except OSError as error:
        return _refuse(507, f"the library's disk takes no more ({(error.strerror or str(error)).lower()}); free some space")
    finally:
        _end(turn, at if digest is not None and not whole else None)


def _end(turn: Writing, cut_back_to: int | None) -> None:
    if cut_back_to is not None:
        turn.cut_back(cut_back_to)
    turn.end()


async def _pieces(request: Request) -> Any:
    """The body in pieces of about WRITE_BYTES; what is left when the line breaks comes too, before the break is told."""
    stream, held = request.stream().__aiter__(), bytearray()
    broken: Exception | None = None
    while broken is None:
        try:
            held += await asyncio.wait_for(anext(stream), SILENT_S)
        except (StopAsyncIteration, ClientDisconnect, TimeoutError) as end:
            broken = end
        if len(held) >= WRITE_BYTES or (broken is not None and held):
            yield bytes(held)
            held.clear()
    if not isinstance(broken, StopAsyncIteration):
        raise broken


def _whole(text: str | None) -> int | None:
    """A header's whole number, None where it is missing or none."""
    number = length_of(text)
    return None if text is None or number < 0 else number


def _metadata(text: str) -> dict[str, str]:
    """`key base64,key base64` (extension creation, Upload-Metadata). Raises ValueError."""
    found = {}
    for pair in filter(None, (pair.strip() for pair in text.split(","))):
        key, _, value = pair.partition(" ")
        try:
            found[key] = base64.b64decode(value, validate=True).decode()
        except (binascii.Error, UnicodeDecodeError) as error:
            raise ValueError(f"{key[:40]}: {error}") from None
    return found


def _digest(text: str | None) -> tuple[Any, bytes] | None:
    """(running digest, wanted) of `algorithm base64` (extension checksum, Upload-Checksum). Raises ValueError."""
    if text is None:
        return None
    name, _, value = text.strip().partition(" ")
    if name not in DIGESTS:
        raise ValueError(f"Upload-Checksum: {name[:40]} is not known here; use {', '.join(DIGESTS)}")
    try:
        return DIGESTS[name](), base64.b64decode(value, validate=True)
    except binascii.Error as error:
        raise ValueError(f"Upload-Checksum: {error}") from None


def _expires(request: Request, upload: Upload) -> str:
    return formatdate(_store(request).expires_s(upload), usegmt=True)
