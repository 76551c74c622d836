"""Is a cut-up made of the frames that its table names?"""

from __future__ import annotations

import csv
from pathlib import Path

import av
import cv2
import numpy as np

from vision.video import read_frames

HALF_MS = 5e-4
EVERY = 12
APART = (-4, 0, 4)


def rows(path: Path) -> list[dict[str, str]]:
    """The lines of a cut-up's table."""
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def assert_the_films_own_frames(cut: Path, table: Path) -> None:
    """Each decoded frame is the film's frame of that time: nearer to it than to the frames a few steps away. At natural speed."""
    with av.open(str(cut)) as container:
        pictures = [(float(f.time or 0), f.to_ndarray(format="bgr24")) for f in container.decode(video=0)]
    for piece in (p for p in rows(table) if p["kind"] == "film"):
        source = list(read_frames(Path(piece["source"])))
        start_s, end_s, at_s = float(piece["source_start_s"]), float(piece["source_end_s"]), float(piece["at_s"])
        times = np.array([frame.time_s for frame in source])
        shown = [(t, picture) for t, picture in pictures if at_s - HALF_MS <= t < at_s + float(piece["lasts_s"]) - HALF_MS]
        wanted = [int(np.abs(times - (start_s + t - at_s)).argmin()) for t, _ in shown]
        assert wanted == list(range(wanted[0], wanted[0] + len(wanted)))
        # The table is rounded to milliseconds: a frame right on a border may be on either side.
        assert set(wanted) >= set(np.flatnonzero((times >= start_s + HALF_MS) & (times < end_s - HALF_MS)).tolist())
        for k in range(0, len(wanted), EVERY):
            apart = {step: float(np.median(cv2.absdiff(shown[k][1], source[wanted[k] + step].bgr), axis=2).mean())
                     for step in APART if 0 <= wanted[k] + step < len(source)}
            assert min(apart, key=lambda step: apart[step]) == 0, (k, apart)
