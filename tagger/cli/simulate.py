"""deepthird simulate: practice reps with exact truth."""

from __future__ import annotations

from pathlib import Path

import click

from tagger.cli.console import print_json, progress, say
from tagger.cli.options import json_option

VIEWS = ("sideline", "end-zone")


@click.command("simulate")
@click.option("--seed", type=click.IntRange(0), required=True, help="The same seed gives the same reps.")
@click.option("--count", type=click.IntRange(1), required=True, help="How many reps.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="Folder to write them to.")
@click.option("--views", type=click.Choice((*VIEWS, "both")), default="both", show_default=True, help="Which cameras.")
@click.option("--jobs", type=click.IntRange(1, 256), default=1, show_default=True, help="Processes at once.")
@json_option
def simulate_command(seed: int, count: int, out: Path, views: str, jobs: int, as_json: bool) -> int:
    """Render practice reps of an invented club, with truth.json beside each.

    What comes out is graded by: deepthird score OUT.
    """
    from demo_clips.simulate import simulate

    chosen = VIEWS if views == "both" else (views,)
    with progress(count, "simulating") as tell:
        simulate(seed, count, out, views=chosen, workers=jobs, progress=lambda done, of: tell(done / of, f"rep {done} of {of}"))
    reps = sorted(path.parent.name for path in out.glob("*/truth.json"))
    if as_json:
        print_json({"out": str(out), "seed": seed, "reps": reps})
    else:
        say(f"{count} rep(s) in {out}. Next: deepthird tag {out}, deepthird score {out}")
    return 0
