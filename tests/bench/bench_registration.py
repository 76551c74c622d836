"""Registration on rendered reps, per view, beside OpenCV's findHomography (RANSAC) frame by frame on the same detected points.

    python tests/bench/bench_registration.py --seeds 900:902 [--views sideline,end-zone,low-sideline] [--odd] [--folder DIR]

`--odd`: practice fields that may lack hash marks, every other yard line or a half of their paint. `--stills 3`: so many frames of
each clip are also registered each by itself.
Most fields are crowned, from evenly sloped to nearly round. Errors are in yards over the part of the field that the true camera
shows, a lattice of 2.5 yd; x counts up to whole 5 yd and the field's half-turn, which no yard line tells; whether the yard line
is known, and rightly, is counted apart. A clip (or still) is an alias if its median error is over a yard: wrong spacing, wrong
rows or a mirror image. Sigma: root mean square error per axis of every point over its own `sigma_at`; of an honest one 68 % lie
below 1 and 95 % below 2. The baseline gets hash marks and crossings of yard lines with sidelines, labelled by the registration
itself, and of the ways to paint marks the one that turns out best for it in each frame: favours.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import product
from multiprocessing import get_context
from pathlib import Path
from time import process_time
from typing import Any

import cv2
import numpy as np

from demo_clips.simulate import simulate
from demo_clips.turf import turf_height
from homography import FieldView, FrameEvidence, Observer, sigma_at, solve_clip, solve_still, to_field, to_image
from homography.assign import HASH_YARD, SIDELINE, YARD_LINE, assign, hash_rows_yd
from homography.camera import project
from homography.field import LENGTH_YD, WIDTH_YD
from homography.habit import MARK_OFFSETS_YD
from homography.solution import Solution
from homography.stripes import fit_line
from homography.types import LOST, apply_homography
from homography.yard_numbers import Still, read_yard_lines
from tagger.watching import MAX_HEIGHT_PX
from vision.detector import TRACKED_CONFIDENCE, Detector, load_detector
from vision.video import read_frames
from vision.window import Window

SPOTS = np.stack(np.meshgrid(np.arange(0, LENGTH_YD + 1, 2.5), np.linspace(0, WIDTH_YD, 22)), axis=-1).reshape(-1, 2)
HALF_TURN = np.array([LENGTH_YD, WIDTH_YD])
ALIAS_YD = 1.0
GATE_PX = 3.5
FEWEST_ON_LINE = 6
RANSAC_PX = 3.0
EVERY = 2
"""Frames from one look for people to the next, as in film of 30 Hz."""


@dataclass(frozen=True)
class Judged:
    """One clip: per registered frame the median and 95th percentile of the error in yards, the IoU of the visible field, and what
    68 and 95 % of its points' errors over their sigmas lie below; the same two errors of the baseline (NaN where it has none);
    and facts of the clip."""

    view: str
    solved: float
    errors_yd: np.ndarray
    iou: np.ndarray
    over_sigma: np.ndarray
    baseline_yd: np.ndarray
    level: str
    yard_line: str
    observe_ms: float
    solve_s: float
    reason: str
    stills: tuple[tuple[float, float] | None, ...] = ()


@dataclass(frozen=True)
class Filmed:
    """A clip's evidence, its stills for the yard numbers, the ms a frame that observing took, and (frame index, registration) of
    the frames that were registered by themselves."""

    evidence: list[FrameEvidence]
    stills: list[Still]
    observe_ms: float
    alone: list[tuple[int, FieldView]]


def film(folder: Path, clip: dict[str, Any], detector: Detector, alone: int) -> Filmed:
    """Look at the clip as the pipeline does."""
    observer, evidence, seconds, window = Observer(), [], 0.0, Window(detector)
    boxes, views = np.zeros((0, 4), dtype=np.float32), []
    wanted = {int((i + 0.5) / alone * len(clip["frames"])) for i in range(alone)}
    for frame in read_frames(folder / clip["file"], MAX_HEIGHT_PX):
        if frame.index % EVERY == 0:
            boxes = window.detect(frame.index, frame.time_s, frame.bgr).xyxy
        start = process_time()
        evidence.append(observer.observe(frame.index, frame.time_s, frame.bgr, boxes))
        seconds += process_time() - start
        if frame.index in wanted:
            views.append((frame.index, solve_still(frame.bgr, detector.detect(0, 0.0, frame.bgr).xyxy)))
    return Filmed(evidence, observer.stills, 1000.0 * seconds / len(evidence), views)


def true_picture(clip: dict[str, Any], index: int) -> tuple[np.ndarray, np.ndarray]:
    """Picture points of SPOTS under the true camera, and which of them show."""
    size, told = (clip["width_px"], clip["height_px"]), clip["frames"][index]
    pose = np.array([told["pan_rad"], -told["tilt_rad"], told["roll_rad"], np.log(told["focal_px"])])
    centre, k = np.array(clip["camera"]["centre_yd"]), clip["camera"]["distortion"]
    spots = np.column_stack([SPOTS, turf_height(SPOTS[:, 1], clip["turf"]["crown_yd"], clip["turf"]["crown_power"])])
    return project(spots, pose, centre, k, size), shows(project(spots, pose, centre, 0.0, size), size)


def shows(px: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Which points (N, 2) px lie in the picture."""
    with np.errstate(invalid="ignore"):
        return np.asarray(((px > 0) & (px < np.array(size))).all(axis=1))


