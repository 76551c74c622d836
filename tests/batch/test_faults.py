"""What goes wrong at night: a locked library, a full disk, a clock set back, hostile and broken film."""

from __future__ import annotations

import json
import os
import random
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest
import small_work

from tagger.batch.crew import LocalCrew
from tagger.batch.film import find_clips, pair_views
from tagger.batch.limits import MOST_SIDE_PX, Limits
from tagger.batch.plan import Scripts, plan_films
from tagger.batch.process import WorkFailed, call_of, run_call
from tagger.batch.queue import work_through
from tagger.batch.work import options_to_json, tag_film
from tagger.library import Library, LibraryError
from tagger.library.owner import Owner
from tagger.options import TagOptions

Film = Callable[[str, str], Path]
READY = Path(__file__).parents[2] / "demo_clips" / "rep-001" / "rep-001-end-zone.mp4"


def tag(folder: Path, library: Path) -> list[str]:
    """The states in which the clips ended."""
    with Library.open(library) as kept, Owner(library) as owner:
        kept.jobs.reopen(owner.is_dead)
        run = kept.jobs.add(plan_films(pair_views(find_clips([folder])), TagOptions(), Scripts()).wishes)
        night = work_through(kept, owner, LocalCrew(2, Limits()), run, work=small_work.act, join=small_work.lay_together)
        return [done.state for done in night]


@pytest.mark.slow
def test_a_library_that_another_program_holds_is_waited_for(film: Film, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tagger.library.connection.BUSY_TIMEOUT_S", 0.05)
    Library.open(tmp_path / "library").close()
    for number in range(2):
        film(f"{number}.mp4", f"slow 1.0 {number}")
    other = sqlite3.connect(tmp_path / "library" / "library.sqlite", isolation_level=None, check_same_thread=False)
    held = threading.Timer(0.6, lambda: other.execute("BEGIN IMMEDIATE"))
    held.start()
    threading.Timer(4.0, lambda: other.execute("ROLLBACK")).start()
    assert tag(tmp_path / "film", tmp_path / "library") == ["done", "done"]


@pytest.mark.slow
def test_a_library_that_is_held_for_a_minute_is_waited_for(film: Film, tmp_path: Path) -> None:
    """With the waits as they are shipped."""
    Library.open(tmp_path / "library").close()
    film("a.mp4", "slow 1.0 a")
    other = sqlite3.connect(tmp_path / "library" / "library.sqlite", isolation_level=None, check_same_thread=False)
    held = threading.Timer(1.0, lambda: other.execute("BEGIN IMMEDIATE"))
    held.start()
    freed = threading.Timer(62.0, lambda: other.execute("ROLLBACK"))
    freed.start()
    assert tag(tmp_path / "film", tmp_path / "library") == ["done"]
    freed.join()


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="mounts a disk")
def test_a_disk_that_is_really_full(film: Film, tmp_path: Path) -> None:
    """A disk of one megabyte (tmpfs) for the library, of which 300 kB are taken."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(disk)], capture_output=True, check=False).returncode:
        pytest.skip("a disk can be mounted by root only")
    try:
        (disk / "other.bin").write_bytes(bytes(300_000))
        for number in range(12):
            film(f"{number}.mp4", f"rep {number}")
        with pytest.raises(LibraryError, match="disk"):
            tag(tmp_path / "film", disk / "library")
        before = sorted(path.name for path in (disk / "library").iterdir())
        assert "library.sqlite" in before
        (disk / "other.bin").unlink()
        subprocess.run(["mount", "-o", "remount,size=64m", str(disk)], check=True)
        tag(tmp_path / "film", disk / "library")
        with Library.open(disk / "library") as kept:
            assert kept._connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            assert (kept.count(), len(kept.jobs.list("done"))) == (12, 12)
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


@pytest.mark.skipif(os.name == "nt", reason="POSIX limits")
def test_a_full_disk_stops_with_a_line_and_loses_nothing(film: Film, tmp_path: Path) -> None:
    """The system refuses to let a file grow (RLIMIT_FSIZE, POSIX), as a full disk or quota does."""
    for number in range(6):
        film(f"{number}.mp4", f"rep {number}")
    library = tmp_path / "library"
    Library.open(library).close()
    code = (
        f"import resource, sys; sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
        "from pathlib import Path; import test_faults\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))\n"
        f"test_faults.tag(Path({str(tmp_path / 'film')!r}), Path({str(library)!r}))"
    )
    stopped = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert stopped.returncode == 1
    assert "LibraryError" in stopped.stderr
    assert "disk" in stopped.stderr.splitlines()[-1]
    with Library.open(library) as kept:
        assert kept._connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        done = len(kept.jobs.list("done"))
        assert done == kept.count()
        assert done < 6
    tag(tmp_path / "film", library)
    with Library.open(library) as kept:
        assert (kept.count(), len(kept.jobs.list("done"))) == (6, 6)


def test_a_clock_set_back_changes_nothing(film: Film, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    times = iter(f"20{year:02d}-01-01T00:00:00+00:00" for year in range(40, 0, -1) for _ in range(50))
    monkeypatch.setattr("tagger.library.jobs.now", lambda: next(times))
    for number in range(3):
        film(f"{number}.mp4", "crash" if number == 1 else f"rep {number}")
    assert sorted(tag(tmp_path / "film", tmp_path / "library")) == ["done", "done", "set-aside", "waiting"]


def decode(path: Path, side_px: int = MOST_SIDE_PX) -> str:
    """The tagger's own child on one file: what became of it, as a word or a line."""
    arguments = {"path": str(path), "options": options_to_json(TagOptions()), "threads": 1, "side_px": side_px}
    try:
        run_call(call_of(tag_film, arguments), Limits(wall_s=240, silent_s=120))
        return "tagged"
    except WorkFailed as failure:
        line = failure.line
    assert "\n" not in line
    assert str(path) in line
    assert "stumbled" not in line, line
    return line


