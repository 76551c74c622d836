"""What the README tells to type can be typed, and every command is told of."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from tagger.cli import main

README = Path(__file__).parents[2] / "README.md"


def documented() -> list[list[str]]:
    """The words of each `deepthird ...` in the README's code, without what a shell would make of the rest."""
    text = README.read_text(encoding="utf-8")
    code = re.findall(r"```[a-z]*\n(.*?)```", text, re.DOTALL) + re.findall(
        r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    )
    lines = [line for block in code for line in block.replace("\\\n", " ").splitlines()]
    calls = [match for line in lines for match in re.findall(r"(?:^|[\s/])deepthird((?: [^|&;<>#]+)?)", line)]
    return [shlex.split(call) for call in calls]


CALLS = [words for words in documented() if words]


def test_the_readme_has_calls() -> None:
    assert CALLS


@pytest.mark.parametrize("words", CALLS, ids=" ".join)
def test_a_documented_call_is_a_real_one(words: list[str]) -> None:
    if words[0].startswith("-"):
        return
    assert words[0] in main.commands, f"deepthird {words[0]} is no command"
    known = {name for p in main.commands[words[0]].params if isinstance(p, click.Option) for name in (*p.opts, *p.secondary_opts)}
    for word in words[1:]:
        if word.startswith("--"):
            assert word.split("=")[0] in {*known, "--help"}, f"deepthird {words[0]} has no {word}"


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_is_documented(name: str) -> None:
    assert any(words[0] == name for words in CALLS), f"the README does not tell of deepthird {name}"