def aligned(found: np.ndarray, true: np.ndarray) -> tuple[np.ndarray, bool, float]:
    """Differences (N, 2) once whole 5 yd and the half-turn are granted; whether it was needed, and the shift in x."""
    options = []
    for turned in (False, True):
        off = found - (HALF_TURN - true if turned else true)
        shift = 5.0 * np.round(np.nanmedian(off[:, 0]) / 5.0)
        options.append((off - [shift, 0.0], turned, float(shift)))
    return min(options, key=lambda option: float(np.nanmedian(np.linalg.norm(option[0], axis=1))))


def overlap(view: FieldView, row: int, seen: np.ndarray, turned: bool, shift: float) -> float:
    """Intersection over union of the lattice points that show, by truth and by the registration."""
    spots = (HALF_TURN - SPOTS if turned else SPOTS) + [shift, 0.0]
    px = to_image(view, row, spots)
    assert view.camera is not None
    ideal = project(spots, *replace(view.camera, distortion=0.0).eye(row, view.image_size_px))
    ours = shows(px, view.image_size_px) & shows(ideal, view.image_size_px)
    return float((ours & seen).sum() / max((ours | seen).sum(), 1))


def baseline(view: FieldView, row: int, frame: FrameEvidence, mark_offset_yd: float) -> np.ndarray | None:
    """(3, 3) field-from-image homography of one frame alone, by RANSAC; None where points are wanting."""
    if frame.ridges is None or view.camera is None or view.level is None:
        return None
    pose, centre, distortion, size, crown = view.camera.eye(row, view.image_size_px)
    solution = Solution(pose[None], centre, distortion, size, mark_offset_yd, crown=crown)
    found = assign(frame.ridges, solution, 0, view.level, GATE_PX)
    px, spots = [], []
    marks = found[found.kind == HASH_YARD]
    near, far = hash_rows_yd(view.level)
    rows = np.array([near + mark_offset_yd, far - mark_offset_yd])
    for mark in range(len(marks)):
        px.append(marks.xy_px[mark])
        spots.append([-marks.line[mark, 2], rows[np.abs(rows - marks.field_yd[mark, 1]).argmin()]])
    fitted = {kind: {float(-at): fit_line(found.xy_px[mine]) for at in np.unique(found.line[found.kind == kind, 2])
                     if (mine := (found.kind == kind) & (found.line[:, 2] == at)).sum() >= FEWEST_ON_LINE}
              for kind in (YARD_LINE, SIDELINE)}
    for x, across in fitted[YARD_LINE].items():
        for y, along in fitted[SIDELINE].items():
            meet = np.cross(across, along)
            if abs(meet[2]) > 1e-6:
                px.append(meet[:2] / meet[2])
                spots.append([x, y])
    if len(px) < 4:
        return None
    matrix, _ = cv2.findHomography(np.array(px), np.array(spots), cv2.RANSAC, RANSAC_PX / 10.0)
    return None if matrix is None else np.asarray(matrix)


