"""Options that several commands have."""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar, cast

import click

DEFAULT_LIBRARY = Path("deepthird-library")
LEVELS = ("auto", "high-school", "college", "pro")

Command = TypeVar("Command", bound=Callable[..., Any])

PATH = click.Path(path_type=Path)
EXISTING_PATH = click.Path(exists=True, path_type=Path)


def library_option(command: Command) -> Command:
    """--library, from the environment's DEEPTHIRD_LIBRARY."""
    return click.option(
        "--library", type=click.Path(file_okay=False, path_type=Path), envvar="DEEPTHIRD_LIBRARY", show_envvar=True,
        default=DEFAULT_LIBRARY, show_default=f"./{DEFAULT_LIBRARY}", help="The library's folder.")(command)


script_option = click.option(
    "--script", type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Practice script (CSV); a practice-script.csv beside the film is found by itself.")


def _named_columns(_context: click.Context, _option: click.Parameter, words: tuple[str, ...]) -> dict[str, str]:
    if not words:
        return {}
    from tagger.batch.script import parse_columns

    try:
        return parse_columns(words)
    except ValueError as wrong:
        raise click.BadParameter(str(wrong)) from None


column_option = click.option(
    "--column", "columns", multiple=True, metavar="FIELD=COLUMN", callback=_named_columns,
    help="Which column of the practice script is what: --column \"call=Cov Called\". Kept in the library for the next time.")


def tagging_options(command: Command) -> Command:
    """--level, --weights, --thorough, --device: how film is looked at, as one argument `options`."""
    @functools.wraps(command)
    def looked(*args: Any, level: str, weights: Path | None, thorough: bool, device: str, **more: Any) -> Any:
        from tagger.options import TagOptions

        if weights and thorough:
            raise click.UsageError("--thorough takes the larger detector that comes along, --weights another; give one of them")
        options = TagOptions(weights, device, None if level == "auto" else level, thorough=thorough)
        return command(*args, options=options, **more)

    wrapped: Any = looked
    for option in (
        click.option("--device", default="cpu", show_default=True, help="Where the detector runs: cpu, or a GPU's name."),
        click.option("--weights", type=click.Path(exists=True, dir_okay=False, path_type=Path),
                     help="Another detector (.onnx or .pt)."),
        click.option("--thorough", is_flag=True,
                     help="The larger detector: misses fewer of the men hidden on the line, takes half as long again."),
        click.option("--level", type=click.Choice(LEVELS), default="auto", show_default=True,
                     help="Level of play, for the hash marks; auto reads it off the field."),
    ):
        wrapped = option(wrapped)
    return cast("Command", wrapped)


def jobs_option(command: Command) -> Command:
    """--jobs: how many cores the work may take."""
    return click.option("--jobs", type=click.IntRange(1, 256), default=None, show_default="all cores",
                        help="Clips at once, each in a process on one core of its own.")(command)


def limit_options(command: Command) -> Command:
    """--time-limit, --memory-limit, --tries, --side-limit, as one argument `bounds`."""
    @functools.wraps(command)
    def bounded(*args: Any, time_limit: float, memory_limit: float | None, tries: int, side_limit: int, **more: Any) -> Any:
        from tagger.batch.limits import GIB, Bounds

        memory_bytes = None if memory_limit is None else int(memory_limit * GIB)
        return command(*args, bounds=Bounds(60.0 * time_limit, memory_bytes, tries, side_limit), **more)

    wrapped: Any = bounded
    for option in (
        click.option("--side-limit", type=click.IntRange(16, 8192), default=8192, show_default=True, metavar="PX",
                     help="Film with a picture of a longer side is refused."),
        click.option("--tries", type=click.IntRange(1, 20), default=2, show_default=True,
                     help="A clip that crashes, hangs or takes too much is set aside after so many."),
        click.option("--memory-limit", type=click.FloatRange(0.5), default=None, show_default="the machine's share, 4 at most",
                     metavar="GIB", help="Memory that a clip's process may take; more, and it is stopped."),
        click.option("--time-limit", type=click.FloatRange(0.1), default=180.0, show_default=True, metavar="MINUTES",
                     help="Time that a clip may take; longer, and it is stopped."),
    ):
        wrapped = option(wrapped)
    return cast("Command", wrapped)


def _address(_context: click.Context, _parameter: click.Parameter, value: str | None) -> str | None:
    if value in (None, "local") or re.fullmatch(r"(\w+://)?[^/\s]+:\d+", value or ""):
        return value
    raise click.BadParameter(f"{value!r} is no HOST:PORT; for a cluster on this machine put --cluster at the end, or write "
                             "--cluster=local")


def cluster_option(command: Command) -> Command:
    """--cluster, with or without an address."""
    return click.option("--cluster", is_flag=False, flag_value="local", default=None, metavar="[HOST:PORT]", callback=_address,
                        help="Work on a Dask cluster (its scheduler's address; none: one made on this machine).")(command)


def json_schema(name: str) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of what a command prints with --json."""
    folder = files("tagger.cli").joinpath("json_schemas")
    schema: dict[str, Any] = json.loads(folder.joinpath(f"{name}.json").read_text(encoding="utf-8"))
    if "#/$defs/reading" in json.dumps(schema):
        schema["$defs"] = {"reading": json.loads(folder.joinpath("reading.json").read_text(encoding="utf-8"))}
    return schema


def _print_schema(context: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
    if wanted:
        click.echo(json.dumps(json_schema(context.command.name or ""), indent=1))
        context.exit()


def json_option(command: Command) -> Command:
    """--json, and --json-schema, which says what it prints."""
    command = click.option("--json-schema", is_flag=True, is_eager=True, expose_value=False, callback=_print_schema,
                           help="Print the JSON Schema of --json and do nothing else.")(command)
    return click.option("--json", "as_json", is_flag=True, help="Print JSON on stdout, and nothing else there.")(command)
