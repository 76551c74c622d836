"""Gives true tracks to the football part, as if everybody had been found: its own mistakes remain."""

from __future__ import annotations

import time
from dataclasses import fields
from typing import TYPE_CHECKING

import numpy as np

from homography.field import LEVELS, WIDTH_YD
from tagger.football import read_play
from tagger.football.types import PlayTracks, Situation
from tagger.library import reading_to_json
from tagger.scoring import Scored
from tagger.scoring.predicted import Said, SaidPlayer

if TYPE_CHECKING:
    from tagger.scoring import Truth

SIGMA_YD = 0.1


def scored_tracks(truth: Truth, use_script: bool) -> Scored:
    """One rep: football reads the true tracks and finds snap, line, receivers and all else by itself."""
    script = {**truth.raw["situation"], "period": truth.raw.get("period")} if use_script else {}
    play = play_from_truth(truth, Situation(**{f.name: script.get(f.name) for f in fields(Situation)}))
    start_s = time.perf_counter()
    reading = read_play(play)
    taken_s = time.perf_counter() - start_s
    side = truth.side_of
    players = {name: SaidPlayer(side[name], truth.time_s, truth.xy_yd[truth.player_id.index(name)]) for name in play.player_id}
    said = Said(reading_to_json(reading), players, taken_s=taken_s, duration_s=float(truth.time_s[-1] - truth.time_s[0]))
    return Scored(truth, None, said)


def play_from_truth(truth: Truth, situation: Situation) -> PlayTracks:
    """Offense and defense in the play frame. Neither the snap nor anyone's position is told."""
    side = truth.side_of
    kept = [i for i, player in enumerate(truth.player_id) if side[player] in ("offense", "defense")]
    direction, (ball_x, _) = truth.raw["direction"], truth.raw["ball_xy_yd"]
    xy = truth.xy_yd[kept]
    downfield = (xy[..., 0] - ball_x) * direction
    across = WIDTH_YD - xy[..., 1] if direction > 0 else xy[..., 1]
    # Field angles grow from +x toward +y, the play frame's from downfield toward the offense's right.
    facing = -truth.facing_rad[kept] if direction > 0 else np.pi - truth.facing_rad[kept]
    facing = (facing + np.pi) % (2 * np.pi) - np.pi
    seen = np.isfinite(xy).all(axis=2)
    names = tuple(truth.player_id[i] for i in kept)
    return PlayTracks(truth.time_s, names, np.array([side[name] for name in names]), np.stack([downfield, across], axis=2),
                      np.where(seen, SIGMA_YD, np.nan), facing, (None,) * len(names),
                      hash_yd=LEVELS[truth.raw["level"]].hash_yd, situation=situation)