def alone(view: FieldView, clip: dict[str, Any], index: int) -> tuple[float, float] | None:
    """Median and 95th percentile of the error in yards of a frame registered by itself, None where that abstains."""
    if view.status[0] == LOST:
        return None
    px, seen = true_picture(clip, index)
    size = np.linalg.norm(aligned(to_field(view, 0, px[seen]), SPOTS[seen])[0], axis=1)
    return float(np.nanmedian(size)), float(np.nanpercentile(size, 95))


def judge(folder: Path, clip: dict[str, Any], level: str, detector: Detector, stills: int) -> Judged:
    """Register one clip and compare."""
    filmed = film(folder, clip, detector, stills)
    start = process_time()
    view = read_yard_lines(solve_clip(filmed.evidence), filmed.stills)
    solve_s = process_time() - start
    errors, ious, ratios, plain, shifts = [], [], [], [], []
    for row, frame in enumerate(filmed.evidence):
        if view.status[row] == LOST:
            continue
        px, seen = true_picture(clip, frame.frame_index)
        if not seen.any():
            continue
        off, turned, shift = aligned(to_field(view, row, px[seen]), SPOTS[seen])
        shifts.append(shift)
        size = np.linalg.norm(off, axis=1)
        errors.append([np.nanmedian(size), np.nanpercentile(size, 95)])
        ious.append(overlap(view, row, seen, turned, shift))
        ratios.append(np.percentile(np.sqrt((off**2).mean(axis=1)) / sigma_at(view, row, px[seen]), [68, 95]))
        if frame.ridges is not None:
            found = [matrix for offset in MARK_OFFSETS_YD if (matrix := baseline(view, row, frame, offset)) is not None]
            sizes = [np.linalg.norm(aligned(apply_homography(matrix, px[seen]), SPOTS[seen])[0], axis=1) for matrix in found]
            plain.append(min(([np.median(size), np.percentile(size, 95)] for size in sizes), default=[np.nan, np.nan]))
    known = "unknown" if not view.yard_line_known else "wrong" if np.median(shifts) else "right"
    found_level = "unknown" if view.level is None else "right" if view.level == level else "wrong"
    per_frame, over_sigma, plainly = (np.array(pairs).reshape(-1, 2) for pairs in (errors, ratios, plain))
    return Judged(clip["view"], view.solved_share, per_frame, np.array(ious), over_sigma, plainly, found_level, known,
                  filmed.observe_ms, solve_s, view.reason, tuple(alone(one, clip, index) for index, one in filmed.alone))


def clips_of(folder: Path) -> Iterator[tuple[Path, dict[str, Any], str]]:
    """All views of all reps under a folder: where, what is true of the clip, and the level."""
    for file in sorted(folder.rglob("truth.json")):
        told = json.loads(file.read_text())
        for clip in told["clips"]:
            yield file.parent, clip, told["level"]


def counted(words: list[str]) -> str:
    """How often each of the three ends came."""
    return ", ".join(f"{words.count(word)} {word}" for word in ("right", "wrong", "unknown"))


