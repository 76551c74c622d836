"""Writes the ready clips of the invented club beside this file: `python -m demo_clips.ready`."""

from __future__ import annotations

import shutil
from pathlib import Path

from demo_clips.simulate import simulate

SEED = 2011
REPS = 5
QUALITY = 28
LARGEST_CLIP_BYTES = 3 << 20


def write_ready_clips(out_dir: Path) -> Path:
    """Render the five reps from both cameras into `out_dir`, in place of what reps are there.

    Raises ValueError if a clip comes out too large to be shipped.
    """
    for old in out_dir.glob("rep-*"):
        shutil.rmtree(old)
    simulate(
        SEED, REPS, out_dir, workers=1, options={"own_club": True, "level": "high-school", "rate": "29.97", "quality": QUALITY}
    )
    for clip in sorted(out_dir.glob("rep-*/*.mp4")):
        if clip.stat().st_size > LARGEST_CLIP_BYTES:
            raise ValueError(f"{clip}: {clip.stat().st_size} bytes, more than {LARGEST_CLIP_BYTES}; raise QUALITY")
    return out_dir


if __name__ == "__main__":
    print(write_ready_clips(Path(__file__).parent))
