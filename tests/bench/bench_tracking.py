"""Tracking on rendered reps: HOTA, IDF1 and switches by trackeval, beside ByteTrack and BoT-SORT on the very same boxes.

    python tests/bench/bench_tracking.py --seeds 950:960 [--folder DIR] [--weights FILE] [--every 2]

The whole of vision and the registration run as in the product; nothing of the truth goes in. People of whom less than a
quarter shows are not asked for (nor is a track on them a fault). `players in space` leaves out linemen, rushers and bystanders,
whose piles hide most of them. Yards: how far the players' tracks are from where the men were, and the errors over the
sigma that is told. Kits: share of the players' tracks whose cluster means the shirt that the man wears.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from types import SimpleNamespace
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment
from trackeval.metrics import CLEAR, HOTA, Identity
from ultralytics.trackers.bot_sort import BOTSORT
from ultralytics.trackers.byte_tracker import BYTETracker
from ultralytics.utils import ROOT, YAML

from demo_clips.simulate import simulate
from homography import Observer, locate, solve_clip
from homography.field import LENGTH_YD, WIDTH_YD
from homography.motion import image_motion
from homography.types import FieldTracks
from vision.boxes import iou
from vision.detector import TRACKED_CONFIDENCE, Detector, load_detector
from vision.eye import Eye, Look
from vision.outfits import Wardrobe, dress
from vision.sights import CropReader
from vision.tracker import track
from vision.types import Detections, Tracks
from vision.video import read_frames

VISIBLE = 0.25
LINES_YD = 5.0
IN_SPACE = {"qb", "wr", "te", "rb", "corner", "safety", "nickel", "linebacker"}
Rows = dict[int, tuple[np.ndarray, np.ndarray]]
"""Frame index to ids (N,) and boxes (N, 4)."""


@dataclass(frozen=True)
class Men:
    """Where the people were: `xy_yd` (N, T, 2) at `time_s` (T,) of the film, NaN for those who are no player of the rep."""

    time_s: np.ndarray
    xy_yd: np.ndarray


@dataclass(frozen=True)
class Clip:
    """One view of a rep: truth rows with the share that shows, and what each person is."""

    path: Path
    size_px: tuple[int, int]
    truth: Rows
    shows: dict[int, np.ndarray]
    role: list[str]
    kit: list[str]
    men: Men


def clips(folder: Path) -> Iterator[Clip]:
    """All views of all reps of a simulated folder."""
    for file in sorted(folder.glob("rep-*/truth.json")):
        told = json.loads(file.read_text())
        number = {p["player_id"]: i for i, p in enumerate(told["players"])}
        for view in told["clips"]:
            truth, shows = {}, {}
            for frame in view["frames"]:
                rows = frame["boxes"]
                truth[frame["index"]] = (np.array([number[row[0]] for row in rows], dtype=np.int64),
                                         np.array([row[1:5] for row in rows], dtype=np.float64).reshape(-1, 4))
                shows[frame["index"]] = np.array([row[5] for row in rows])
            yield Clip(file.parent / view["file"], (view["width_px"], view["height_px"]), truth, shows,
                       [p["role"] for p in told["players"]], [p["kit"] for p in told["players"]], _men(told))


def _men(told: dict[str, Any]) -> Men:
    track, side = told["tracks"], {p["player_id"]: p["side"] for p in told["players"]}
    path = dict(zip(track["player_id"], np.array(track["xy_yd"], dtype=float), strict=True))
    nowhere = np.full((len(track["time_s"]), 2), np.nan)
    return Men(np.array(track["time_s"], dtype=float), np.array([
        path.get(p["player_id"], nowhere) if side[p["player_id"]] != "other" else nowhere for p in told["players"]]))


def off_yd(clip: Clip, tracks: Tracks, paths: FieldTracks) -> np.ndarray:
    """(M, 2) how far each row of a player's track is from him, over all rows on his box, and the sigma told. Which end of the
    field it is and from which yard line it is counted is the registration's affair: such steps are taken out."""
    at = {(int(k), int(i)): row for row, (k, i) in enumerate(zip(tracks.frame_index, tracks.track_id, strict=True))}
    here, there, sigma = [], [], []
    for row, (k, man) in enumerate(zip(paths.frame_index.tolist(), paths.track_id.tolist(), strict=True)):
        if k not in clip.truth or row % 5:
            continue
        who, boxes = clip.truth[k]
        overlap = iou(tracks.xyxy[at[k, man]][None].astype(float), boxes)[0]
        true = clip.men.xy_yd[int(who[overlap.argmax()])] if overlap.max(initial=0.0) > 0.4 else np.full((1, 2), np.nan)
        if np.isfinite(true).all():
            there.append([np.interp(paths.time_s[row], clip.men.time_s, true[:, axis]) for axis in (0, 1)])
            here.append(paths.xy_yd[row])
            sigma.append(paths.sigma_yd[row])
    if not here:
        return np.zeros((0, 2))
    both_ends = [np.array(here) - there, [LENGTH_YD, WIDTH_YD] - np.array(here) - there]
    steps = [np.array([LINES_YD * np.round(np.median(off[:, 0]) / LINES_YD), 0.0]) for off in both_ends]
    far = [np.linalg.norm(off - step, axis=1) for off, step in zip(both_ends, steps, strict=True)]
    return np.column_stack([min(far, key=np.median), sigma])


