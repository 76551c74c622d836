"""Torso facing, shirt numbers and kits on rendered reps nobody trained on, from pixels, beside what needs no network.

    python tests/bench/bench_looks.py --seeds 9501:9503 [--count 3] [--folder DIR] [--joined]

Every clip is tagged as the product does it; the truth is only held against what came out. Facing: error by the size of the box on
film, flips (off by more than 90 degrees) and the share answered, of players' tracks; beside it the direction in which a man
runs, where he does. Numbers: of the players' tracks, how many are answered and how many of these rightly; beside it the single
best look. Kits: share of the players' tracks whose kit means their shirt; beside it colours alone, without the crops.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from demo_clips.simulate import simulate
from tagger.options import TagOptions
from tagger.people import on_field
from tagger.pipeline import TaggedClip, tag_clip
from tagger.two_views import join_views
from vision.boxes import iou
from vision.facing import whose
from vision.numbers import likelihood
from vision.outfits import Wardrobe, dress
from vision.types import Tracks

SAME_BOX_IOU = 0.5
SIZES_PX = ((20, 40), (40, 60), (60, 90), (90, 1000), (40, 1000))
RUNNING_YD_S = 2.5
LEAST_ROWS = 15


@dataclass(frozen=True)
class Row:
    """One man of the rep in one frame: the tagger's facing and his course, how far each is off (rad, NaN where open)."""

    tall_px: float
    off: float
    course_off: float


@dataclass(frozen=True)
class Man:
    """One player's track: which kit and number he wears, and what was said of him; `alone` without the networks."""

    kit: str
    number: int
    told_kit: int
    told_kit_alone: int
    told_number: int | None
    best_look: int | None


def clips(folder: Path, joined: bool) -> Iterator[tuple[TaggedClip, dict[str, Any], dict[str, Any]]]:
    """Each tagged view with its rep's truth and its view's."""
    for file in sorted(folder.glob("rep-*/truth.json")):
        told = json.loads(file.read_text())
        tagged = [tag_clip(file.parent / view["file"]) for view in told["clips"]]
        if joined and len(tagged) == 2:
            tagged = list(join_views(tagged, TagOptions()))
        for clip, view in zip(tagged, told["clips"], strict=True):
            if len(clip.field_tracks):
                yield clip, told, view


def owners(tracks: Tracks, view: dict[str, Any]) -> dict[tuple[int, int], tuple[str, float]]:
    """(frame, track) -> the person whose box it is, and that box's height."""
    found = {}
    for frame in view["frames"]:
        mine = np.flatnonzero(tracks.frame_index == frame["index"])
        boxes = np.array([row[1:5] for row in frame["boxes"]], dtype=float).reshape(-1, 4)
        if len(mine) and len(boxes):
            overlap = iou(tracks.xyxy[mine].astype(float), boxes)
            for i, j in zip(*linear_sum_assignment(-overlap), strict=True):
                if overlap[i, j] > SAME_BOX_IOU:
                    key = frame["index"], int(tracks.track_id[mine[i]])
                    found[key] = frame["boxes"][j][0], float(boxes[j, 3] - boxes[j, 1])
    return found


def field_turn(clip: TaggedClip, view: dict[str, Any]) -> float:
    """The half-turn between the tagger's field and the truth's: where the view looks up the picture."""
    row = int(np.flatnonzero(clip.view.status > 0)[0])
    truth = np.linalg.inv(np.array(view["frames"][int(clip.view.frame_index[row])]["image_from_field"]).reshape(3, 3))
    width, height = clip.view.image_size_px
    spots = np.array([[width / 2, 0.6 * height, 1.0], [width / 2, 0.6 * height - 20, 1.0]])
    steps = []
    for matrix in (truth, clip.view.field_from_image[row]):
        mapped = spots @ matrix.T
        steps.append(np.diff(mapped[:, :2] / mapped[:, 2:], axis=0)[0])
    return float(np.pi) if steps[0] @ steps[1] < 0 else 0.0


def turned(angle: np.ndarray, by: np.ndarray | float) -> np.ndarray:
    return np.abs((angle - by + np.pi) % (2 * np.pi) - np.pi)


def facing_rows(clip: TaggedClip, told: dict[str, Any], view: dict[str, Any]) -> list[Row]:
    """Every observed row of a player's track."""
    side = {p["player_id"]: p["side"] for p in told["players"]}
    at = {p: k for k, p in enumerate(told["tracks"]["player_id"])}
    time_s, facing = np.array(told["tracks"]["time_s"]), np.unwrap(np.array(told["tracks"]["facing_rad"], dtype=float), axis=1)
    who, turn, tracks = owners(clip.tracks, view), field_turn(clip, view), clip.field_tracks
    rows = []
    for man in np.unique(tracks.track_id):
        mine = np.flatnonzero((tracks.track_id == man) & tracks.observed)
        velocity = np.gradient(tracks.xy_yd[mine], tracks.time_s[mine], axis=0) if len(mine) > 2 else np.zeros((len(mine), 2))
        runs = np.hypot(*velocity.T) > RUNNING_YD_S
        course = np.where(runs, np.arctan2(velocity[:, 1], velocity[:, 0]), np.nan)
        for k, row in enumerate(mine):
            person, tall = who.get((int(tracks.frame_index[row]), int(man)), ("", 0.0))
            if side.get(person, "other") != "other":
                true = np.interp(tracks.time_s[row], time_s, facing[at[person]]) + turn
                rows.append(Row(tall, float(turned(tracks.facing_rad[row], true)), float(turned(course[k], true))))
    return rows


