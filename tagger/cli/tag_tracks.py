"""deepthird tag-tracks: the football part alone, on tracks that came from elsewhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import print_json, print_table, progress, say
from tagger.cli.options import json_option

if TYPE_CHECKING:
    from tagger.football.types import Reading


@click.command("tag-tracks")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@json_option
def tag_tracks_command(file: Path, as_json: bool) -> int:
    """Tag player tracks from a CSV or Parquet file, without film.

    Columns: play_id, time_s, player_id, side (offense or defense), x_yd (yards past the line of scrimmage toward the defense),
    y_yd (yards from the left sideline as the offense looks downfield); optional position, facing_rad, event (ball_snap marks
    the snap).
    """
    from tagger.cli.tag import summary_row
    from tagger.football import read_play
    from tagger.library import reading_to_json
    from tagger.tracks_table import read_plays

    plays = read_plays(file)
    readings: list[tuple[str, Reading]] = []
    failures: list[str] = []
    with progress(len(plays), "reading plays") as tell:
        for number, (play_id, play) in enumerate(plays, start=1):
            if isinstance(play, str):
                failures.append(f"{file}: play {play_id}: {play}")
                say(f"deepthird: {failures[-1]}")
            else:
                readings.append((play_id, read_play(play)))
            tell(number / len(plays), play_id)
    if as_json:
        found: dict[str, Any] = {"reps": [{"play_id": name, **reading_to_json(reading)} for name, reading in readings]}
        print_json(found | {"failed": failures})
    else:
        print_table(("play", "snap", "shell", "family", "sure", "deep men", "events"), [summary_row(*one) for one in readings])
    return 1 if failures else 0