def score(clip: Clip, found: Rows, frames: Sequence[int], asked: set[str] | None) -> dict[str, float]:
    """HOTA and its like over `frames`, for people whose role is in `asked` (None: all)."""
    true_ids, found_ids, similar = [], [], []
    true_number: dict[int, int] = {}
    found_number: dict[int, int] = {}
    for k in frames:
        who, boxes = clip.truth[k]
        ids, ours = found.get(k, (np.zeros(0, np.int64), np.zeros((0, 4))))
        overlap = iou(boxes, ours)
        wanted = clip.shows[k] >= VISIBLE
        if asked is not None:
            wanted &= np.array([clip.role[i] in asked for i in who], dtype=bool)
        row, column = linear_sum_assignment(-overlap)
        on_others = column[~wanted[row] & (overlap[row, column] > 0.3)]
        kept = np.setdiff1d(np.arange(len(ids)), on_others)
        if asked is not None:  # a track on nobody is only a fault where everybody is asked for
            kept = kept[(overlap[np.ix_(wanted, kept)].max(axis=0, initial=0.0) > 0)]
        true_ids.append(np.array([true_number.setdefault(int(i), len(true_number)) for i in who[wanted]], dtype=np.int64))
        found_ids.append(np.array([found_number.setdefault(int(i), len(found_number)) for i in ids[kept]], dtype=np.int64))
        similar.append(overlap[np.ix_(wanted, kept)])
    data = {"num_timesteps": len(frames), "gt_ids": true_ids, "tracker_ids": found_ids, "similarity_scores": similar,
            "num_gt_ids": len(true_number), "num_tracker_ids": len(found_number), "num_gt_dets": sum(map(len, true_ids)),
            "num_tracker_dets": sum(map(len, found_ids))}
    quiet = {"PRINT_CONFIG": False}
    hota, identity, clear = HOTA().eval_sequence(data), Identity(quiet).eval_sequence(data), CLEAR(quiet).eval_sequence(data)
    return {"hota": float(hota["HOTA"].mean()), "assa": float(hota["AssA"].mean()), "deta": float(hota["DetA"].mean()),
            "loca": float(hota["LocA"].mean()), "assa50": float(hota["AssA"][9]), "idf1": float(identity["IDF1"]),
            "switches": float(clear["IDSW"])}


class _Boxes:
    """The little of ultralytics' results that its trackers ask for."""

    def __init__(self, xyxy: np.ndarray, conf: np.ndarray, cls: np.ndarray) -> None:
        self.xyxy, self.conf, self.cls = xyxy, conf, cls

    @property
    def xywh(self) -> np.ndarray:
        return np.concatenate([(self.xyxy[:, :2] + self.xyxy[:, 2:]) / 2, self.xyxy[:, 2:] - self.xyxy[:, :2]], axis=1)

    def __len__(self) -> int:
        return len(self.conf)

    def __getitem__(self, index: Any) -> _Boxes:
        return _Boxes(self.xyxy[index], self.conf[index], self.cls[index])


class Baseline:
    """ByteTrack or BoT-SORT (with its own camera compensation, on the pictures) as ultralytics ships them, frame by frame."""

    def __init__(self, name: str) -> None:
        settings = SimpleNamespace(**YAML.load(str(ROOT / "cfg" / "trackers" / f"{name}.yaml")))
        self.tracker: Any = BOTSORT(settings) if name == "botsort" else BYTETracker(settings)
        self.rows: Rows = {}
        self.seconds = 0.0

    def see(self, found: Detections, bgr: np.ndarray) -> None:
        start = perf_counter()
        out = self.tracker.update(_Boxes(found.xyxy.copy(), found.confidence, found.class_id.astype(np.float64)), bgr)
        self.seconds += perf_counter() - start
        out = np.asarray(out, dtype=np.float64).reshape(-1, 8)
        self.rows[found.frame_index] = (out[:, 4].astype(np.int64), out[:, :4])


@dataclass(frozen=True)
class Followed:
    """Rows and seconds by tracker, share of right kits, yards off with their sigma (M, 2), and the frames to be judged."""

    rows: dict[str, Rows]
    seconds: dict[str, float]
    kits: float
    off_yd: np.ndarray
    frames: list[int]


