"""A reading in another clock: every time moves, nothing else does."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import numpy as np

from tagger.football import read_play
from tagger.football.clock import in_clock

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))


def times_in(value: object, name: str = "") -> list[float]:
    """Every field that ends in _s, however deep."""
    if dataclasses.is_dataclass(value):
        return [t for f in dataclasses.fields(value) for t in times_in(getattr(value, f.name), f.name)]
    if isinstance(value, tuple):
        return [t for one in value for t in times_in(one, name)]
    return [value] if name.endswith("_s") and isinstance(value, float) else []


def test_every_time_moves_and_nothing_else() -> None:
    from simulated import simulate

    rep = next(simulate(range(11, 12), 1))
    reading = read_play(rep.play)
    later = in_clock(reading, 2.5)
    before, after = np.array(times_in(reading)), np.array(times_in(later))
    assert len(before) > 20
    assert np.allclose(after - before, 2.5, atol=2e-3)
    assert in_clock(later, -2.5).family == reading.family
    assert [d.player_id for d in later.defenders] == [d.player_id for d in reading.defenders]
