"""deepthird simulate: practice reps with exact truth."""

from __future__ import annotations

from pathlib import Path

import click

from tagger.cli.console import print_json, progress, say
from tagger.cli.options import json_option

VIEWS: dict[str, tuple[str, ...]] = {
    "both": ("sideline", "end-zone"), "sideline": ("sideline",), "end-zone": ("end-zone",), "low-sideline": ("low-sideline",),
    "none": (),
}


@click.command("simulate")
@click.option("--seed", type=click.IntRange(0), required=True, help="The same seed gives the same reps.")
@click.option("--count", type=click.IntRange(1), required=True, help="How many reps.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="Folder to write them to.")
@click.option("--views", type=click.Choice(list(VIEWS)), default="both", show_default=True,
              help="Which cameras; none writes the truth alone, for score --tracks.")
@click.option("--jobs", type=click.IntRange(1, 256), default=1, show_default=True, help="Processes at once.")
@json_option
def simulate_command(seed: int, count: int, out: Path, views: str, jobs: int, as_json: bool) -> int:
    """Render practice reps of an invented club, with truth.json beside each.

    What comes out is graded by: deepthird score OUT.
    """
    from demo_clips.simulate import simulate

    with progress(count, "simulating") as tell:
        simulate(seed, count, out, views=VIEWS[views], workers=jobs,
                 progress=lambda done, of: tell(done / of, f"rep {done} of {of}"))
    reps = sorted(path.parent.name for path in out.glob("*/truth.json"))
    if as_json:
        print_json({"out": str(out), "seed": seed, "reps": reps})
    else:
        following = f"deepthird tag {out}, deepthird score {out}" if VIEWS[views] else f"deepthird score {out} --tracks"
        say(f"{count} rep(s) in {out}. Next: {following}")
    return 0
