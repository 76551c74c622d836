"""Writes the ready clips of the invented club beside this file: `python -m demo_clips.ready`."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from demo_clips.simulate import simulate

SEED = 2011
REPS = 5
QUALITY = 28
LARGEST_CLIP_BYTES = 3 << 20
DOWN_AND_DISTANCE = {"rep-001": (3, 8)}
"""The script of the day is the coach's: what he had drawn up as third and long."""


def write_ready_clips(out_dir: Path) -> Path:
    """Render the five reps from both cameras into `out_dir`, in place of what reps are there.

    Raises ValueError if a clip comes out too large to be shipped.
    """
    for old in out_dir.glob("rep-*"):
        shutil.rmtree(old)
    simulate(
        SEED, REPS, out_dir, workers=1, options={"own_club": True, "level": "high-school", "rate": "29.97", "quality": QUALITY}
    )
    for rep, (down, distance_yd) in DOWN_AND_DISTANCE.items():
        redraw(out_dir, rep, down, distance_yd)
    for clip in sorted(out_dir.glob("rep-*/*.mp4")):
        if clip.stat().st_size > LARGEST_CLIP_BYTES:
            raise ValueError(f"{clip}: {clip.stat().st_size} bytes, more than {LARGEST_CLIP_BYTES}; raise QUALITY")
    return out_dir


def redraw(out_dir: Path, rep: str, down: int, distance_yd: int) -> None:
    """Write another down and distance into the truth and the practice script of one rep."""
    truth_file, script_file = out_dir / rep / "truth.json", out_dir / "practice-script.csv"
    truth = json.loads(truth_file.read_text())
    truth["situation"] |= {"down": down, "distance_yd": distance_yd}
    truth_file.write_text(json.dumps(truth, separators=(",", ":")))
    lines = [line.split(",") for line in script_file.read_text().splitlines()]
    columns = {name: lines[0].index(name) for name in ("rep", "down", "distance")}
    for line in lines[1:]:
        if line[columns["rep"]] == rep:
            line[columns["down"]], line[columns["distance"]] = str(down), str(distance_yd)
    script_file.write_text("".join(",".join(line) + "\n" for line in lines))


if __name__ == "__main__":
    print(write_ready_clips(Path(__file__).parent))
