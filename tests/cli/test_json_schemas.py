"""What --json prints fits the schema that --json-schema prints (JSON Schema draft 2020-12)."""

from __future__ import annotations

import json
from collections.abc import Callable

import click
import jsonschema
import pytest
from click.testing import Result

from tagger.cli import main

Run = Callable[..., Result]
WITH_JSON = sorted(
    name
    for name, command in main.commands.items()
    if any("--json" in p.opts for p in command.params if isinstance(p, click.Option))
)


def schema_of(run: Run, name: str) -> dict[str, object]:
    printed = run(name, "--json-schema")
    assert printed.exit_code == 0
    schema: dict[str, object] = json.loads(printed.stdout)
    return schema


@pytest.mark.parametrize("name", WITH_JSON)
def test_every_json_has_a_sound_schema(run: Run, name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema_of(run, name))


@pytest.mark.parametrize(
    "words",
    [
        ["reps"],
        ["reps", "--sql", "SELECT * FROM reps"],
        ["reps", "--searches"],
        ["show", "rep-001"],
        ["show", "rep-003"],
    ],
    ids=" ".join,
)
def test_output_fits_its_schema(run: Run, words: list[str]) -> None:
    printed = run(*words, "--json")
    assert printed.exit_code == 0
    jsonschema.validate(json.loads(printed.stdout), schema_of(run, words[0]))


def test_a_schema_refuses_what_is_wrong(run: Run) -> None:
    value = json.loads(run("show", "rep-001", "--json").stdout)
    value["defenders"][0]["intervals"][0]["area"] = "deep left"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(value, schema_of(run, "show"))
