"""The command line: `deepthird`."""

from tagger.cli.group import main

__all__ = ["main"]
