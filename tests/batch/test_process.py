"""One piece of work in a process of its own: its result, its limits, and the line that tells why it failed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest
import small_work
from click.testing import CliRunner

from tagger.batch.clip_bytes import clip_from_bytes, clip_to_bytes, whole_in
from tagger.batch.limits import Bounds, Limits, limits_for, share
from tagger.batch.process import Stopped, WorkFailed, call_of, run_call
from tagger.cli import main
from tagger.options import TagOptions

Film = Callable[[str, str], Path]


def do(path: Path, limits: Limits | None = None, stop: threading.Event | None = None) -> bytes:
    return run_call(call_of(small_work.act, {"path": str(path)}), limits or Limits(), stop=stop)


def test_the_result_comes_back_whole_whatever_libraries_print(film: Film) -> None:
    path = film("a.mp4", "print cover-1")
    data = do(path)
    assert clip_from_bytes(data).path == path
    assert clip_to_bytes(clip_from_bytes(data), whole_in(data)) == data
    assert do(path) == data


@pytest.mark.parametrize(
    ("text", "limits", "line", "again"),
    [
        ("refuse", Limits(), "not a video", False),
        ("definitions", Limits(), "coverages.toml: line 3 is not understood", True),
        ("fault", Limits(), "the tagger stumbled over this clip (ZeroDivisionError: by zero", True),
        ("storage", Limits(), "input/output error", True),
        ("crash", Limits(), "its process was killed (SIGSEGV)", True),
        ("hang", Limits(silent_s=1.0), "hung, nothing happened for 1 s", True),
        ("hang", Limits(wall_s=1.0), "not done after 0 min", True),
        ("eat", Limits(memory_bytes=1 << 30), "wants more than 1.0 GiB of memory", True),
        ("eat", Limits(memory_bytes=1 << 29, hard=False), "wants more than 0.5 GiB of memory", True),
    ],
)
def test_every_failure_is_one_line_with_the_film(film: Film, text: str, limits: Limits, line: str, again: bool) -> None:
    path = film("a.mp4", text)
    with pytest.raises(WorkFailed) as failed:
        do(path, limits)
    assert failed.value.line.startswith(f"{path}: ")
    assert line in failed.value.line
    assert "\n" not in failed.value.line
    assert failed.value.again == again


def test_an_answer_that_is_none_is_told() -> None:
    with pytest.raises(ValueError, match="a worker's answer makes no sense"):
        clip_from_bytes(b"nonsense")


def test_stopping_leaves_no_process(film: Film) -> None:
    path, stop = film("a.mp4", "hang"), threading.Event()
    threading.Timer(0.5, stop.set).start()
    with pytest.raises(Stopped):
        do(path, stop=stop)
    assert not [child for child in psutil.Process().children() if "tagger.batch.child" in child.cmdline()]


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_a_child_dies_with_its_parent(film: Film) -> None:
    path = film("a.mp4", "hang")
    code = (
        "import sys, small_work; from tagger.batch.process import *; from tagger.batch.limits import Limits\n"
        f"run_call(call_of(small_work.act, {{'path': {str(path)!r}}}), Limits())"
    )
    parent = subprocess.Popen([sys.executable, "-c", code])
    until_s = time.monotonic() + 30
    children: list[psutil.Process] = []
    while not children and time.monotonic() < until_s:
        time.sleep(0.1)
        children = psutil.Process(parent.pid).children()
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    gone, alive = psutil.wait_procs(children, timeout=20)
    assert gone
    assert not alive


def test_a_person_sets_the_bounds() -> None:
    bounds = Bounds(120.0, 2 << 30, 4, 1920)
    workers, limits = limits_for(2, 9, TagOptions(), bounds)
    assert (workers, limits.wall_s, limits.memory_bytes, limits.tries, limits.side_px) == (2, 120.0, 2 << 30, 4, 1920)
    assert limits_for(2, 9, TagOptions())[1].memory_bytes <= 4 << 30


def test_the_commands_hand_the_bounds_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = list[Bounds]()

    def refuse(cluster: object, jobs: object, pieces: object, options: object, bounds: Bounds) -> None:
        asked.append(bounds)
        raise ValueError("enough")

    monkeypatch.setattr("tagger.batch.cluster.crew_for", refuse)
    (tmp_path / "a.mp4").write_text("rep")
    words = ["--time-limit", "2", "--memory-limit", "1.5", "--tries", "3", "--side-limit", "4096"]
    for command in (["tag"], ["watch", "--once", "--settle", "0.1"]):
        CliRunner().invoke(main, [*command, str(tmp_path), *words, "--library", str(tmp_path / "library")])
    assert asked == [Bounds(120.0, 3 << 29, 3, 4096)] * 2


@pytest.mark.parametrize(
    ("jobs", "pieces", "wanted"), [(2, 10, (2, 1)), (1, 10, (1, 1)), (4, 1, (1, 4)), (8, 3, (3, 2)), (2, 0, (1, 2))])
def test_cores_are_shared_out(jobs: int, pieces: int, wanted: tuple[int, int]) -> None:
    assert share(jobs, pieces) == wanted
