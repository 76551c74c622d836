"""The coverage of one rep: family and each man's role with their probabilities, at any moment after the snap."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from tagger.football.book import Book
from tagger.football.facts import Fixed, hold, role_word
from tagger.football.inference import Evidence, RoleScores, family_posterior, score_roles, way_posterior, weigh_scores
from tagger.football.measures import LATEST_S, measure
from tagger.football.scene import Scene
from tagger.football.shift import AS_IT_IS, Shift
from tagger.football.types import FamilyAt
from vision.types import BoolArray, FloatArray, IntArray

UNSURE = 0.2
TIMES_S = tuple(np.round(np.arange(0.0, LATEST_S + 0.01, 0.2), 1))


@dataclass(frozen=True)
class Coverage:
    """`family` probabilities (empty if nothing fits), `roles`: per defender (row of the
    scene) the probability of each role as word:area, or man:PLAYER, or rush."""

    family: Mapping[str, float]
    roles: Mapping[int, Mapping[str, float]]


def read_coverage(scene: Scene, rush: FloatArray, book: Book, time_s: float, fixed: Fixed | None = None,
                  told_family: str | None = None, shift: Shift = AS_IT_IS) -> Coverage:
    """The coverage as it stands `time_s` after the snap, `rush` (D,) being each defender's probability of rushing.

    Where it is unsure who rushes, every likely set of rushers is read and the readings are averaged. What a coach has `fixed`
    of men, and the family that he told, are certain: the others' chances follow. So they do from families that are `shift`ed
    (R. Jeffrey, The Logic of Decision, 1965: what each man has, given the family, stays).
    """
    fixed = fixed or {}
    roles: dict[int, dict[str, float]] = {int(d): {} for d in scene.defense}
    everybody = measure(scene, scene.defense, time_s)
    scores = hold(score_roles(book, everybody), fixed, scene)
    readings = []
    for rushing, chance in _rush_sets(rush):
        rows = np.flatnonzero(~rushing)
        evidence = weigh_scores(book, _with_unseen(scores, rows, scene), len(scene.receivers), told_family)
        readings.append((rushing, chance, rows, evidence, family_posterior(book, evidence, time_s)))
    family: dict[str, float] = {}
    for _, chance, _, _, posterior in readings:
        for name, p in posterior.by_family().items() if posterior else ():
            _add(family, name, chance * p)
    total = sum(family.values())
    shifted = shift.of({name: p / total for name, p in family.items()}) if total else {}
    ratio = {name: shifted[name] * total / p if p else 0.0 for name, p in family.items()}
    for rushing, chance, rows, evidence, posterior in readings:
        if posterior is not None:
            moved = np.array([ratio[way.family] for way in evidence.ways])
            ways = chance * way_posterior(evidence, posterior) * moved
            _add_roles(roles, scene, scene.defense[rows], evidence, ways)
            chance = float(ways.sum())
        if posterior is not None or not family:
            for d in scene.defense[rushing]:
                _add(roles[int(d)], fixed[int(d)].assignment if int(d) in fixed else "rush", chance)
    return Coverage(shifted, roles)


def family_over_time(scene: Scene, rush: FloatArray, book: Book, until_s: float,
                     fixed: Fixed | None = None) -> tuple[FamilyAt, ...]:
    """The family probabilities at the snap and every 0.2 s after it, in the play's clock; the likeliest rushers only. A family
    that a coach told is not held against it: the curve says from when on the men's paths alone told it."""
    rows = np.flatnonzero(rush <= 0.5)
    out = []
    for t in TIMES_S:
        if t <= until_s + 1e-6:
            scores = hold(score_roles(book, measure(scene, scene.defense, float(t))), fixed or {}, scene)
            scores = _with_unseen(scores, rows, scene)
            posterior = family_posterior(book, weigh_scores(book, scores, len(scene.receivers)), float(t))
            family = posterior.by_family() if posterior else {}
            out.append(FamilyAt(round(scene.snap_s + float(t), 3), {name: round(p, 4) for name, p in family.items()}))
    return tuple(out)


def _rush_sets(rush: FloatArray) -> Iterator[tuple[BoolArray, float]]:
    """The likeliest sets of rushers: the two least sure men both ways, the others as is likelier."""
    unsure = np.argsort(np.abs(rush - 0.5))[:2]
    unsure = unsure[np.abs(rush[unsure] - 0.5) < 0.5 - UNSURE]
    sets = []
    for choice in product((False, True), repeat=len(unsure)):
        rushing = rush > 0.5
        rushing[unsure] = choice
        sets.append((rushing, float(np.prod(np.where(choice, rush[unsure], 1.0 - rush[unsure])))))
    total = sum(p for _, p in sets)
    yield from ((rushing, p / total) for rushing, p in sets)


def _with_unseen(scores: RoleScores, rows: IntArray, scene: Scene) -> RoleScores:
    """The scores of some men. Those who must be there but are out of the picture stand in as men of whom nothing is known:
    any role is as open to them as any other."""
    missing = max(0, (11 if scene.team else min(7, len(scene.offense))) - len(scene.defense))
    dialects, _, count = scores.score.shape
    return RoleScores(scores.roles, np.concatenate([scores.score[:, rows], np.zeros((dialects, missing, count))], axis=1))


def _add_roles(roles: dict[int, dict[str, float]], scene: Scene, men: IntArray, evidence: Evidence, weight: FloatArray) -> None:
    for k, way in enumerate(evidence.ways):
        if weight[:, k].sum() < 1e-4:
            continue
        table = np.einsum("l,ldr->dr", weight[:, k], evidence.chance[:, k])
        for j, role in enumerate(way.roles):
            word = role_word(role, scene)
            for i, d in enumerate(men):
                if table[i, j] > 1e-4:
                    _add(roles[int(d)], word, float(table[i, j]))


def _add(table: dict[str, float], key: str, value: float) -> None:
    table[key] = table.get(key, 0.0) + value
