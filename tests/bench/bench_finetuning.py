"""What sixty corrected frames teach the detector of a turf and of kits that it was never trained on, and what it forgets.

    python tests/bench/bench_finetuning.py OUT

Two reps are rendered on brick-red turf in kits of nearly its colour; the training frames (`demo_clips.training_frames`) know only
turf that is greener than red. Sixty frames of the first rep stand in a library with the boxes that a coach drew (the truth);
`deepthird train --from-library` goes on from the shipped weights. AP50 before and after, on the second rep and elsewhere.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
from click.testing import CliRunner

from demo_clips.kits_design import Colour, team_kit
from demo_clips.play import make_rep
from demo_clips.render import Look, design_look, render_clip
from demo_clips.training_frames import write_frames
from homography.types import FieldTracks
from homography.view import lost_view
from tagger.cli import main as deepthird
from tagger.football import Abstention, silent_reading
from tagger.library import ClipRecord, Correction, Library, RepRecord, fingerprint
from tagger.scoring.detection import Picture, average_precision
from vision.detector import load_detector
from vision.types import Tracks
from vision.video import read_frames

TURF_BGR = (0.15, 0.19, 0.42)
BRICK: Colour = (52, 60, 132)
RUST: Colour = (44, 78, 158)
DUST: Colour = (84, 104, 150)
SIZE, RATE, LASTS_S = (1280, 720), Fraction(8), 3.8
VIEWS = ("sideline", "end-zone")
TAUGHT, SHOWN, ELSEWHERE = 8821, 8822, 8831
COUNTED_SHARE = 0.25


def strange(look: Look) -> Look:
    """The same scene on brick-red turf, everybody in brick, rust and dust."""
    kits = {"home": team_kit(BRICK, RUST, BRICK, DUST), "away": team_kit(RUST, BRICK, DUST, BRICK)}
    worn = tuple(kits["home" if k % 2 else "away"] if kit.helmet else replace(kit, jersey=DUST, pants=BRICK)
                 for k, kit in enumerate(look.wardrobe.kits))
    return replace(look, field=replace(look.field, turf_bgr=TURF_BGR, mud_bgr=(0.14, 0.2, 0.36)),
                   wardrobe=replace(look.wardrobe, kits=worn))


def render(seed: int, folder: Path) -> list[tuple[Path, list[dict]]]:
    """Both views of a rep in the strange look: film and the truth of its frames."""
    motion, truth = make_rep(seed, 0, {})
    look = strange(design_look(motion, np.random.default_rng([seed, 1]), False))
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for number, view in enumerate(VIEWS):
        path = folder / f"rep-{seed}-{view}.mp4"
        rng = np.random.default_rng([seed, number])
        clip = render_clip(motion, look, view, path, SIZE, RATE, LASTS_S, int(truth["direction"]), rng)
        made.append((path, clip["frames"]))
    return made


def correct(library: Path, films: list[tuple[Path, list[dict]]]) -> int:
    """A library in which a coach has drawn the boxes of every frame of the films; how many frames."""
    count = 0
    with Library.open(library) as kept:
        for path, frames in films:
            index = np.arange(len(frames))
            nobody = [np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.int64)]
            tracks = Tracks(*nobody, np.zeros((0, 4)), np.zeros(0, bool), nobody[0], np.zeros(0), np.zeros(0))
            located = FieldTracks(*nobody, nobody[0], np.zeros(0, bool), np.zeros((0, 2)), np.zeros(0), np.zeros(0))
            view = lost_view(index, SIZE, "not looked for")
            silent = silent_reading(Abstention("rep", "not read"))
            record = ClipRecord(path, fingerprint(path), path.stat().st_size, float(RATE), LASTS_S, *SIZE, len(frames), tracks,
                                located, view, silent)
            rep_id = kept.save_rep(RepRecord(path.stem, (record,))).rep_id
            for frame in frames:
                boxes = [row[1:5] for row in frame["boxes"] if row[5] >= 0.15]
                kept.correct(rep_id, Correction("Coach", f"clip:{record.fingerprint}", "boxes",
                                                {"frame_index": frame["index"], "xyxy": boxes}))
                count += 1
    return count


def of_films(films: list[tuple[Path, list[dict]]]) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """(picture, boxes, which count) of every second frame."""
    for path, frames in films:
        for frame in read_frames(path):
            if frame.index % 2 == 0:
                rows = np.array([row[1:] for row in frames[frame.index]["boxes"]], dtype=float).reshape(-1, 5)
                yield frame.bgr, rows[:, :4], rows[:, 4] >= COUNTED_SHARE


def of_frames(folder: Path) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """The same of a folder of training frames."""
    for image in sorted((folder / "images").glob("*/*.jpg")):
        bgr = np.asarray(cv2.imread(str(image)), dtype=np.uint8)
        text = (folder / "labels" / image.parent.name / f"{image.stem}.txt").read_text()
        rows = np.array([line.split()[1:] for line in text.splitlines()], dtype=float).reshape(-1, 4)
        middle, half = rows[:, :2], rows[:, 2:] / 2
        boxes = np.concatenate([middle - half, middle + half], axis=1) * [*SIZE, *SIZE]
        yield bgr, boxes, np.ones(len(boxes), bool)


def judge(weights: Path | None, size_px: int, films: list[tuple[Path, list[dict]]], elsewhere: Path) -> tuple[float, float]:
    """AP50 on the strange rep and elsewhere."""
    detector = load_detector(weights, image_size_px=size_px, threads=1, min_confidence=0.01)

    def pictures(source: Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]) -> Iterator[Picture]:
        for bgr, boxes, counted in source:
            found = detector.detect(0, 0.0, bgr)
            yield boxes, counted, np.column_stack([found.xyxy, found.confidence])

    there, other = (average_precision(pictures(source)) for source in (of_films(films), of_frames(elsewhere)))
    assert there is not None
    assert other is not None
    return there, other


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--frames", type=int, default=60, help="simulated frames beside the corrected ones")
    parser.add_argument("--epochs", type=int, default=6)
    parser.add_argument("--image-size", type=int, default=640)
    parser.add_argument("--elsewhere", type=int, default=60, help="frames on which forgetting is measured")
    options = parser.parse_args()
    taught, shown = render(TAUGHT, options.out / "film"), render(SHOWN, options.out / "film")
    corrected = correct(options.out / "library", taught)
    write_frames(ELSEWHERE, options.elsewhere, options.out / "elsewhere")
    before = {size: judge(None, size, shown, options.out / "elsewhere") for size in (640, 960)}
    print(f"before: {json.dumps(before)}", flush=True)
    started = time.process_time()
    words = ["train", "--from-library", "--library", options.out / "library", "--out", options.out / "trained", "--frames",
             options.frames, "--seed", 8840, "--epochs", options.epochs, "--image-size", options.image_size, "--batch", 8]
    done = CliRunner().invoke(deepthird, [str(word) for word in words])
    if done.exit_code:
        raise SystemExit(f"train: {done.output}{done.exception!r}")
    spent_s = time.process_time() - started
    print(f"{corrected} corrected frames, {options.epochs} epochs: {spent_s:.0f} s of processor time", flush=True)
    for size in (640, 960):
        after = judge(options.out / "trained" / "people.onnx", size, shown, options.out / "elsewhere")
        there, elsewhere = (f"{old:.3f} -> {new:.3f}" for old, new in zip(before[size], after, strict=True))
        print(f"at {size} px: AP50 there {there}, elsewhere {elsewhere}")


if __name__ == "__main__":
    main()