def follow(clip: Clip, detector: Detector, every: int) -> Followed:
    """One view through all of vision and the registration, and its boxes through the other trackers."""
    observer, evidence, detections, looks, sights, boxes = Observer(), [], [], [], [], np.zeros((0, 4), np.float32)
    others = {"bytetrack": Baseline("bytetrack"), "botsort": Baseline("botsort")}
    eye = Eye(detector, CropReader(threads=2))

    def keep(seen: list[Look]) -> None:
        for look in seen:
            detections.append(look.found)
            looks.append(look.worn)
            sights.append(look.sight)
            for other in others.values():
                other.see(look.found, look.frame.bgr)

    for frame in read_frames(clip.path):
        if frame.index % every == 0:
            keep(eye.see(frame))
            boxes = detections[-1].xyxy
        evidence.append(observer.observe(frame.index, frame.time_s, frame.bgr, boxes))
    keep(eye.last())
    view = solve_clip(evidence)
    times = np.array([e.time_s for e in evidence])
    start = perf_counter()
    tracks = track(detections, clip.size_px, view.frame_index, times, looks, view.field_from_image, view.sigma_yd,
                   image_motion(evidence))
    seconds = {"ours": perf_counter() - start, **{name: other.seconds for name, other in others.items()}}
    dressed, = dress([Wardrobe(tracks, detections, looks, sights)])
    ours = {
        int(k): (tracks.track_id[tracks.frame_index == k],
                 np.clip(tracks.xyxy[tracks.frame_index == k], 0, [*clip.size_px] * 2))
        for k in np.unique(tracks.frame_index)}
    kit_of = dict(zip(dressed.track_id.tolist(), dressed.kit_id.tolist(), strict=True))
    frames = [k for k in view.frame_index.tolist() if k % every == 0]
    rows = {"ours": ours, **{name: held(other.rows, frames) for name, other in others.items()}}
    return Followed(rows, seconds, right_kits(clip, ours, kit_of), off_yd(clip, tracks, locate(tracks, view)), frames)


def held(rows: Rows, frames: Sequence[int]) -> Rows:
    """Where nobody looked, because all were waiting, the others' boxes stay where they were."""
    out, last = dict(rows), (np.zeros(0, np.int64), np.zeros((0, 4)))
    for k in frames:
        last = out.setdefault(k, last)
    return out


def right_kits(clip: Clip, ours: Rows, kit_of: dict[int, int]) -> float:
    """Share of tracks mostly on a player in a team's shirt whose cluster means that shirt."""
    seen: dict[int, Counter[int]] = {}
    for k, (ids, boxes) in ours.items():
        overlap = iou(boxes, clip.truth[k][1])
        for row, column in zip(*linear_sum_assignment(-overlap), strict=True):
            if overlap[row, column] > 0.4:
                seen.setdefault(int(ids[row]), Counter())[int(clip.truth[k][0][column])] += 1
    worn = {i: clip.kit[c.most_common(1)[0][0]] for i, c in seen.items()}
    worn = {i: kit for i, kit in worn.items() if kit in ("home", "away", "pinnie")}
    votes: dict[int, Counter[str]] = {}
    for i, kit in worn.items():
        votes.setdefault(kit_of[i], Counter())[kit] += 1
    meaning = {kit: v.most_common(1)[0][0] for kit, v in votes.items() if kit in (0, 1)}
    return float(np.mean([meaning.get(kit_of[i]) == kit for i, kit in worn.items()])) if worn else float("nan")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="200:202")
    parser.add_argument("--folder", type=Path, help="keep the rendered reps here, one folder a seed")
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--every", type=int, default=2)
    arguments = parser.parse_args()
    first, last = map(int, arguments.seeds.split(":"))
    detector = load_detector(arguments.weights, threads=2, min_confidence=TRACKED_CONFIDENCE)
    table: dict[tuple[str, str], list[dict[str, float]]] = {}
    kits: list[float] = []
    off: list[np.ndarray] = []
    with tempfile.TemporaryDirectory() as temporary:
        for seed in range(first, last):
            for clip in clips(simulate(seed, 1, (arguments.folder or Path(temporary)) / str(seed))):
                found = follow(clip, detector, arguments.every)
                kits.append(found.kits)
                off.append(found.off_yd)
                for name, rows in found.rows.items():
                    for crowd, asked in (("everybody", None), ("players in space", IN_SPACE)):
                        told = {**score(clip, rows, found.frames, asked), "seconds": found.seconds[name]}
                        table.setdefault((crowd, name), []).append(told)
                whole = {name: round(table["everybody", name][-1]["idf1"], 3) for name in found.rows}
                ours = table["everybody", "ours"][-1]
                print(f"seed {seed} {clip.path.stem}: IDF1 {whole}, HOTA {ours['hota']:.3f}, {ours['switches']:.0f} switches, "
                      f"kits {found.kits:.3f}, yards off {_spread(found.off_yd)}", flush=True)
    for (crowd, name), told in table.items():
        print(f"{crowd:17s} {name:10s}", "  ".join(f"{key} {np.mean([t[key] for t in told]):.3f}" for key in told[0]))
    print(f"kits right: mean {np.nanmean(kits):.3f}, worst {np.nanmin(kits):.3f}")
    print(f"yards off: {_spread(np.concatenate(off))}")


def _spread(off: np.ndarray) -> str:
    if not len(off):
        return "not known"
    far, sigma = off.T
    return (f"{np.median(far):.2f} median, {np.percentile(far, 95):.2f} at 95%, "
            f"{np.sqrt((far**2).mean() / 2 / (sigma**2).mean()):.2f} of the sigma told")


if __name__ == "__main__":
    main()