def men(clip: TaggedClip, told: dict[str, Any], view: dict[str, Any]) -> list[Man]:
    """Every track that is mostly on one player of the rep."""
    people = {p["player_id"]: p for p in told["players"]}
    votes: dict[int, Counter[str]] = {}
    for (_, man), (person, _) in owners(clip.tracks, view).items():
        votes.setdefault(man, Counter())[person] += 1
    alone, = dress([Wardrobe(clip.tracks, clip.shot.detections, clip.shot.appearance or ())], on_field(clip.field_tracks))
    kit, kit_alone = (dict(zip(t.track_id.tolist(), t.kit_id.tolist(), strict=True)) for t in (clip.tracks, alone))
    single = best_looks(clip)
    found = []
    for man, count in votes.items():
        person, rows = count.most_common(1)[0]
        if people[person]["side"] != "other" and rows >= LEAST_ROWS:
            number = clip.numbers[man].number if man in clip.numbers else None
            found.append(Man(people[person]["kit"], people[person]["number"], kit[man], kit_alone[man], number, single.get(man)))
    return found


def best_looks(clip: TaggedClip) -> dict[int, int]:
    """The number that each track's most readable look shows."""
    looked, best = whose(clip.tracks, clip.shot.detections), dict[int, tuple[float, int]]()
    for entry, box, man in zip(looked.entry.tolist(), looked.box.tolist(), looked.track_id.tolist(), strict=True):
        sight = clip.sights[entry]
        if sight is not None and sight.readable[box] > max(0.5, best.get(man, (0.0, 0))[0]):
            best[man] = float(sight.readable[box]), int(likelihood(sight, box).argmax())
    return {man: number for man, (_, number) in best.items()}


def right_kits(people: Sequence[Man], alone: bool) -> tuple[int, int]:
    """(right, all): a kit means the shirt that most of its men wear. One clip."""
    worn = [(m.told_kit_alone if alone else m.told_kit, m.kit) for m in people if m.kit in ("home", "away", "pinnie")]
    votes: dict[int, Counter[str]] = {}
    for kit, shirt in worn:
        votes.setdefault(kit, Counter())[shirt] += 1
    meaning = {kit: count.most_common(1)[0][0] for kit, count in votes.items() if kit in (0, 1)}
    return sum(meaning.get(kit) == shirt for kit, shirt in worn), len(worn)


def report(rows: Sequence[Row], teams: Sequence[Sequence[Man]], seconds: dict[str, float]) -> str:
    tall, off, course = (np.array([getattr(row, name) for row in rows]) for name in ("tall_px", "off", "course_off"))
    lines = ["facing               answered  median  flips   course: answered  median  flips"]
    for low, high in SIZES_PX:
        mine = (tall >= low) & (tall < high)
        cells = []
        for what in (off, course):
            told = np.degrees(what[mine & np.isfinite(what)])
            cells += [f"{len(told) / max(mine.sum(), 1):8.3f}", f"{np.median(told):7.1f}" if len(told) else "      -",
                      f"{np.mean(told > 90):6.3f}" if len(told) else "     -"]
        lines.append(f"{low:4d} to {high:4d} px {mine.sum():6d} " + " ".join(cells))
    everybody = [man for team in teams for man in team]
    worn = [man for man in everybody if man.kit != "pinnie"]
    for name, told in (("by vote", [m.told_number for m in worn]), ("best look", [m.best_look for m in worn])):
        answered = [(said, man.number) for said, man in zip(told, worn, strict=True) if said is not None]
        right = np.mean([said == number for said, number in answered]) if answered else float("nan")
        lines.append(f"numbers {name}: of {len(worn)} tracks {len(answered) / max(len(worn), 1):.3f} answered, {right:.3f} right")
    for name, alone in (("with crops", False), ("colours alone", True)):
        right_of, of = np.sum([right_kits(team, alone) for team in teams], axis=0)
        lines.append(f"kits {name}: {right_of / of:.3f} of {of} tracks right")
    lines.append(f"looking: {seconds.get('looks', 0) / max(seconds.get('detection', 0), 1e-9):.3f} of the detector's time")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="9501:9502")
    parser.add_argument("--count", type=int, default=3)
    parser.add_argument("--folder", type=Path, help="keep the rendered reps here, one folder a seed")
    parser.add_argument("--joined", action="store_true", help="read both views as one")
    given = parser.parse_args()
    first, last = map(int, given.seeds.split(":"))
    rows: list[Row] = []
    teams: list[list[Man]] = []
    seconds: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as temporary:
        for seed in range(first, last):
            folder = (given.folder or Path(temporary)) / str(seed)
            if not any(folder.glob("rep-*/truth.json")):
                simulate(seed, given.count, folder)
            for clip, told, view in clips(folder, given.joined):
                rows += facing_rows(clip, told, view)
                teams.append(men(clip, told, view))
                seconds = {stage: seconds.get(stage, 0.0) + spent for stage, spent in clip.seconds.items()} | {
                    stage: spent for stage, spent in seconds.items() if stage not in clip.seconds}
    print(report(rows, teams, seconds))


if __name__ == "__main__":
    main()
