"""Weights, coverage definitions and learned tables: data. `path(name)` finds one wherever the package is installed."""

from pathlib import Path


def path(name: str) -> Path:
    """Path of a file of this folder. Raises FileNotFoundError with a clear line if it is not there."""
    found = Path(__file__).parent / name
    if not found.is_file():
        raise FileNotFoundError(f"{found}: not in the models folder of this installation")
    return found
