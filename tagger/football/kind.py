"""What kind of play it was: pass, run, screen or quick game; only a pass that lasts has a coverage to grade."""

from __future__ import annotations

import numpy as np
from scipy.special import softmax

from tagger.football.playbook import PlayBook
from tagger.football.release import Release
from tagger.football.scene import Scene
from tagger.football.vocabulary import PLAY_KINDS
from vision.types import FloatArray

MEASURES = ("line_depth_1.0", "line_depth_1.5", "line_depth_2.0", "line_front_2.0", "defense_downhill_1.0",
            "defense_downhill_1.5", "defense_downhill_2.0", "defense_downhill_2.5", "routes_1.0", "routes_1.5", "routes_2.0",
            "routes_2.5", "passer_deepest", "passer_depth_1.5", "passer_pace", "back_near_passer", "back_depth_2.0",
            "early_throw", "throw_s")


def measure_kind(scene: Scene, release: Release | None) -> FloatArray:
    """(len(MEASURES),): depths in yd past the line at times after the snap (linemen on average, second foremost lineman,
    three deepest receivers), mean downfield speed of the defense, the passer's depth and pace, the back's distance from him
    at the mesh and depth later, how likely the throw was early. NaN where there is no such man."""
    out = dict.fromkeys(MEASURES, np.nan)
    for moment in (1.0, 1.5, 2.0, 2.5):
        i = scene.at(moment)
        depth = scene.xy[:, i, 0] - scene.line_yd
        if scene.full_line and moment < 2.5:
            out[f"line_depth_{moment}"] = float(depth[scene.linemen].mean())
        if scene.full_line and moment == 2.0:
            out["line_front_2.0"] = float(np.sort(depth[scene.linemen])[-2])
        out[f"defense_downhill_{moment}"] = float(scene.velocity[scene.defense, i, 0].mean())
        out[f"routes_{moment}"] = float(np.sort(depth[scene.receivers])[-3:].mean()) if len(scene.receivers) else np.nan
    if scene.passer is not None:
        out |= _passer(scene, scene.passer)
    if release is not None:
        out["early_throw"], out["throw_s"] = release.before(1.55), min(release.best_s, 4.0)
    return np.array([out[name] for name in MEASURES])


def _passer(scene: Scene, passer: int) -> dict[str, float]:
    depth = scene.xy[passer, :, 0] - scene.line_yd
    out = {"passer_deepest": float(depth[scene.snap : scene.at(2.5) + 1].min()), "passer_depth_1.5": float(depth[scene.at(1.5)]),
           "passer_pace": float(np.linalg.norm(scene.velocity[passer, scene.at(1.0) : scene.at(2.0) + 1], axis=1).mean())}
    if len(scene.receivers):
        stance = np.linalg.norm(scene.xy[scene.receivers, scene.snap] - scene.xy[passer, scene.snap], axis=1)
        back = scene.receivers[int(np.argmin(stance))]
        near = np.linalg.norm(scene.xy[back] - scene.xy[passer], axis=1)[scene.snap : scene.at(1.3) + 1]
        out |= {"back_near_passer": float(near.min()), "back_depth_2.0": float(scene.xy[back, scene.at(2.0), 0] - scene.line_yd)}
    return out


def play_kind(scene: Scene, release: Release | None, book: PlayBook) -> dict[str, float]:
    """Probability of each of PLAY_KINDS. Without a full line (seven-on-seven) only pass and quick are possible."""
    logits = book.kind.logits(measure_kind(scene, release))
    if not scene.team:
        logits = np.where([kind in ("pass", "quick") for kind in PLAY_KINDS], logits, -np.inf)
    return {kind: float(p) for kind, p in zip(PLAY_KINDS, softmax(logits), strict=True)}
