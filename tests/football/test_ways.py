"""Who attacks, on simulated reps put onto a field: by kits, and by place where kits say nothing."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from homography.field import WIDTH_YD
from homography.types import SOLVED, FieldTracks, FieldView
from tagger.football import PlayTracks, play_from_field

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))


def on_field(play: PlayTracks, direction: int, kits: np.ndarray) -> FieldTracks:
    """The play frame laid on the field, the offense attacking toward `direction`, everybody in his kit."""
    n, t = play.xy_yd.shape[:2]
    across = play.xy_yd[:, :, 1]
    xy = np.stack([60.0 + direction * play.xy_yd[:, :, 0], WIDTH_YD - across if direction > 0 else across], axis=2)
    when, who = (index.ravel() for index in np.meshgrid(np.arange(t), np.arange(n), indexing="ij"))
    return FieldTracks(when, play.time_s[when], who + 1, kits[who], np.ones(n * t, dtype=np.bool_), xy[who, when],
                       np.full(n * t, 0.1), np.full(n * t, np.nan))


def view(frames: int) -> FieldView:
    return FieldView(np.arange(frames), np.tile(np.eye(3), (frames, 1, 1)), np.full(frames, 0.1), np.full(frames, SOLVED),
                     "sideline", "college", False, None, (1280, 720))


@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize("told", ["two kits", "one kit for all", "kits at random"])
def test_sides_come_out_whatever_the_kits_say(direction: int, told: str) -> None:
    from simulated import simulate

    right = count = 0
    for rep in simulate(range(801, 805), 1, options={"period": "team"}):
        offense = rep.play.side == "offense"
        kits = {"two kits": np.where(offense, 0, 1), "one kit for all": np.zeros(len(offense), dtype=np.int64),
                "kits at random": np.random.default_rng(3).integers(0, 2, len(offense))}[told]
        play = play_from_field(on_field(rep.play, direction, kits.astype(np.int64)), view(len(rep.play.time_s)))
        if isinstance(play, PlayTracks):
            sides = dict(zip(play.player_id, play.side.tolist(), strict=True))
            right += sum(sides.get(f"T{i + 1}") == side for i, side in enumerate(rep.play.side.tolist()))
        count += len(offense)
    assert right >= (0.97 if told == "two kits" else 0.9) * count
