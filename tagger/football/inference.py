"""One joint inference of the coverage: every structure of the book, every way to share its roles among the men.

The evidence of a structure is the sum over all assignments of the product of how well each man looks like his role; it
gives the posterior of the structures and, per man, the probability of each role.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import logsumexp

from tagger.football.book import MAN, Book, Look, Structure, look_of, side_of
from tagger.football.measures import ACROSS, MEASURES, Measured
from tagger.football.permanents import share_out
from vision.types import FloatArray

FREEDOM = 10.0
"""Degrees of freedom of the Student-t: players are not always where the drawing has them."""


@dataclass(frozen=True)
class Way:
    """One structure with one list of roles, man roles naming their receiver ("man:2" is the third from the left)."""

    family: str
    variant: str
    roles: tuple[str, ...]
    log_prior: float


@dataclass(frozen=True)
class Evidence:
    """All ways for one set of men in every dialect: `log_evidence` (L, S), `chance` (L, S, n, n) of man d having role j of the
    way's list."""

    ways: tuple[Way, ...]
    dialects: tuple[str, ...]
    log_evidence: FloatArray
    chance: FloatArray

    def by_family(self) -> dict[str, FloatArray]:
        """(L,) log evidence of each family in each dialect."""
        families = np.array([way.family for way in self.ways])
        return {str(family): logsumexp(self.log_evidence[:, families == family], axis=1) for family in dict.fromkeys(families)}


@lru_cache(maxsize=64)
def _ways(structures: tuple[Structure, ...], men: int, receivers: int) -> tuple[Way, ...]:
    out: list[Way] = []
    for structure in structures:
        for roles in structure.ways(men):
            count = roles.count(MAN)
            rest = tuple(r for r in roles if r != MAN)
            choices = list(combinations(range(receivers), count)) if count <= receivers else []
            out += [Way(structure.family, structure.variant, rest + tuple(f"man:{r}" for r in choice),
                        float(np.log(structure.weight / len(choices)))) for choice in choices]
    return tuple(out)


class _Hashable(tuple):  # type: ignore[type-arg]
    """Structures hold mappings; identity is enough for the cache."""

    __slots__ = ()

    def __hash__(self) -> int:
        return hash(tuple(map(id, self)))


def log_density(look: Look, rows: FloatArray) -> FloatArray:
    """(n,) log of the look's Student-t at (n, M) measures, up to a constant in the number of measures; columns that are
    NaN for a man are left out for him (he is judged on the rest)."""
    out = np.empty(len(rows))
    known = np.isfinite(rows)
    for pattern in np.unique(known, axis=0):
        here = (known == pattern).all(axis=1)
        if not pattern.any():
            out[here] = 0.0
            continue
        factor = np.linalg.cholesky(look.covariance[np.ix_(pattern, pattern)])
        scaled = solve_triangular(factor, (rows[here][:, pattern] - look.mean[pattern]).T, lower=True)
        squared, count = (scaled**2).sum(axis=0), int(pattern.sum())
        out[here] = -0.5 * (FREEDOM + count) * np.log1p(squared / FREEDOM) - np.log(np.diag(factor)).sum()
    return out


def in_left_form(rows: FloatArray, mirrored: bool | FloatArray) -> FloatArray:
    """Measures with the field mirrored for those who play on the right."""
    out = rows.copy()
    flip = np.broadcast_to(np.asarray(mirrored), (len(rows),))
    out[np.ix_(flip, ACROSS)] *= -1.0
    return out


def role_scores(looks: Mapping[str, Look], measured: Measured, roles: Sequence[str]) -> dict[str, FloatArray]:
    """(D,) log score of every defender in each role of `roles`."""
    plain = measured.with_nearest()
    scores: dict[str, FloatArray] = {}
    for role in roles:
        look = looks[look_of(role)]
        if role.startswith("man:"):
            rows = measured.with_receiver(int(role[4:]))
            scores[role] = log_density(look, in_left_form(rows, np.nan_to_num(rows[:, ACROSS[0]]) > 0))
        elif side_of(role) == "middle":
            both = np.stack([log_density(look, in_left_form(plain, side)) for side in (False, True)])
            scores[role] = logsumexp(both, axis=0) - np.log(2.0)
        else:
            scores[role] = log_density(look, in_left_form(plain, side_of(role) == "right"))
    return scores


def weigh(book: Book, measured: Measured) -> Evidence:
    """The evidence of every way to play with these men. Empty when no structure has as many roles."""
    men, dialects = len(measured.defenders), tuple(book.dialects)
    ways = _ways(_Hashable(book.structures), men, len(measured.receivers)) if men else ()
    if not ways:
        return Evidence((), dialects, np.empty((len(dialects), 0)), np.empty((len(dialects), 0, men, men)))
    roles = sorted({role for way in ways for role in way.roles})
    column = {role: k for k, role in enumerate(roles)}
    picked = np.array([[column[role] for role in way.roles] for way in ways])
    prior = np.array([way.log_prior for way in ways])
    totals, chances = [], []
    for looks in book.dialects.values():
        scores = role_scores(looks, measured, roles)
        table = np.stack([scores[role] for role in roles], axis=1)
        total, chance = share_out(table[:, picked].transpose(1, 0, 2))
        totals.append(total + prior)
        chances.append(chance)
    return Evidence(ways, dialects, np.stack(totals), np.stack(chances))


def family_posterior(book: Book, evidence: Evidence, time_s: float) -> dict[str, float]:
    """Probability of each family, every dialect being possible. Sums to 1; empty without evidence."""
    if not evidence.ways:
        return {}
    temperature, families = book.calibration.temperature_at(time_s), evidence.by_family()
    prior = book.calibration.log_prior
    joint = np.stack([families[f] / temperature + [prior.get(d, {}).get(f, 0.0) for d in evidence.dialects] for f in families])
    chance = np.exp(logsumexp(joint, axis=1) - logsumexp(joint))
    return {family: float(p) for family, p in zip(families, chance, strict=True)}


def way_posterior(evidence: Evidence, families: Mapping[str, float]) -> FloatArray:
    """(L, S) probability of every way, given the families' probabilities: within a family by the evidence alone."""
    out = np.zeros_like(evidence.log_evidence)
    names = np.array([way.family for way in evidence.ways])
    for family, chance in families.items():
        here = names == family
        part = evidence.log_evidence[:, here]
        out[:, here] = chance * np.exp(part - logsumexp(part))
    return out
