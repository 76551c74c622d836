"""How the offense stands at the snap: numbers, sets, ends, stacks, bunches, strength."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tagger.football.scene import Scene
from tagger.football.settings import FormationSettings
from tagger.football.types import Formation, Motion
from vision.types import FloatArray, IntArray

SIDES = ("left", "right")
STILL_GOING_S = 0.15
"""Who is on the move so shortly before the snap is so at the snap."""


@dataclass(frozen=True)
class Alignment:
    """The eligibles at the snap. `rows` of the scene from left to right; for each: `across_yd` from the ball (left is
    negative), `outside_yd` past the tackle, `depth_yd` past the line, `back` True in the backfield, `side` 0 left, 1 right."""

    rows: IntArray
    across_yd: FloatArray
    outside_yd: FloatArray
    depth_yd: FloatArray
    back: np.ndarray
    side: IntArray


def align(scene: Scene, settings: FormationSettings, motions: tuple[Motion, ...] = ()) -> Alignment:
    """Where the eligibles stand at the snap, and who of them is a back: not who runs through the backfield, coming from
    outside."""
    rows = scene.receivers
    stance = scene.xy[rows, scene.snap]
    across = stance[:, 1] - scene.ball[1]
    outside = np.abs(across) - scene.tackle_yd
    depth = stance[:, 0] - scene.line_yd
    through = {m.player_id for m in motions if m.end_s > scene.snap_s - STILL_GOING_S
               and abs(m.from_across_yd - scene.ball[1]) - scene.tackle_yd > settings.back_split_yd}
    back = (depth < -settings.back_depth_yd) & (outside < settings.back_split_yd)
    back &= [scene.play.player_id[row] not in through for row in rows]
    return Alignment(rows, across, outside, depth, back, (across >= 0).astype(int))


def read_formation(scene: Scene, settings: FormationSettings, motions: tuple[Motion, ...] = ()) -> Formation:
    """The formation at the snap. Left and right are the offense's."""
    at = align(scene, settings, motions)
    names = scene.play.player_id
    wide = [int(np.sum(~at.back & (at.side == k))) for k in (0, 1)]
    numbers: dict[str, str] = {}
    for k, side in enumerate(SIDES):
        order = sorted(np.flatnonzero(at.side == k), key=lambda i: -abs(at.across_yd[i]))
        numbers |= {names[at.rows[i]]: f"{side}-{n + 1}" for n, i in enumerate(order)}
    ends = [_attached(at, k, settings) for k in (0, 1)]
    features = [f for k in (0, 1) for f in _features(at, k, bool(ends[k].any()), settings)]
    backs = int(at.back.sum())
    if backs == 0 and len(at.rows) >= 5:
        features.append("empty")
    strength = _strength(wide, [int(e.sum()) for e in ends])
    seen = scene.seen[scene.offense, scene.snap].mean() if len(scene.offense) else 0.0
    behind = "nobody" if not backs else "one back" if backs == 1 else f"{backs} backs"
    why = f"{wide[0]} left and {wide[1]} right of the ball, {behind} in the backfield"
    return Formation(f"{max(wide)}x{min(wide)}", strength, backs, numbers, tuple(features), _releases(scene, settings),
                     round(float(seen) * (0.97 if scene.full_line else 0.93), 3), why, motions)


def _attached(at: Alignment, side: int, settings: FormationSettings) -> np.ndarray:
    """On the line beside the tackle. One beside another end counts too: the gap is then to that man."""
    on_line = ~at.back & (at.side == side) & (at.depth_yd > -settings.attached_depth_yd)
    attached = on_line & (at.outside_yd < settings.attached_end_yd)
    return np.asarray(attached)


def _strength(wide: list[int], ends: list[int]) -> str:
    for count in (wide, ends):
        if count[0] != count[1]:
            return SIDES[int(count[1] > count[0])]
    return "balanced"


def _features(at: Alignment, side: int, has_end: bool, settings: FormationSettings) -> list[str]:
    mine = np.flatnonzero(~at.back & (at.side == side))
    mine = mine[np.argsort(-np.abs(at.across_yd[mine]))]
    found = []
    if len(mine) >= 3 and _within(at, mine, 3, settings.bunch_across_yd):
        found.append("bunch")
    elif any(_stacked(at, int(a), int(b), settings) for a, b in itertools.pairwise(mine)):
        found.append("stack")
    split = [i for i in mine
             if not (at.outside_yd[i] < settings.attached_end_yd and at.depth_yd[i] > -settings.attached_depth_yd)]
    if split and at.outside_yd[mine[0]] < settings.condensed_split_yd and mine[0] in split and "bunch" not in found:
        found.append("condensed")
    if has_end:
        found.append("attached-end")
    return [f"{word}-{SIDES[side]}" for word in found]


def _within(at: Alignment, mine: IntArray, count: int, width_yd: float) -> bool:
    """`count` receivers in a row, the outermost first, none of them attached to the line, inside a width."""
    for i in range(len(mine) - count + 1):
        group = mine[i : i + count]
        if np.ptp(at.across_yd[group]) < width_yd and (at.outside_yd[group] > 1.0).all() and np.ptp(at.depth_yd[group]) > 0.5:
            return True
    return False


def _stacked(at: Alignment, a: int, b: int, settings: FormationSettings) -> bool:
    close = abs(at.across_yd[a] - at.across_yd[b]) < settings.stack_across_yd
    return bool(close and abs(at.depth_yd[a] - at.depth_yd[b]) > settings.stack_depth_yd
                and min(at.outside_yd[a], at.outside_yd[b]) > 1.5)


def _releases(scene: Scene, settings: FormationSettings) -> int:
    """How many eligibles went out: past the line, or well away to a side."""
    at = scene.at(settings.release_s)
    path = scene.xy[scene.receivers, at]
    out = path[:, 0] - scene.line_yd > settings.release_yd
    aside = np.abs(path[:, 1] - scene.xy[scene.receivers, scene.snap, 1]) > 2.0 * settings.release_yd
    return int((out | aside).sum())
