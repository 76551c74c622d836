"""A night's work unattended: N clips, both views of each rep, one in ten broken in a way of its own, through `deepthird watch`.

`bench_night.py --count 40 --out DIR`: makes the clips (the ready clips, each time cut at another moment and encoded anew), runs
the queue on them, and prints: how the good ones and each broken one ended, clips an hour and processor seconds a clip, the most
memory of a worker in each quarter of the night, whether anything was lost or done twice, and how far the snap of the clip with a
variable frame rate is off the same film's at a steady one. The same clips in the same folder go on where a run was stopped.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import numpy.typing as npt
import psutil

from demo_clips.encode import Mp4Writer
from tagger.library import Library
from vision.video import read_frames

READY = Path(__file__).parents[2] / "demo_clips"
RATE = Fraction(30000, 1001)
BEFORE_SNAP_S = 1.5
LOOK_EVERY_S = 0.5
TWO_HOURS_S = 7200
Pictures = list[npt.NDArray[np.uint8]]
STEADY, VARIABLE = "steady-sideline", "variable-rate"


def pictures(rep: int, view: str, start_s: float, seconds: float) -> Pictures:
    """Some seconds of a ready clip."""
    name, end_s = f"rep-{rep:03d}", start_s + seconds
    return [frame.bgr for frame in read_frames(READY / name / f"{name}-{view}.mp4") if start_s <= frame.time_s < end_s]


def snap_s(rep: int) -> float:
    """When a ready rep begins."""
    return float(json.loads((READY / f"rep-{rep:03d}" / "truth.json").read_text())["snap_s"])


def encode(path: Path, frames: Pictures, keep: Callable[[int], bool] = lambda i: True, codec: str = "libx264",
           container: str | None = None, flags: int = 0) -> None:
    """Write film whose kept frames stand at their own times."""
    with av.open(str(path), "w", format=container) as out:
        stream = out.add_stream(codec, rate=RATE)
        stream.height, stream.width = frames[0].shape[:2]
        stream.pix_fmt, stream.codec_context.time_base = "yuv420p", 1 / RATE
        stream.codec_context.flags |= flags
        x26x = {"preset": "ultrafast", "crf": "22", "x265-params": "log-level=error"}
        stream.options = x26x if codec.startswith("libx26") else {"qscale": "4"}
        for i, picture in enumerate(frames):
            if keep(i):
                frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
                frame.pts, frame.time_base = i, 1 / RATE
                out.mux(stream.encode(frame))
        out.mux(stream.encode())


def truncated(path: Path, frames: Pictures) -> None:
    encode(path, frames)
    path.write_bytes(path.read_bytes()[:path.stat().st_size // 2])


def zero_bytes(path: Path, frames: Pictures) -> None:
    path.touch()


def wrong_type(path: Path, frames: Pictures) -> None:
    path.write_bytes(cv2.imencode(".png", frames[0])[1].tobytes()[:1000] + b"not film" * 1000)


def no_field(path: Path, frames: Pictures) -> None:
    rng = np.random.default_rng(int(frames[0].sum()))  # the same film twice would be left out
    encode(path, [np.kron(rng.integers(0, 255, (90, 160, 3)), np.ones((8, 8, 1))).astype(np.uint8) for _ in frames[:45]])


def hevc_4k(path: Path, frames: Pictures) -> None:
    encode(path, [cv2.resize(one, (3840, 2160)) for one in frames[:60]], codec="libx265")  # type: ignore[misc]


def variable_rate(path: Path, frames: Pictures) -> None:
    """Two of five frames are missing, in no order; those that are there stand at their own times."""
    there = np.random.default_rng(3).random(len(frames)) < 0.6
    there[0] = True
    encode(path, frames, lambda i: bool(there[i]))


def rotated(path: Path, frames: Pictures) -> None:
    """The film lies on its side, and the file says so (ISO/IEC 14496-12, 8.3.2, the matrix of `tkhd`)."""
    encode(path, [np.ascontiguousarray(np.rot90(one)) for one in frames])
    data = bytearray(path.read_bytes())
    at = data.find(b"tkhd") + 4 + 40
    data[at:at + 36] = b"".join(v.to_bytes(4, "big") for v in (0, 0x10000, 0, -0x10000 & 0xFFFFFFFF, 0, 0, 0, 0, 0x40000000))
    path.write_bytes(data)


def two_hours(path: Path, frames: Pictures) -> None:
    """A camera that was forgotten: two hours in which nothing happens."""
    still = cv2.resize(frames[0], (320, 180))
    with Mp4Writer(path, (320, 180), Fraction(2), preset="ultrafast") as writer:
        for _ in range(2 * TWO_HOURS_S):
            writer.write(still)  # type: ignore[arg-type]


def interlaced(path: Path, frames: Pictures) -> None:
    encode(path, frames, codec="mpeg2video", container="mpeg", flags=1 << 18 | 1 << 29)


def no_times(path: Path, frames: Pictures) -> None:
    encode(path, frames, container="h264")


BROKEN: dict[str, tuple[Callable[[Path, Pictures], None], str]] = {
    "truncated": (truncated, "told"), "zero-bytes": (zero_bytes, "told"), "wrong-type": (wrong_type, "told"),
    "no-field": (no_field, "tagged"), "hevc-4k": (hevc_4k, "tagged"), VARIABLE: (variable_rate, "tagged"),
    "rotated": (rotated, "tagged"), "two-hours": (two_hours, "told"), "interlaced": (interlaced, "tagged"),
    "no-times": (no_times, "tagged"),
}
"""How each is made, and how it must end: film that can be looked at is tagged (with no field: an abstention), the rest told."""


def make(folder: Path, count: int, broken: int, seconds: float) -> None:
    """The night's film: the good in pairs of views."""
    for number in range(broken):
        kind = list(BROKEN)[number % len(BROKEN)]
        path = folder / f"{kind}-{number}.{'mpg' if kind == 'interlaced' else 'mp4'}"
        if not path.exists():
            rep = 1 if kind == VARIABLE else 1 + number % 5
            earlier_s = 0.2 * (number // len(BROKEN))  # the same film twice would be left out
            BROKEN[kind][0](path, pictures(rep, "sideline", snap_s(rep) - BEFORE_SNAP_S - earlier_s, seconds))
    for number in range(count - broken):
        rep, view = 1 + number // 2 % 5, ("sideline", "end-zone")[number % 2]
        path = folder / (f"{STEADY}.mp4" if number == 0 else f"rep-{number // 2:03d}-{view}.mp4")
        if not path.exists():
            earlier_s = 0.1 * (number // 10)
            encode(path, pictures(rep, view, snap_s(rep) - BEFORE_SNAP_S - earlier_s, seconds))


class Watching:
    """The command at work, its workers' memory and processor time looked at again and again."""

    def __init__(self, folder: Path, library: Path, jobs: int) -> None:
        self.samples: list[tuple[float, int, int]] = []
        self.parent_mb: list[float] = []
        self.processor_s: dict[int, float] = {}
        began_s = time.monotonic()
        command = [str(Path(sys.executable).with_name("deepthird")), "watch", str(folder), "--library", str(library), "--once",
                   "--settle", "1", "--jobs", str(jobs), "--json"]
        program = psutil.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        while program.poll() is None:
            time.sleep(LOOK_EVERY_S)
            self._look(program, time.monotonic() - began_s)
        self.took_s, self.status = time.monotonic() - began_s, program.returncode
        self.said = program.stderr.read().decode()
        self.summary: dict[str, Any] = json.loads(program.stdout.read() or "{}")

    def _look(self, program: psutil.Process, at_s: float) -> None:
        try:
            self.parent_mb.append(program.memory_info().rss / 1e6)
            for child in program.children():
                if "tagger.batch.child" in child.cmdline():
                    times = child.cpu_times()
                    self.samples.append((at_s, child.pid, child.memory_info().rss))
                    self.processor_s[child.pid] = times.user + times.system
        except psutil.Error:
            pass

    def quarters_mb(self) -> list[float]:
        """The most that a worker held in each quarter of the night."""
        edges = np.linspace(0.0, self.took_s, 5)
        return [max((rss / 1e6 for at_s, _, rss in self.samples if a <= at_s <= b), default=0.0)
                for a, b in pairwise(edges)]


def report(folder: Path, library: Path, night: Watching) -> Iterator[str]:
    """What came of it, a line each."""
    with Library.open(library) as kept:
        ends = {job.path: job for job in kept.jobs.list() if job.path.parent == folder}
        left_out = kept.seen_film.notes("")
        snaps = {row[0]: row[1] for row in kept.sql("SELECT path, snap_s FROM clips")[1]}
        twice = [mark for mark, n in Counter(row[0] for row in kept.sql("SELECT fingerprint FROM clips")[1]).items() if n > 1]
    good = [path for path in sorted(folder.iterdir()) if path.name.startswith(("rep-", "steady-"))]
    states = Counter(ends[path].state if path in ends else "no job" for path in good)
    yield f"good clips: {states['done']} of {len(good)} done" + (f" ({dict(states)})" if len(states) > 1 else "")
    for path in good:
        if path not in ends or ends[path].state != "done":
            yield f"  {path.name}: {ends[path].reason if path in ends else 'no job'}"
    for path in sorted(set(folder.iterdir()) - set(good)):
        kind = path.stem.rsplit("-", 1)[0]
        state = ends[path].state if path in ends else "left out"
        reason = ends[path].reason if path in ends else next((line for line in left_out if str(path) in line), "")
        right = state == "done" if BROKEN[kind][1] == "tagged" else state != "done" and bool(reason)
        yield f"  {kind}: {state}{'' if right else ' (WRONG)'}{': ' + reason.replace(str(folder) + '/', '') if reason else ''}"
    yield f"done twice: {len(twice)}; lost: {sum(path not in ends for path in good)}"
    clips = sum(job.state in ("done", "failed", "set-aside") for job in ends.values())
    yield (f"{clips} clips in {night.took_s / 60:.1f} min: {3600 * clips / max(1.0, night.took_s):.0f} an hour here, "
           f"{sum(night.processor_s.values()) / max(1, clips):.1f} s of processor a clip (joining the views included)")
    yield f"most memory of a worker, by quarters: {', '.join(f'{mb:.0f} MB' for mb in night.quarters_mb())}"
    if night.parent_mb:
        yield f"memory of the parent: {night.parent_mb[0]:.0f} MB at first, {max(night.parent_mb):.0f} MB at most"
    numbers = {int(Path(path).stem.rsplit("-", 1)[1]): snap for path, snap in snaps.items() if f"/{VARIABLE}-" in path}
    variable = numbers[min(numbers)] if numbers else None  # the others begin earlier
    steady = snaps.get(str(folder / f"{STEADY}.mp4"))
    if variable is not None and steady is not None:
        yield f"snap of the film with a variable rate: {abs(variable - steady) * float(RATE):.1f} frames off the steady one's"


def main() -> None:
    """Make, run, report."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--broken", type=int, default=None, help="of them; one in ten, if not given")
    parser.add_argument("--seconds", type=float, default=8.0, help="of each clip")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    folder, library = given.out.resolve() / "film", given.out.resolve() / "library"
    folder.mkdir(parents=True, exist_ok=True)
    make(folder, given.count, given.count // 10 if given.broken is None else given.broken, given.seconds)
    night = Watching(folder, library, given.jobs)
    print(f"{given.count} clips of {given.seconds:g} s, {given.jobs} worker(s); the command ended with {night.status}")
    for line in report(folder, library, night):
        print(line)
    if night.said:
        print(f"the command said: {night.said[-2000:]}")


if __name__ == "__main__":
    main()