def report(judged: list[Judged], name: str) -> str:
    """One view's lines."""
    kept = [one for one in judged if len(one.errors_yd)]
    good = [one for one in kept if np.median(one.errors_yd[:, 0]) < ALIAS_YD]
    lines = [f"{name}: {len(judged)} clips, frames registered {np.mean([one.solved for one in judged]):.1%}, "
             f"abstained {len(judged) - len(kept)}, aliases {len(kept) - len(good)}, "
             f"level {counted([one.level for one in kept])}, yard line {counted([one.yard_line for one in kept])}; "
             f"observe {np.mean([one.observe_ms for one in judged]):.1f} ms a frame, solve "
             f"{np.mean([one.solve_s for one in judged]):.1f} s a clip (CPU)"]
    if kept:
        errors, ratios = np.concatenate([one.errors_yd for one in kept]), np.concatenate([one.over_sigma for one in kept])
        ours, far = np.median(errors, axis=0)
        worst = max(float(np.median(one.over_sigma[:, 1])) for one in kept)
        lines.append(f"  error median {ours:.3f} yd, p95 over the field {far:.3f} yd; visible field IoU "
                     f"{np.median(np.concatenate([one.iou for one in kept])):.4f}; of error/sigma 68% below "
                     f"{np.median(ratios[:, 0]):.2f}, 95% below {np.median(ratios[:, 1]):.2f} (the worst clip's {worst:.2f})")
        plain = np.concatenate([one.baseline_yd for one in kept])
        has = np.isfinite(plain[:, 0])
        if has.any():
            theirs, theirs_far = np.median(plain[has], axis=0)
            lines.append(f"  findHomography RANSAC, frame by frame: answers on {has.mean():.0%} of the painted frames, error "
                         f"median {theirs:.3f} yd ({theirs / ours:.1f} times ours), p95 over the field {theirs_far:.3f} yd")
    by_itself = [still for one in judged for still in one.stills]
    if by_itself:
        found = np.array([still for still in by_itself if still is not None]).reshape(-1, 2)
        middle, far = np.median(found, axis=0) if len(found) else (np.nan, np.nan)
        lines.append(f"  {len(by_itself)} stills, abstained {len(by_itself) - len(found)}, aliases "
                     f"{(found[:, 0] >= ALIAS_YD).sum()}, error median {middle:.3f} yd, p95 over the field {far:.3f} yd")
    return "\n".join(lines)


def filmed_and_judged(seed: int, view: str, root: Path, asked: argparse.Namespace) -> list[Judged]:
    """One seed's clip of one view, made if it is not there yet."""
    folder = root / f"{seed}-{view}"
    simulate(seed, 1, folder, (view,), options={"odd_field": asked.odd})
    detector = load_detector(asked.weights, min_confidence=TRACKED_CONFIDENCE)
    return [judge(where, clip, level, detector, asked.stills) for where, clip, level in clips_of(folder)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="900:902")
    parser.add_argument("--views", default="sideline,end-zone")
    parser.add_argument("--odd", action="store_true")
    parser.add_argument("--stills", type=int, default=3)
    parser.add_argument("--folder", type=Path, help="simulated folders to use or go on with")
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--jobs", type=int, default=1, help="clips at a time")
    asked = parser.parse_args()
    first, _, last = asked.seeds.partition(":")
    judged = []
    with tempfile.TemporaryDirectory() as scratch, ProcessPoolExecutor(asked.jobs, get_context("spawn")) as pool:
        root = asked.folder or Path(scratch)
        clips = list(product(range(int(first), int(last)), asked.views.split(",")))
        waiting = [pool.submit(filmed_and_judged, seed, view, root, asked) for seed, view in clips]
        for (seed, view), done in zip(clips, waiting, strict=True):
            for one in done.result():
                errors = np.median(one.errors_yd, axis=0).round(3) if len(one.errors_yd) else one.reason
                stills = [round(still[0], 3) if still else "-" for still in one.stills]
                print(f"{seed} {view}: {errors}, stills {stills}", flush=True)
                judged.append(one)
    for name in sorted({one.view for one in judged}):
        print(report([one for one in judged if one.view == name], name))


if __name__ == "__main__":
    main()
