"""The defense before the snap: slots, shell, corner technique, box."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from homography.field import WIDTH_YD
from tagger.football.scene import Scene
from tagger.football.settings import ShellSettings
from vision.types import FloatArray

LINE_DEPTH_YD = 2.2
CORNER_REACH_YD = 9.0
SURE_PER_YD = 2.2
SQUEEZED_YD = 12.0
"""So near the goal line there is no depth to have: the end line is 10 yd behind it."""


@dataclass(frozen=True)
class Look0:
    """The defense at the snap. `slot` per defender (in the order of `scene.defense`); `corners` and `deep` index it;
    `technique` of each corner as "press, inside"; `box` how many stand in it; `corners_over` both on one side."""

    shell: dict[str, float]
    shell_why: str
    slot: tuple[str, ...]
    corners: tuple[int, ...]
    deep: tuple[int, ...]
    technique: dict[int, str]
    box: int
    corners_over: bool


def read_shell(scene: Scene, settings: ShellSettings, at_s: float = 0.0) -> Look0:
    """Shell and slots at a time (0 = the snap)."""
    place = scene.xy[scene.defense, scene.at(at_s)] - [scene.line_yd, 0.0]
    corners = find_corners(scene, place, settings)
    deepness = _deepness(place, corners, settings, scene.play.situation.yards_to_goal)
    deep = tuple(int(k) for k in np.flatnonzero(deepness > 0.5))
    shell = _shell_chances(deepness)
    slot = _slots(scene, place, corners, deep)
    box = int(((place[:, 0] <= settings.box_depth_yd)
               & (np.abs(place[:, 1] - scene.ball[1]) <= scene.tackle_yd + settings.box_outside_yd)).sum())
    sides = [np.sign(place[k, 1] - scene.ball[1]) for k in corners]
    return Look0(shell, _why(place, deep), slot, corners, deep, {k: _technique(scene, place[k], settings) for k in corners}, box,
                 len(sides) == 2 and sides[0] == sides[1])


def find_corners(scene: Scene, place: FloatArray, settings: ShellSettings) -> tuple[int, ...]:
    """On each side the defender over the outermost receiver: the outermost who is within reach of him."""
    if not len(place):
        return ()
    receivers = scene.xy[scene.receivers, scene.snap]
    found: list[int] = []
    for side in (-1.0, 1.0):
        out = (place[:, 1] - scene.ball[1]) * side
        widest = ((receivers[:, 1] - scene.ball[1]) * side).max() if len(receivers) else 0.0
        reach = (np.abs(out - max(widest, scene.tackle_yd + 1.0)) < CORNER_REACH_YD) & (out > scene.tackle_yd - 1.0)
        cost = np.where(reach, 0.45 * place[:, 0] + 0.5 * np.abs(out - widest) - 0.3 * out, np.inf)
        # A man on the line is an edge rusher unless a receiver stands that wide.
        edge = (place[:, 0] < LINE_DEPTH_YD) & (out < scene.tackle_yd + 3.0) & (widest > scene.tackle_yd + 4.0)
        cost[edge] = np.inf
        cost[found] = np.inf
        if np.isfinite(cost).any():
            found.append(int(np.argmin(cost)))
    return tuple(found)


def _deepness(place: FloatArray, corners: tuple[int, ...], settings: ShellSettings, yards_to_goal: float | None) -> FloatArray:
    """How surely each man is one of the deep men of the shell. A man well shallower than the deepest is down, not deep."""
    inside = np.minimum(place[:, 1], WIDTH_YD - place[:, 1])
    candidate = np.ones(len(place), dtype=bool)
    candidate[list(corners)] = False
    candidate &= inside > settings.inside_yd
    deepest = place[candidate, 0].max() if candidate.any() else 0.0
    deep_yd = settings.shallow_deep_yd if yards_to_goal is not None and yards_to_goal < SQUEEZED_YD else settings.deep_yd
    least = max(deep_yd, settings.level_share * deepest)
    return np.asarray(np.where(candidate, expit(SURE_PER_YD * (place[:, 0] - least)), 0.0))


def _shell_chances(deepness: FloatArray) -> dict[str, float]:
    """Probability of none, one, or two and more deep men, each man being deep on his own."""
    count = np.array([1.0, 0.0, 0.0])
    for p in deepness:
        count = np.array([count[0] * (1 - p), count[1] * (1 - p) + count[0] * p, count[2] + count[1] * p])
    return {"zero-high": float(count[0]), "one-high": float(count[1]), "two-high": float(count[2])}


def _why(place: FloatArray, deep: tuple[int, ...]) -> str:
    if not deep:
        return f"nobody but a corner deeper than {place[:, 0].max() if len(place) else 0:.0f} yd at the snap"
    spots = " and ".join(f"{place[k, 0]:.0f} yd deep, {abs(place[k, 1] - WIDTH_YD / 2):.0f} yd "
                         f"{'left' if place[k, 1] < WIDTH_YD / 2 else 'right'} of the middle" for k in deep[:3])
    return f"{len(deep)} deep at the snap: {spots}"


def _technique(scene: Scene, place: FloatArray, settings: ShellSettings) -> str:
    """Press or off, and which shoulder of the nearest receiver he has."""
    depth = "press" if place[0] <= settings.press_yd else "off"
    if not len(scene.receivers):
        return depth
    receivers = scene.xy[scene.receivers, scene.snap, 1]
    man = receivers[int(np.argmin(np.abs(receivers - place[1])))]
    inward = (place[1] - man) * np.sign(scene.ball[1] - man)
    shade = "head-up" if abs(inward) < 0.5 else "inside" if inward > 0 else "outside"
    return f"{depth}, {shade}"


def _slots(scene: Scene, place: FloatArray, corners: tuple[int, ...], deep: tuple[int, ...]) -> tuple[str, ...]:
    """A word for each defender by where he stands."""
    words = []
    for k, (depth, across) in enumerate(place):
        out = abs(across - scene.ball[1])
        side = "left" if across < scene.ball[1] else "right"
        if k in corners:
            words.append(f"corner-{side}")
        elif k in deep or depth > 9.0:
            words.append(f"safety-{side}")
        elif depth < LINE_DEPTH_YD and out < scene.tackle_yd + 3.5:
            words.append(f"edge-{side}" if out > scene.tackle_yd - 0.7 else f"tackle-{side}" if out > 0.8 else "nose")
        elif out > scene.tackle_yd + 2.5:
            words.append(f"nickel-{side}")
        else:
            words.append(f"linebacker-{side}" if out > 1.5 else "linebacker-middle")
    return tuple(words)
