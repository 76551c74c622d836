"""Speed of cut-ups at 720p: seconds of film written for each second of work, beside the bare encoder on the same pictures.

Run: python tests/bench/bench_cutups.py
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from itertools import chain
from pathlib import Path

import av

sys.path.insert(0, str(Path(__file__).parents[1] / "cutups"))

from filmed_scene import Scene, make_scene

from tagger.cutups.edit_list import CutStyle, plan
from tagger.cutups.film import ENCODER, write_film
from tagger.cutups.overlay import OVERLAYS, RepOverlay
from vision.video import read_frames

SIZE = (1280, 720)
REPS = 4
BARE = CutStyle(slate_s=0.0, freeze_s=0.0, sound=False, lead_in_s=2.0, tail_s=1.5)


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """(seconds on the clock, seconds of all processors): the second tells the speed of an idle machine on a busy one."""
    start_s, start_cpu_s = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - start_s, time.process_time() - start_cpu_s


def encode_only(scene: Scene, path: Path) -> None:
    """Decode and encode the same film with the same encoder and nothing else: what no cut-up can be faster than."""
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("libx264", rate=25, options=ENCODER)
        stream.width, stream.height = SIZE
        stream.pix_fmt = "yuv420p"
        stream.codec_context.thread_count = 2
        frames = chain.from_iterable(read_frames(scene.path) for _ in range(REPS))
        for number, frame in enumerate(frames):
            picture = av.VideoFrame.from_ndarray(frame.bgr, format="bgr24").reformat(format="yuv420p")
            picture.pts, picture.time_base = number, Fraction(1, 25)
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        scene = make_scene(out / "scene.mp4", SIZE)
        keyed = make_scene(out / "keyed.mp4", SIZE, keyframe_every=5)
        film_s = REPS * float(scene.times_s[-1])
        reps = [scene.cut_rep(f"rep-{number}") for number in range(REPS)]
        drawn = CutStyle(**{**vars(BARE), "overlays": frozenset(OVERLAYS)})
        overlays = {(number, 0): RepOverlay(scene.seen, scene.reading) for number in range(REPS)}
        base_s, base_cpu_s = timed(lambda: encode_only(scene, out / "base.mp4"))
        print(f"bare encoder        {film_s / base_s:6.1f} x real time, {film_s / base_cpu_s:.1f} s of film per processor second")
        for name, work in (
            ("cut-up, overlays", lambda: write_film(plan(reps, drawn), out / "drawn.mp4", overlays)),
            ("cut-up, no overlay", lambda: write_film(plan(reps, CutStyle(**{**vars(BARE), "slate_s": 0.1})), out / "plain.mp4")),
            ("cut-up, copied", lambda: write_film(plan([keyed.cut_rep(f"{n}") for n in range(REPS)], BARE), out / "copied.mp4")),
        ):
            took_s, took_cpu_s = timed(work)
            print(f"{name:<20}{film_s / took_s:6.1f} x real time, {film_s / took_cpu_s:.1f} s of film per processor second, "
                  f"{base_cpu_s / took_cpu_s:.2f} of the bare encoder's")


if __name__ == "__main__":
    main()
