"""The door of the review page: who may ask, from where, and how much. One ASGI layer before every route.

A page on another site can make a coach's browser send requests here; the checks of Host (against DNS rebinding), Origin and
Fetch Metadata (W3C), and a token that only our own pages hold, refuse them. Sources: OWASP Cross-Site Request Forgery
Prevention Cheat Sheet; Content Security Policy Level 3 (W3C); RFC 9110.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MAX_BODY_BYTES = 64 * 1024
"""A correction takes some hundred bytes; the largest, twenty clicked points, about two thousand."""
MAX_URL_BYTES = 4096
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
METHODS = frozenset({"GET", "HEAD", "POST"})
COOKIE = "deepthird_review"
GUESSES_PER_MINUTE = 20
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "media-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
        "require-trusted-types-for 'script'",
    )
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True)
class Door:
    """What the layer lets in. `hosts` are the exact Host values, lower case, with port; `page_token` stands in every page and
    comes back with every change; `share_token` is asked of everybody if the page is shared, None on loopback."""

    hosts: frozenset[str]
    share_token: str | None = None
    page_token: str = field(default_factory=lambda: secrets.token_urlsafe(24))


@dataclass(frozen=True)
class Wider:
    """The part of the server at and below `path` that takes other methods and larger bodies; every other rule holds there too."""

    path: str
    methods: frozenset[str]
    max_body_bytes: int

    def holds(self, path: str) -> bool:
        """True if `path` belongs to this part."""
        return path == self.path or path.startswith(self.path + "/")


PAGES = Wider("", METHODS, MAX_BODY_BYTES)
TOO_LARGE = f"the request is larger than {MAX_BODY_BYTES} bytes"


class SafetyLayer:
    """ASGI middleware that refuses what is not meant for this server, and sets the protective headers on every answer."""

    def __init__(self, app: ASGIApp, door: Door, clock: Callable[[], float] = time.monotonic, wider: Wider = PAGES) -> None:
        self.app, self.door, self._clock, self._wider = app, door, clock, wider
        self._wrong_at: list[float] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        armed = _with_headers(send)
        refusal = self._refuse(scope) or self._ask_token(scope)
        if refusal is not None:
            await refusal(scope, receive, armed)
            return
        await self.app(scope, _limited(receive, self._part(scope).max_body_bytes), armed)

    def _part(self, scope: Scope) -> Wider:
        return self._wider if self._wider.holds(scope["path"]) else PAGES

    def _refuse(self, scope: Scope) -> Response | None:
        headers, method, part = Headers(scope=scope), scope["method"], self._part(scope)
        if headers.get("host", "").lower() not in self.door.hosts:
            return refused(421, "this server does not answer to that name; open the address that `deepthird review` printed")
        if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > MAX_URL_BYTES:
            return refused(414, "the address is too long")
        if method not in part.methods:
            return refused(405, f"{method} is not used here")
        if not 0 <= length_of(headers.get("content-length")) <= part.max_body_bytes:
            return refused(413, TOO_LARGE)
        navigation = headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest", "document") == "document"
        if headers.get("sec-fetch-site") in ("cross-site", "same-site") and not (navigation and method in SAFE_METHODS):
            return refused(403, "another site asked for this; refused")
        if method in SAFE_METHODS:
            return None
        if not self._own_origin(headers.get("origin")):
            return refused(403, "the request comes from another origin; refused")
        if scope["path"] != "/enter" and not _equal(headers.get("x-page-token", ""), self.door.page_token):
            return refused(403, "this page is older than the server; reload it")
        return None

    def _own_origin(self, origin: str | None) -> bool:
        """A change must name its origin: every browser does on POST. Programs send the page token and may leave it out."""
        return origin is None or (origin.lower().startswith("http://") and origin.lower()[len("http://") :] in self.door.hosts)

    def _ask_token(self, scope: Scope) -> Response | None:
        """None if the share token (in the cookie) is right or none is asked; else the way in."""
        if self.door.share_token is None:
            return None
        headers = Headers(scope=scope)
        if _equal(_cookie(headers.get("cookie", "")), self.door.share_token):
            return None
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["method"] == "GET" and given:
            return self._enter(given)
        return refused(401, "this review page is shared with a token; open the whole address that the sharing coach was shown")

    def _enter(self, given: str) -> Response:
        now = self._clock()
        self._wrong_at = [at for at in self._wrong_at if now - at < 60.0]
        if len(self._wrong_at) >= GUESSES_PER_MINUTE:
            return refused(429, "too many wrong tokens; wait a minute")
        if not _equal(given, self.door.share_token or ""):
            self._wrong_at.append(now)
            return refused(401, "that token is wrong; ask the coach who shares the page for the whole address")
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(COOKIE, given, httponly=True, samesite="strict", max_age=12 * 3600)
        return answer


def refused(status: int, line: str) -> JSONResponse:
    """An answer that says in one line why not."""
    return JSONResponse({"error": line}, status_code=status)


def length_of(text: str | None) -> int:
    """A Content-Length; 0 where none is given, -1 (never allowed) where it is no whole number."""
    if text is None:
        return 0
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else -1


def _equal(a: str, b: str) -> bool:
    return hmac.compare_digest(a.encode(), b.encode())


def _cookie(header: str) -> str:
    try:
        found = SimpleCookie(header).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


def _limited(receive: Receive, most_bytes: int) -> Receive:
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most_bytes:
            raise HTTPException(413, TOO_LARGE)
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def armed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return armed