def write(path: Path, size: tuple[int, int] = (320, 240), count: int = 24, codec: str = "libx264", container: str | None = None,
          steps: Callable[[int], int] = lambda i: i, flags: int = 0) -> Path:  # fmt: skip
    """A short film of noise: no field, nobody."""
    rng = np.random.default_rng(1)
    with av.open(str(path), "w", format=container) as out:
        stream = out.add_stream(codec, rate=25)
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.codec_context.flags |= flags
        for i in range(count):
            small = rng.integers(0, 255, (size[1] // 8, size[0] // 8, 3))
            frame = av.VideoFrame.from_ndarray(np.kron(small, np.ones((8, 8, 1))).astype(np.uint8), format="bgr24")
            frame.pts = steps(i)
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    return path


@pytest.mark.parametrize(
    ("name", "content", "line"),
    [("zero.mp4", b"", "not a video"), ("text.mp4", b"this is not film", "not a video"),
     ("picture.mp4", b"\x89PNG\r\n\x1a\n", "no frame can be decoded (the picture has no size)")],
)
def test_what_is_no_film_is_told(tmp_path: Path, name: str, content: bytes, line: str) -> None:
    (tmp_path / name).write_bytes(content)
    assert line in decode(tmp_path / name)


def test_a_monstrous_picture_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4", (8320, 64), 2)
    assert "picture of 8320 x 64 px, more than 8192 px a side; export the clip smaller" in decode(path)
    small = write(tmp_path / "b.mp4", (640, 64), 2)
    assert "picture of 640 x 64 px, more than the 600 px that --side-limit allows" in decode(small, side_px=600)


@pytest.mark.slow
@pytest.mark.parametrize(
    "kind", ["noise", "hevc-4k", "variable-rate", "rotated", "interlaced", "no-times", "truncated", "sound-only"])
def test_film_of_every_kind_is_tagged_or_told(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"{kind}.mp4"
    if kind == "noise":
        assert decode(write(path)) == "tagged"
    elif kind == "hevc-4k":
        assert decode(write(path, (3840, 2160), 16, "libx265")) == "tagged"
    elif kind == "variable-rate":
        assert decode(write(path, steps=lambda i: 2 * i + i % 3 % 2)) == "tagged"
    elif kind == "rotated":
        with av.open(str(READY)) as source, av.open(str(path), "w") as out:
            stream = out.add_stream_from_template(source.streams.video[0])
            for packet in source.demux(source.streams.video[0]):
                if packet.pts is not None and packet.pts * packet.time_base < 2:
                    packet.stream = stream
                    out.mux(packet)
        data = bytearray(path.read_bytes())
        at = data.find(b"tkhd") + 4 + 40  # ISO/IEC 14496-12, 8.3.2: version, times, id, ... then the matrix; here a quarter turn
        unit = (0, 0x10000, 0, -0x10000 & 0xFFFFFFFF, 0, 0, 0, 0, 0x40000000)
        data[at:at + 36] = b"".join(value.to_bytes(4, "big") for value in unit)
        path.write_bytes(data)
        assert decode(path) == "tagged"
    elif kind == "interlaced":
        assert decode(write(path.with_suffix(".mpg"), codec="mpeg2video", container="mpeg", flags=1 << 18 | 1 << 29)) == "tagged"
    elif kind == "no-times":
        assert decode(write(path.with_suffix(".h264"), container="h264")) == "tagged"
    elif kind == "truncated":
        path.write_bytes(READY.read_bytes()[:200_000])
        assert decode(path) == "tagged" or "can be" in decode(path)
    else:
        with av.open(str(path), "w") as out:
            stream = out.add_stream("aac", rate=48000)
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            frame.sample_rate = 48000
            out.mux(stream.encode(frame))
            out.mux(stream.encode())
        assert "holds no video, only sound or data" in decode(path)


@pytest.mark.slow
def test_mutated_film_never_costs_more_than_itself(tmp_path: Path) -> None:
    """500 files (or DEEPTHIRD_MUTATIONS) whose bytes were changed at random, in the head as often as in the pictures, some cut
    off, some claiming a monstrous picture. A process decodes twenty; where one kills it, the rest go on in another."""
    whole = write(tmp_path / "whole.mp4", (160, 120), 20).read_bytes()
    rng, count = random.Random(7), int(os.environ.get("DEEPTHIRD_MUTATIONS", "500"))
    paths = [str(mutated(tmp_path / f"{number}.mp4", whole, rng)) for number in range(count)]
    ends, broke = dict[str, str](), dict[str, str]()
    while len(ends) < count:
        left = [path for path in paths if path not in ends][:20]
        at = [left[0]]
        call = call_of(small_work.only_decode, {"path": "fuzz", "paths": left})
        try:
            data = run_call(call, Limits(wall_s=300, silent_s=30, memory_bytes=1 << 30), lambda _, path, at=at: at.append(path))
            ends.update(zip(left, json.loads(data), strict=True))
        except WorkFailed as failure:
            ends.update(dict.fromkeys(left[:left.index(at[-1])], "before a broken one"))
            ends[at[-1]] = broke[at[-1]] = failure.line
    for path, line in ends.items():
        assert "\n" not in line
        assert line.endswith("frames") or path in line or path in broke or line == "before a broken one", line
    kinds = {line.split(": ", 1)[-1][:20] for line in ends.values()}
    assert len(kinds) > 3, kinds  # decoded, refused, thinned: every kind was met
    print(f"{count} files: {sum(line.endswith('frames') for line in ends.values())} decoded, {len(broke)} broke their process: "
          f"{sorted(set(broke.values()))}")


def mutated(path: Path, whole: bytes, rng: random.Random) -> Path:
    """A copy with some bytes changed."""
    data = bytearray(whole)
    for _ in range(rng.choice((1, 4, 40))):
        place = rng.randrange(len(data)) if rng.random() < 0.5 else rng.randrange(max(1, len(data) - 1500), len(data))
        data[place] = rng.randrange(256)
    if rng.random() < 0.2:
        del data[rng.randrange(len(data)):]
    elif rng.random() < 0.1 and (at := data.find(b"avc1")) > 0:  # ISO/IEC 14496-12, 12.1.3: width and height of the sample entry
        data[at + 28:at + 32] = rng.choice((b"\xff\xff\xff\xff", b"\x20\x00\x20\x00", b"\x00\x00\x00\x01"))
    path.write_bytes(data)
    return path
