"""Runs one piece of work in a process of its own, under limits, and tells why it failed."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import IO, Any

import psutil

from tagger.batch.child import MEMORY, REFUSED
from tagger.batch.limits import ADDRESS_SPACE_HEADROOM_BYTES, Limits

LOOK_EVERY_S = 0.25
STARVED = 0.2
"""Of the processor's time; a process that gets less while it is ready to run is not hung."""
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""BLAS sums in another order on more threads, and the same film must give the same tags on every machine; the detector, which
does most of the work, gives the same on any number."""

Tell = Callable[[float, str], None]
Work = Callable[[Mapping[str, Any], Tell], bytes]


@dataclass(frozen=True)
class Call:
    """A function of a module, `(arguments, tell) -> bytes`, to be called in a process of its own; `arguments` are JSON values.
    `arguments["path"]` is the film that messages speak of."""

    function: str
    arguments: Mapping[str, Any]


def call_of(function: Work, arguments: Mapping[str, Any]) -> Call:
    """A call of a function that the other process can import by its name."""
    return Call(f"{function.__module__}:{function.__qualname__}", arguments)


class WorkFailed(Exception):
    """Work that did not end well: one line for a person, and whether another try may end better."""

    def __init__(self, line: str, again: bool) -> None:
        super().__init__(line, again)
        self.line, self.again = line, again


class Stopped(Exception):
    """The work was given up because the program stops."""


def run_call(call: Call, limits: Limits, tell: Tell | None = None, stop: threading.Event | None = None) -> bytes:
    """The result of the work. Raises WorkFailed, or Stopped once `stop` is set."""
    path = str(call.arguments.get("path", call.function))
    with tempfile.TemporaryFile() as last_words:
        child = _start(call, limits, last_words)
        try:
            return _watch(child, limits, path, tell, stop or threading.Event(), last_words)
        finally:
            _end(child)


def _start(call: Call, limits: Limits, last_words: IO[bytes]) -> subprocess.Popen[bytes]:
    child = subprocess.Popen(
        [sys.executable, "-m", "tagger.batch.child"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=last_words,
        env={**os.environ, **dict.fromkeys(ONE_THREAD, "1")}, start_new_session=True)  # Ctrl-C is the parent's to answer
    hard = limits.hard and sys.platform == "linux"
    asked = {"function": call.function, "arguments": dict(call.arguments),
             "memory_bytes": limits.memory_bytes + ADDRESS_SPACE_HEADROOM_BYTES if hard else None}
    assert child.stdin is not None
    try:
        child.stdin.write(json.dumps(asked).encode() + b"\n")
        child.stdin.flush()  # and stays open: its end tells the child that we are dead
    except BrokenPipeError:
        pass  # it died at once; the watch will tell how
    return child


def _watch(child: subprocess.Popen[bytes], limits: Limits, path: str, tell: Tell | None, stop: threading.Event,
           last_words: IO[bytes]) -> bytes:
    said: queue.SimpleQueue[tuple[dict[str, Any], bytes]] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(child, said), daemon=True).start()
    started_s = heard_s = time.monotonic()
    used_s = 0.0
    while True:
        try:
            message, data = said.get(timeout=LOOK_EVERY_S)
        except queue.Empty:
            message, data = {}, b""
        now_s = time.monotonic()
        if stop.is_set():
            raise Stopped
        if "result" in message:
            return data
        if "error" in message:
            raise _failure(message, limits, path)
        if "end" in message:
            raise WorkFailed(f"{path}: {_death(child, last_words)}", again=True)
        if message:
            heard_s, used_s = now_s, _processor_s(child.pid)
            if tell is not None:
                tell(message["share"], message["word"])
        if now_s - started_s > limits.wall_s:
            raise WorkFailed(f"{path}: not done after {limits.wall_s / 60:.0f} min, stopped", again=True)
        if now_s - heard_s > limits.silent_s and not _starved(child.pid, used_s, limits):
            raise WorkFailed(f"{path}: hung, nothing happened for {limits.silent_s:.0f} s (a damaged file?), stopped", again=True)
        if _resident_bytes(child.pid) > limits.memory_bytes:
            raise _too_much(limits, path)


def _listen(child: subprocess.Popen[bytes], said: queue.SimpleQueue[tuple[dict[str, Any], bytes]]) -> None:
    """Whatever the child says, then `end`."""
    voice = child.stdout
    assert voice is not None
    try:
        for line in voice:
            message = json.loads(line)
            data = voice.read(message["result"]) if "result" in message else b""
            if len(data) == message.get("result", 0):
                said.put((message, data))
    except (ValueError, OSError):
        pass
    said.put(({"end": True}, b""))


def _failure(message: Mapping[str, Any], limits: Limits, path: str) -> WorkFailed:
    if message["error"] == MEMORY:
        return _too_much(limits, path)
    return WorkFailed(message["line"], again=message["error"] != REFUSED)


def _too_much(limits: Limits, path: str) -> WorkFailed:
    return WorkFailed(f"{path}: wants more than {limits.memory_bytes / (1 << 30):.1f} GiB of memory, stopped; "
                      "export the clip smaller, or use fewer --jobs", again=True)


def _death(child: subprocess.Popen[bytes], last_words: IO[bytes]) -> str:
    status = child.wait()
    if status < 0:
        name = signal.Signals(-status).name if -status in list(signal.Signals) else f"signal {-status}"
        return f"its process was killed ({name}); a damaged file, or too little memory"
    last_words.seek(0)
    lines = last_words.read().decode(errors="replace").strip().splitlines()
    return f"its process ended by itself (status {status}{': ' + lines[-1][:200] if lines else ''})"


def _starved(pid: int, used_s: float, limits: Limits) -> bool:
    """True if the process would work, but other programs leave it hardly any of the processor: its silence says nothing."""
    try:
        return psutil.Process(pid).status() == psutil.STATUS_RUNNING and _processor_s(pid) - used_s < STARVED * limits.silent_s
    except psutil.Error:
        return False


def _processor_s(pid: int) -> float:
    try:
        times = psutil.Process(pid).cpu_times()
    except psutil.Error:
        return 0.0
    return float(times.user + times.system)


def _resident_bytes(pid: int) -> int:
    try:
        return int(psutil.Process(pid).memory_info().rss)
    except psutil.Error:
        return 0


def _end(child: subprocess.Popen[bytes]) -> None:
    """Nothing of it stays behind."""
    if child.poll() is None:
        child.kill()
    child.wait()
    for pipe in (child.stdin, child.stdout):
        if pipe is not None:
            with suppress(BrokenPipeError):  # it died before it had read what it was asked
                pipe.close()
