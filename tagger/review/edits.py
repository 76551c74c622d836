"""What the page may ask to change, checked before it comes near the library: shapes, lengths, finite numbers, plain text."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, JsonValue

MAX_NESTING = 5
MAX_ITEMS = 120
"""Of a list: a frame may show so many people."""
MAX_TEXT = 200


def _plain(value: Any, depth: int = 0) -> Any:
    """The JSON value itself. Raises ValueError where it is nested, long or odd beyond what a correction needs."""
    if depth > MAX_NESTING:
        raise ValueError("nested too deep")
    if isinstance(value, str):
        _text(value)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        if not math.isfinite(value) or abs(value) > 1e9:
            raise ValueError("not a sensible number")
    elif isinstance(value, list | dict):
        if len(value) > MAX_ITEMS:
            raise ValueError("too many parts")
        for part in value.values() if isinstance(value, dict) else value:
            _plain(part, depth + 1)
        if isinstance(value, dict):
            for key in value:
                _text(key)
    return value


def _text(text: str) -> str:
    if len(text) > MAX_TEXT or not all(character.isprintable() for character in text):
        raise ValueError(f"wanted up to {MAX_TEXT} printable characters")
    return text


Plain = Annotated[JsonValue, AfterValidator(_plain)]
Text = Annotated[str, Field(max_length=MAX_TEXT), AfterValidator(_text)]
Who = Annotated[str, Field(min_length=1, max_length=60), AfterValidator(_text)]
Version = Annotated[int, Field(ge=0, lt=2**53)]


class Edit(BaseModel):
    """One fix: `subject` "rep", "defender:<player>", "player:<player>", "event" or "clip:<fingerprint>"."""

    model_config = ConfigDict(extra="forbid")

    subject: Text
    field: Text
    after: Plain


class Edits(BaseModel):
    """Fixes that belong together, made on the rep as it stood at `version`."""

    model_config = ConfigDict(extra="forbid")

    version: Version
    who: Who
    reason: Text = ""
    edits: Annotated[list[Edit], Field(min_length=1, max_length=20)]


class Undo(BaseModel):
    """Take correction `correction_id` back; an undo can itself be taken back."""

    model_config = ConfigDict(extra="forbid")

    version: Version
    who: Who
    correction_id: Annotated[int, Field(ge=1, lt=2**53)]


class Reread(BaseModel):
    """Infer anew what depends on the coach's word as it stands at `version`."""

    model_config = ConfigDict(extra="forbid")

    version: Version
