"""What a coach has fixed of a rep, as the inference takes it: certain, where everything else is likely or less so."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tagger.football.book import MAN
from tagger.football.inference import RoleScores
from tagger.football.scene import Scene
from tagger.football.types import CoachFacts, Interval
from tagger.football.vocabulary import UNKNOWN
from vision.types import FloatArray

LEAST_SHARE = 0.5
"""A fixed assignment says what a man had in the structure if it holds for this share of the time until it is judged: who was a
deep half for a step and then went to the flat has the flat."""
OUT_OF_COVERAGE = ("rush", "spy")
WORD_OF_LOOK = {"free:middle": "deep-third:middle", "pole:middle": "deep-third:middle",
                "cloud-third:left": "deep-third:left", "cloud-third:right": "deep-third:right",
                "cloud-flat:left": "curl-flat:left", "cloud-flat:right": "curl-flat:right"}

Fixed = Mapping[int, Interval]
"""Row of the scene -> the assignment that a coach gave to that defender."""


def fixed_assignments(facts: CoachFacts, scene: Scene, until_s: float) -> dict[int, Interval]:
    """The fixed assignments that speak of the structure, `until_s` being when it is judged (after the snap). A run fit says
    nothing of the coverage."""
    out = {}
    for row in map(int, scene.defense):
        held = {_held_s(said, scene.snap_s, until_s): said for said in facts.assignments.get(scene.play.player_id[row], ())}
        if held and max(held) >= LEAST_SHARE * until_s and held[max(held)].assignment != "run-fit":
            out[row] = held[max(held)]
    return out


def _held_s(said: Interval, snap_s: float, until_s: float) -> float:
    return min(said.end_s - snap_s, until_s) - max(said.start_s - snap_s, 0.0)


def fixed_kind(facts: CoachFacts, kinds: dict[str, float]) -> dict[str, float]:
    """The chances of the play's kind. Who names a family says that there was a coverage to grade: a pass."""
    told = facts.play_kind or (None if facts.family in (None, UNKNOWN) else "pass")
    return kinds if told is None else {kind: float(kind == told) for kind in kinds}


def fixed_rush(fixed: Fixed, scene: Scene) -> FloatArray:
    """(D,) 1 for the defenders who are known to have stayed out of the coverage, 0 for those known to be in it, else NaN."""
    out = np.full(len(scene.defense), np.nan)
    for k, d in enumerate(map(int, scene.defense)):
        if d in fixed:
            out[k] = float(fixed[d].assignment in OUT_OF_COVERAGE)
    return out


def role_word(role: str, scene: Scene) -> str:
    """A role of the book in the words of the trade: "deep-third:middle", or "man:PLAYER"."""
    if role.startswith(f"{MAN}:"):
        return f"{MAN}:{scene.play.player_id[scene.receivers[int(role[4:])]]}"
    return WORD_OF_LOOK.get(role, role)


def hold(scores: RoleScores, fixed: Fixed, scene: Scene) -> RoleScores:
    """The scores of the scene's defenders, -inf for the roles that a fixed man is known not to have."""
    score, words = scores.score.copy(), [role_word(role, scene) for role in scores.roles]
    for k, d in enumerate(map(int, scene.defense)):
        if d in fixed and fixed[d].assignment not in OUT_OF_COVERAGE:
            score[:, k, [not _fits(word, fixed[d], scene) for word in words]] = -np.inf
    return RoleScores(scores.roles, score)


def _fits(word: str, said: Interval, scene: Scene) -> bool:
    assignment, _, rest = word.partition(":")
    if assignment != said.assignment:
        return False
    if assignment == MAN:
        known = {scene.play.player_id[r] for r in scene.receivers}
        return said.receiver not in known or rest == said.receiver
    return said.area is None or rest == said.area
