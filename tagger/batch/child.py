"""The process in which one piece of work is done: `python -m tagger.batch.child`. It may crash, hang or eat memory; only its own
work is lost.

Its first line of stdin says what to do (see `process.run_call`). It speaks on stdout: JSON lines `{"share", "word"}`, then
`{"result": bytes}` followed by them, or `{"error", "line"}`. When stdin ends, its parent is dead, and it dies too.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
import threading
import traceback
from typing import Any, BinaryIO

REFUSED, FAULT, MEMORY, STORAGE = "refused", "fault", "memory", "storage"
ORPHANED = 3
TELL_EVERY = 0.005


def main() -> None:
    """Do what stdin asks for."""
    voice = _own_voice()
    asked = json.loads(sys.stdin.buffer.readline())
    threading.Thread(target=_die_with_parent, daemon=True).start()
    _limit(asked["memory_bytes"])
    path = asked["arguments"].get("path", "")
    try:
        _settle_threads()
        module, _, name = asked["function"].partition(":")
        result = getattr(importlib.import_module(module), name)(asked["arguments"], _Teller(voice))
        _say(voice, {"result": len(result)}, result)
    except MemoryError:
        _say(voice, {"error": MEMORY, "line": ""})
    except (ValueError, FileNotFoundError) as error:
        line = " ".join(str(error).split())
        # A line that does not speak of the film is not the film's fault: weights or definitions, which may be whole next time.
        _say(voice, {"error": REFUSED, "line": line} if path in line else {"error": FAULT, "line": f"{path}: {line}"})
    except OSError as error:
        _say(voice, {"error": STORAGE, "line": f"{error.filename or path}: {(error.strerror or str(error)).lower()}"})
    except BaseException as error:
        _say(voice, {"error": _kind(error), "line": fault_line(path, error)})


def _own_voice() -> BinaryIO:
    """Stdout for our messages alone: whatever a library prints goes to stderr."""
    voice = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return voice


def _say(voice: BinaryIO, message: dict[str, Any], data: bytes = b"") -> None:
    voice.write(json.dumps(message).encode() + b"\n" + data)
    voice.flush()


class _Teller:
    """Hands progress on, not every frame's."""

    def __init__(self, voice: BinaryIO) -> None:
        self._voice, self._last = voice, (-1.0, "")

    def __call__(self, share: float, word: str) -> None:
        if share - self._last[0] >= TELL_EVERY or word != self._last[1]:
            self._last = share, word
            _say(self._voice, {"share": share, "word": word})


def _die_with_parent() -> None:
    while sys.stdin.buffer.read(4096):
        pass
    os._exit(ORPHANED)


def _limit(memory_bytes: int | None) -> None:
    try:
        import resource
    except ImportError:  # Windows: the parent's watch over the memory is all there is
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if memory_bytes is not None:
        resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))


def _settle_threads() -> None:
    import cv2

    cv2.setNumThreads(1)


def _kind(error: BaseException) -> str:
    """What libraries say when the system refuses them memory."""
    text = f"{type(error).__name__} {error}".lower()
    signs = ("bad_alloc", "memoryerror", "insufficient memory", "cannot allocate")
    return MEMORY if any(sign in text for sign in signs) else FAULT


def fault_line(path: str, error: BaseException) -> str:
    """One line for an error that should not have happened, with where it did."""
    frame = traceback.extract_tb(error.__traceback__)[-1]
    what = " ".join(f"{type(error).__name__}: {error}".split())
    return f"{path}: the tagger stumbled over this clip ({what}, {frame.filename}:{frame.lineno}); please report that line"


if __name__ == "__main__":
    main()
