"""Runs the review server: on this machine alone, or, with a token, for a staff's network."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from tagger.review.app import create_app
from tagger.review.safety import Door
from tagger.review.upload_store import UploadLimits

LOOPBACK = "127.0.0.1"
MAX_CONNECTIONS = 400
"""Beyond this the server answers "busy" at once, instead of dying of open files."""


@dataclass(frozen=True)
class Listening:
    """Where the page can be opened, and what a person must know before others can."""

    address: str
    warning: str


def share_warning(folder: Path) -> str:
    """What sharing exposes, in plain words."""
    return (
        f"Sharing {folder}: everybody on this network who has the address below sees all film, tags, names and corrections "
        "of this library and can change tags. The connection is not encrypted, so use it only on a network of your own. "
        "The address works until this command is stopped (Ctrl-C); each start makes a new one."
    )


def serve(folder: Path, port: int, share: str | None = None, ready: Callable[[Listening], None] | None = None,
          uploads: UploadLimits | None = None) -> None:
    """Serve until interrupted. `share`: the address of this machine on the staff's network, None for this machine alone.

    Raises LibraryError without a library, ValueError with one line where the port or the address cannot be had.
    """
    bound = _bind(share or LOOPBACK, port)
    port = bound.getsockname()[1]
    names = {share} if share else {LOOPBACK, "localhost"}
    token = secrets.token_urlsafe(24) if share else None
    door = Door(frozenset(f"{name}:{port}".lower() for name in names), token)
    try:
        app = create_app(folder, door, uploads)
        address = f"http://{share or LOOPBACK}:{port}/" + (f"?token={token}" if token else "")
        if ready is not None:
            ready(Listening(address, share_warning(folder) if share else ""))
        config = uvicorn.Config(
            app,
            log_level="warning",
            server_header=False,
            limit_concurrency=MAX_CONNECTIONS,
            timeout_keep_alive=20,
            h11_max_incomplete_event_size=16 * 1024,
            ws="none",
            proxy_headers=False,
        )
        uvicorn.Server(config).run(sockets=[bound])
    finally:
        bound.close()


def _bind(host: str, port: int) -> socket.socket:
    bound = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except (OSError, OverflowError) as error:
        bound.close()
        raise ValueError(
            f"{host} port {port}: cannot be used ({error}); is another review running? Choose with --port"
        ) from error
    bound.listen(256)
    return bound
