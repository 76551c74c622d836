"""What the README tells to type can be typed, and every command is told of."""

from __future__ import annotations

import re
import shlex
from itertools import takewhile
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
    return [words(call) for line in lines for call in re.findall(r"(?:^|[\s/])deepthird((?: .*)?)$", line)]


def words(call: str) -> list[str]:
    """Up to where the shell would end the command."""
    lexer = shlex.shlex(call, posix=True, punctuation_chars="|&;<>")
    lexer.whitespace_split = True
    return list(takewhile(lambda word: not set(word) <= set("|&;<>"), lexer))


CALLS = [call for call in documented() if call]


def test_the_readme_has_calls() -> None:
    assert CALLS


@pytest.mark.parametrize("call", CALLS, ids=" ".join)
def test_a_documented_call_is_a_real_one(call: list[str]) -> None:
    if call[0].startswith("-"):
        return
    assert call[0] in main.commands, f"deepthird {call[0]} is no command"
    known = {name for p in main.commands[call[0]].params if isinstance(p, click.Option) for name in (*p.opts, *p.secondary_opts)}
    for word in call[1:]:
        if word.startswith("--"):
            assert word.split("=")[0] in {*known, "--help"}, f"deepthird {call[0]} has no {word}"


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_is_documented(name: str) -> None:
    assert any(call[0] == name for call in CALLS), f"the README does not tell of deepthird {name}"
