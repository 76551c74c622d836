"""The learned numbers that read a play as a whole (models/play.json): when the ball was out, what kind of play it was."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

import models
from vision.types import FloatArray

LINEARS = ("kind", "rush", "front")
CLIP_SD = 5.0
"""Measures farther than this from their mean tell no more than those that are so far."""


@dataclass(frozen=True)
class Linear:
    """A (multinomial) logit: measures (M,) are centred by `mean`, divided by `sd`, then `weight` (C, M) and `bias` (C,)."""

    mean: FloatArray
    sd: FloatArray
    weight: FloatArray
    bias: FloatArray

    def logits(self, row: FloatArray) -> FloatArray:
        """(C,) logits of one row of measures; a NaN counts as the mean."""
        out: FloatArray = self.weight @ np.nan_to_num((row - self.mean) / self.sd) + self.bias
        return out


@dataclass(frozen=True)
class Layered:
    """A logit with one hidden layer: measures (M,) are centred by `mean`, divided by `sd`, then tanh(`hidden` (H, M) x +
    `hidden_bias` (H,)) is weighed by `weight` (H,) and x itself by `straight` (M,). A NaN counts as the mean. `none` (1,) is the
    logit of that it is none of the rows."""

    mean: FloatArray
    sd: FloatArray
    hidden: FloatArray
    hidden_bias: FloatArray
    weight: FloatArray
    straight: FloatArray
    none: FloatArray

    def logits(self, rows: FloatArray) -> FloatArray:
        """(...,) logits of (..., M) measures."""
        scaled = np.nan_to_num(np.clip((rows - self.mean) / self.sd, -CLIP_SD, CLIP_SD))
        out: FloatArray = np.tanh(scaled @ self.hidden.T + self.hidden_bias) @ self.weight + scaled @ self.straight
        return out


@dataclass(frozen=True)
class PlayBook:
    """`throw` tells the moment of the throw and its target; `kind` one for each of PLAY_KINDS; `rush` one, a man rushes;
    `front` one, these are the linemen and the passer; `rush_count` (12,) the log share of reps with 0, 1, ... rushers."""

    throw: Layered
    kind: Linear
    rush: Linear
    front: Linear
    rush_count: FloatArray


def parse_playbook(text: str) -> PlayBook:
    """Read the learned numbers."""
    data = json.loads(text)
    kind, rush, front = (Linear(**_arrays(data[name])) for name in LINEARS)
    return PlayBook(Layered(**_arrays(data["throw"])), kind, rush, front, np.array(data["rush_count"], dtype=float))


def _arrays(entry: dict[str, Any]) -> dict[str, FloatArray]:
    return {name: np.array(values, dtype=float) for name, values in entry.items() if name != "measures"}


def format_playbook(book: PlayBook, measures: dict[str, tuple[str, ...]]) -> str:
    """The inverse of `parse_playbook`, with the measures' names for the reader."""
    blocks = []
    for name in ("throw", *LINEARS):
        numbers = vars(getattr(book, name))
        entry = {"measures": list(measures[name])} | {key: np.round(value, 4).tolist() for key, value in numbers.items()}
        lines = ",\n".join(f"  {json.dumps(key)}: {json.dumps(value)}" for key, value in entry.items())
        blocks.append(f"{json.dumps(name)}: {{\n{lines}\n}}")
    blocks.append(f'"rush_count": {json.dumps(np.round(book.rush_count, 3).tolist())}')
    return "{\n" + ",\n".join(blocks) + "\n}\n"


@lru_cache(maxsize=1)
def shipped_playbook() -> PlayBook:
    """The numbers of this installation's models folder."""
    return parse_playbook(models.path("play.json").read_text(encoding="utf-8"))
