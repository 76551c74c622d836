"""deepthird score: tags a folder that has truth and prints every metric."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import Tell, print_json, print_table, progress, say
from tagger.cli.options import jobs_option, json_option, tagging_options

if TYPE_CHECKING:
    from tagger.options import TagOptions
    from tagger.scoring import Scored, Truth

DETECTED_FRAMES_PER_CLIP = 12
"""On so many frames of each clip, evenly spread, the detector is asked alone: its AP needs few frames of many clips."""


@click.command("score")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path), metavar="DIR")
@click.option("--tracks", is_flag=True, help="Give the true tracks to the football part: what it does when nobody is missed.")
@tagging_options
@click.option("--no-script", is_flag=True, help="Leave out the practice script: its call names what is to be found.")
@jobs_option
@click.option("--save", type=click.Path(file_okay=False, path_type=Path),
              help="Keep each clip's output here as JSON; what is kept there already is not tagged again.")
@json_option
def score_command(folder: Path, tracks: bool, options: TagOptions, no_script: bool, jobs: int | None, save: Path | None,
                  as_json: bool) -> int:
    """Tag a folder that has truth.json files, and print every metric."""
    from tagger.scoring import find_truths, load_truth, report

    truths = [load_truth(path) for path in find_truths(folder)]
    failures: list[str] = []
    with progress(len(truths), "scoring") as tell:
        if tracks:
            from tagger.cli.score_tracks import scored_tracks

            scored = []
            for number, truth in enumerate(truths):
                tell(number / len(truths), truth.rep)
                scored.append(scored_tracks(truth, not no_script))
        else:
            scored = _from_film(truths, options, not no_script, jobs, save, failures, tell)
    found = report(scored) | {"failed": failures}
    if as_json:
        print_json(found)
    else:
        _print(found)
    return 1 if failures else 0


def _from_film(truths: list[Truth], options: TagOptions, use_script: bool, jobs: int | None, save: Path | None,
               failures: list[str], tell: Tell) -> list[Scored]:
    from tagger.cli.scoring_run import Work, clip_outputs
    from tagger.scoring import Scored
    from tagger.scoring.predicted import SILENT, said_from_json

    work = [Work(truth, use_script, save) for truth in truths]
    scored = []
    for truth, outputs in clip_outputs(work, options, jobs, DETECTED_FRAMES_PER_CLIP, tell):
        values = [value for value in outputs if "failed" not in value]
        main = max(values, key=lambda value: value["worth"])["clip"] if values else None
        for clip, value in zip(truth.clips, outputs, strict=True):
            if "failed" in value:
                failures.append(value["failed"])
                say(f"deepthird: {value['failed']}")
                scored.append(Scored(truth, clip, SILENT, main is None and clip is truth.clips[0]))
            else:
                scored.append(Scored(truth, clip, said_from_json(value, clip.width_px), value["clip"] == main))
    return scored


def _print(found: Mapping[str, Any]) -> None:
    views: dict[str, Mapping[str, Any]] = {"all": found, **found.get("by_view", {})}
    if "by_rep" in found:
        views["by rep"] = found["by_rep"]
    rows = []
    for group, values in found.items():
        if isinstance(values, dict) and not group.startswith("by_"):
            rows += [(f"{group} {name}", *(_cell(view.get(group, {}).get(name)) for view in views.values()))
                     for name, value in values.items() if not isinstance(value, dict)]
    print_table(("metric", *views), rows)
    for name, row in sorted(found["family"]["confusion"].items()):
        click.echo(f"true {name}: " + ", ".join(f"{word} {n}" for word, n in sorted(row.items(), key=lambda pair: -pair[1])))
    for kind, values in found["events"]["by_kind"].items():
        click.echo(f"event {kind}: f1 {_cell(values['f1'])}, {values['said']} said, {values['true']} true")


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    return f"{value:.3f}" if isinstance(value, float) else str(value)
