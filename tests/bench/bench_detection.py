"""Finding people on rendered reps: average precision by size, of the window with tightened boxes and of the bare network.

    python tests/bench/bench_detection.py --seeds 960:964 [--size 1280 720] [--folder DIR] [--weights FILE]

`as tagged`: the window that tagging looks through, boxes tightened by the looks at each man. `bare`: the same network on whole
pictures at 1280 px, its boxes as they come. People of whom less than a quarter shows are not asked for, nor is a box on them a
fault. Average precision as COCO takes it (101 points), from confidence 0.01; precision and recall at the default confidence.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
from bench_tracking import VISIBLE, clips
from scipy.optimize import linear_sum_assignment

from demo_clips.simulate import simulate
from tagger.scoring.detection import average_precision, overlap
from vision.detector import MIN_CONFIDENCE, load_detector
from vision.outlines import tightened
from vision.sights import CropReader
from vision.types import Detections
from vision.video import read_frames
from vision.window import WHOLE_SIZE_PX, Window

Judged = tuple[np.ndarray, np.ndarray, np.ndarray]
"""One picture: true boxes (N, 4), which of them are asked for (N,), and the found ones with their confidence (M, 5)."""
HEIGHTS_PX = (0, 30, 45, 60, 80, 10_000)
LOWEST_CONFIDENCE = 0.01
EVERY = 10


def looked(folder: Path, weights: Path | None) -> Iterator[dict[str, Judged]]:
    """Every tenth picture of all views, as judged by way of looking."""
    detector, reader = load_detector(weights, threads=2, min_confidence=LOWEST_CONFIDENCE), CropReader(threads=2)
    for clip in clips(folder):
        window = Window(detector)
        for frame in read_frames(clip.path):
            if frame.index % 2 or frame.index not in clip.truth:
                continue
            found = window.detect(frame.index, frame.time_s, frame.bgr)
            if frame.index % EVERY:
                continue
            _, boxes = clip.truth[frame.index]
            asked = clip.shows[frame.index] >= VISIBLE
            bare = detector.detect(frame.index, frame.time_s, frame.bgr, WHOLE_SIZE_PX)
            tight = tightened(found, reader.look(frame.bgr, found.xyxy, numbers=False))
            yield {name: (boxes, asked, _rows(one)) for name, one in (("as tagged", tight), ("bare", bare))}


def _rows(found: Detections) -> np.ndarray:
    return np.column_stack([found.xyxy, found.confidence]).astype(float)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="960:962")
    parser.add_argument("--size", type=int, nargs=2, default=(1280, 720), metavar=("WIDTH", "HEIGHT"))
    parser.add_argument("--folder", type=Path, help="keep the rendered reps here, one folder a seed")
    parser.add_argument("--weights", type=Path)
    given = parser.parse_args()
    first, last = map(int, given.seeds.split(":"))
    table: dict[str, list[Judged]] = {}
    with tempfile.TemporaryDirectory() as temporary:
        for seed in range(first, last):
            folder = simulate(seed, 1, (given.folder or Path(temporary)) / str(seed), size=tuple(given.size))
            for picture in looked(folder, given.weights):
                for name, judged in picture.items():
                    table.setdefault(name, []).append(judged)
            print(f"seed {seed}: AP50 " + ", ".join(f"{name} {average_precision(all_, 0.5):.3f}" for name, all_ in table.items()),
                  flush=True)
    for name, all_ in table.items():
        people = sum(int(asked.sum()) for _, asked, _ in all_)
        precision, recall = precision_recall(all_)
        print(f"{name:10s} {len(all_)} pictures, {people} people: " + "  ".join(
            f"AP{round(100 * least)} {average_precision(all_, least):.3f}" for least in (0.5, 0.75, 0.9))
            + f"  precision {precision:.3f} recall {recall:.3f}")
        for low, high in pairwise(HEIGHTS_PX):
            some = [of_height(one, low, high) for one in all_]
            if count := sum(int(asked.sum()) for _, asked, _ in some):
                print(f"{'':12s}{low} to {high} px: {count} people, AP50 {average_precision(some, 0.5):.3f}")


def precision_recall(pictures: list[Judged]) -> tuple[float, float]:
    """At the default confidence and an overlap of one half."""
    right = said = wanted = 0
    for boxes, asked, found in pictures:
        told = found[found[:, 4] >= MIN_CONFIDENCE, :4]
        shared = overlap(boxes, told)
        row, column = linear_sum_assignment(-shared)
        good = shared[row, column] >= 0.5
        right += int((good & asked[row]).sum())
        said += len(told) - int((good & ~asked[row]).sum())
        wanted += int(asked.sum())
    return right / said, right / wanted


def of_height(picture: Judged, low: int, high: int) -> Judged:
    """Only people of a height are asked for; as COCO has it, a box of another height that hits none of them is no fault."""
    boxes, asked, found = picture
    asked = asked & _between(boxes, low, high)
    hits = overlap(found[:, :4], boxes[asked]).max(axis=1, initial=0.0) >= 0.5
    return boxes, asked, found[hits | _between(found, low, high)]


def _between(boxes: np.ndarray, low: int, high: int) -> np.ndarray:
    tall = boxes[:, 3] - boxes[:, 1]
    return np.asarray((tall >= low) & (tall < high))


if __name__ == "__main__":
    main()
