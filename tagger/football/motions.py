"""Shifts and motions before the snap, and the answer of the defense."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tagger.football.scene import STEP_S, Scene
from tagger.football.settings import MotionSettings
from tagger.football.types import Motion
from vision.types import FloatArray

ANSWER_LAG_S = 0.5
ALIGNED_YD = 3.5
NEAR_MOTION_YD = 16.0
EARLY_STEPS = 2


def find_motions(scene: Scene, settings: MotionSettings, man_of: Mapping[int, int] | None = None) -> tuple[Motion, ...]:
    """Every eligible who changed his place across between the set of the line and the snap. `man_of`: who has a receiver in man
    (rows of the scene), which the snap has shown."""
    start = _set_index(scene, settings)
    found = []
    for row in scene.receivers:
        span = _moving_span(scene, int(row), start, settings)
        if span is not None:
            found.append((int(row), *span))
    return tuple(_motion(scene, row, a, b, settings, (man_of or {}).get(row)) for row, a, b in found)


def _set_index(scene: Scene, settings: MotionSettings) -> int:
    """From when on the line stands still until the snap."""
    if not len(scene.linemen):
        return 0
    pace = np.median(np.linalg.norm(scene.velocity[scene.linemen, : scene.snap], axis=2), axis=0)
    restless = np.flatnonzero(pace[: max(0, scene.snap - 3)] > settings.still_speed_yd_s)
    return int(restless[-1]) + 1 if len(restless) else 0


def _moving_span(scene: Scene, row: int, start: int, settings: MotionSettings) -> tuple[int, int] | None:
    """The longest stretch on the move (pauses under 0.3 s bridged) that travels far enough across."""
    stop = scene.snap + 1
    if stop - start < 5 or scene.seen[row, start:stop].mean() < 0.6:
        return None
    pace = np.abs(scene.velocity[row, start:stop, 1])
    moving = pace > settings.still_speed_yd_s
    for i in range(1, len(moving) - 1):
        if not moving[i] and moving[max(0, i - 2) : i].any() and moving[i + 1 : i + 3].any():
            moving[i] = True
    edges = np.flatnonzero(np.diff(np.concatenate([[0], moving.astype(int), [0]])))
    best: tuple[int, int] | None = None
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        path = scene.xy[row, start + a : start + b, 1]
        if np.ptp(path) >= settings.least_travel_yd and (best is None or b - a > best[1] - best[0]):
            best = (int(start + a), int(start + b - 1))
    return best


def _motion(scene: Scene, row: int, a: int, b: int, settings: MotionSettings, has: int | None) -> Motion:
    # Who overshoots and comes back a step is set all the same: he is near the place that he has at the snap.
    away = np.flatnonzero(np.abs(scene.xy[row, : scene.snap + 1, 1] - scene.xy[row, scene.snap, 1]) > settings.settled_yd)
    still_s = (scene.snap - int(away[-1]) if len(away) else scene.snap) * STEP_S
    kind = "shift" if still_s >= settings.set_before_snap_s else "motion"
    path = scene.xy[row, a : b + 1, 1]
    answer, why = _answer(scene, path, a, b, settings, has)
    times = scene.time_s[[a, b]] + scene.snap_s
    return Motion(scene.play.player_id[row], kind, round(float(times[0]), 3), round(float(times[1]), 3), round(float(path[0]), 2),
                  round(float(path[-1]), 2), answer, why)


def _answer(scene: Scene, path: FloatArray, a: int, b: int, settings: MotionSettings,
            has: int | None) -> tuple[str | None, str]:
    """Who sets off with him and keeps up ran with it, and so did the man who `has` him, however late (a motion at the snap leaves
    no time); who else slides part of the way the same way, or only when the motion has shown where it goes, bumped; else they
    stayed."""
    stop = min(b + round(ANSWER_LAG_S / STEP_S), scene.snap + 4)
    men = scene.defense[scene.seen[scene.defense, a : stop + 1].mean(axis=1) > 0.6]
    if not len(men):
        return None, "no defender was in the picture during the motion"
    turn = int(np.argmax(np.abs(path - path[0])))
    travel = float(path[turn] - path[0])
    moved = scene.xy[men, a : stop + 1, 1] - scene.xy[men, a, 1][:, None]
    share = np.array([_kept_up(man, path - path[0]) for man in moved])
    off, short = np.abs(scene.xy[men, a, 1] - path[0]), scene.xy[men, a, 0] - scene.line_yd < settings.answer_depth_yd
    aligned, near = short & (off < ALIGNED_YD), short & (off < NEAR_MOTION_YD)
    names = scene.play.player_id
    if aligned.any():
        follower = int(np.argmax(np.where(aligned, share, -np.inf)))
        sets_off = share[follower] >= settings.ran_with_share and _early(moved[follower], path - path[0]) >= settings.early_share
        if sets_off:
            went = float(np.abs(moved[follower, : turn + round(ANSWER_LAG_S / STEP_S) + 1]).max())
            return "ran-with", f"{names[men[follower]]} stood over him and went with him, {went:.1f} yd of his {abs(travel):.1f}"
    slide = (moved * np.sign(travel)).max(axis=1)
    own = slide[men == has]
    if len(own) and own[0] >= settings.bump_yd:
        return "ran-with", f"{names[has or 0]} had him in man and went with him, {own[0]:.1f} yd of his {abs(travel):.1f}"
    slider = int(np.argmax(np.where(near, slide, -np.inf)))
    if near.any() and slide[slider] >= settings.bump_yd:
        slid = f"{names[men[slider]]} slid over {slide[slider]:.1f} yd"
        return "bumped", f"nobody went with him; {slid} as he moved {abs(travel):.1f} yd"
    return "stayed", f"nobody went with him or slid over as he moved {abs(travel):.1f} yd"


def _early(moved: FloatArray, path: FloatArray) -> float:
    """What share of the first half of the motion a defender has made EARLY_STEPS after it."""
    half = int(np.argmax(np.abs(path) >= 0.5 * np.abs(path).max()))
    return float(moved[min(half + EARLY_STEPS, len(moved) - 1)] / path[half]) if path[half] else 0.0


def _kept_up(moved: FloatArray, path: FloatArray) -> float:
    """Slope of a defender's way across on the motion man's, at the lag (0 to 0.5 s) that suits best."""
    best = -np.inf
    for lag in range(6):
        mine = moved[lag : lag + len(path)]
        his = path[: len(mine)]
        if len(mine) >= 4:
            best = max(best, float((mine * his).sum() / max(float((his**2).sum()), 0.25)))
    return best
