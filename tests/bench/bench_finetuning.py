"""What sixty corrected frames teach the detector of a turf and of kits that it was never trained on, and what it forgets.

    python tests/bench/bench_finetuning.py OUT --seeds 8861,8871

For each seed two reps are rendered on black turf in kits of nearly its colour; the darkest turf of the training frames
(`demo_clips.training_frames`) is three times as bright. Sixty frames of the first rep stand in a library with the boxes that a
coach drew (the truth); `deepthird train --from-library` goes on from the shipped weights. AP50 before and after, on the second
rep (its seed is the next number) and elsewhere (training frames of the number after that).
"""

from __future__ import annotations

import argparse
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

TURF_BGR, MUD_BGR = (0.06, 0.05, 0.05), (0.05, 0.05, 0.06)
COAL: Colour = (22, 20, 20)
INK: Colour = (30, 26, 26)
SLATE: Colour = (38, 34, 34)
SIZE, RATE, LASTS_S = (1280, 720), Fraction(8), 3.8
VIEWS = ("sideline", "end-zone")
COUNTED_SHARE = 0.25


def strange(look: Look) -> Look:
    """The same scene on black turf, everybody in black and slate."""
    kits = {"home": team_kit(COAL, INK, COAL, SLATE), "away": team_kit(INK, COAL, SLATE, COAL)}
    worn = tuple(kits["home" if k % 2 else "away"] if kit.helmet else replace(kit, jersey=SLATE, pants=COAL)
                 for k, kit in enumerate(look.wardrobe.kits))
    return replace(look, field=replace(look.field, turf_bgr=TURF_BGR, mud_bgr=MUD_BGR),
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


def measure(seed: int, options: argparse.Namespace) -> tuple[np.ndarray, np.ndarray]:
    """(there, elsewhere) AP50 before and after teaching the frames of rep `seed`."""
    out = options.out / str(seed)
    taught, shown = (render(one, out / "film") for one in (seed, seed + 1))
    corrected = correct(out / "library", taught)
    write_frames(seed + 2, options.elsewhere, out / "elsewhere")
    before = judge(None, options.judged_at, shown, out / "elsewhere")
    print(f"seed {seed} before: AP50 there {before[0]:.3f}, elsewhere {before[1]:.3f}", flush=True)
    started = time.process_time()
    words = ["train", "--from-library", "--library", out / "library", "--out", out / "trained", "--frames", options.frames,
             "--seed", seed + 3, "--epochs", options.epochs, "--image-size", options.image_size, "--batch", 8]
    done = CliRunner().invoke(deepthird, [str(word) for word in words])
    if done.exit_code:
        raise SystemExit(f"train: {done.output}{done.exception!r}")
    spent_s = time.process_time() - started
    after = judge(out / "trained" / "people.onnx", options.judged_at, shown, out / "elsewhere")
    print(f"seed {seed}: {corrected} corrected frames, {options.epochs} epochs, {spent_s:.0f} s of processor time: AP50 there "
          f"{before[0]:.3f} -> {after[0]:.3f}, elsewhere {before[1]:.3f} -> {after[1]:.3f}", flush=True)
    return np.array(before), np.array(after)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--seeds", default="8861,8871", help="one run each")
    parser.add_argument("--frames", type=int, default=60, help="simulated frames beside the corrected ones")
    parser.add_argument("--epochs", type=int, default=5)
    parser.add_argument("--image-size", type=int, default=960, help="of the training, px")
    parser.add_argument("--judged-at", type=int, default=960, help="size at which AP50 is taken, px")
    parser.add_argument("--elsewhere", type=int, default=60, help="frames on which forgetting is measured")
    options = parser.parse_args()
    gains = [after - before for before, after in (measure(int(seed), options) for seed in options.seeds.split(","))]
    there, elsewhere = np.mean(gains, axis=0)
    print(f"mean gain over {len(gains)} seed(s): there {there:+.3f}, elsewhere {elsewhere:+.3f}")


if __name__ == "__main__":
    main()
