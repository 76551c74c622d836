"""One joint inference of the coverage: every structure of the book, every way to share its roles among the men.

The evidence of a structure is the sum over all assignments of the product of how well each man looks like his role; it
gives the posterior of the structures and, per man, the probability of each role.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np

from tagger.football.book import MAN, Book, Look, look_of, side_of
from tagger.football.measures import ACROSS, CONTEXT, Measured
from tagger.football.permanents import share_out
from vision.types import BoolArray, FloatArray

LOG_2 = float(np.log(2.0))
UNHEARD = -2.0
"""Log share of a way that a coach wrote into the book after it was learned."""
FREEDOM = 10.0
"""Degrees of freedom of the Student-t: players are not always where the drawing has them."""


@dataclass(frozen=True)
class Way:
    """One structure with one list of roles, man roles naming their receiver ("man:2" is the third from the left). `key` names
    the way but for its receivers and its side, `log_prior` is its share among the ways of that key."""

    family: str
    variant: str
    roles: tuple[str, ...]
    key: str
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
        return {str(family): log_sum(self.log_evidence[:, families == family], axis=1) for family in dict.fromkeys(families)}


def log_sum(values: FloatArray, axis: int | None = None) -> Any:
    """Log of the sum of exponentials (scipy's does much more, and takes ten times as long on small arrays)."""
    top = values.max(axis=axis, keepdims=True)
    out = np.log(np.exp(values - top).sum(axis=axis, keepdims=True)) + top
    return out.squeeze(axis) if axis is not None else float(out.item())


class Identity:
    """Wraps a part of the book as a cache key: books are built once and never change."""

    def __init__(self, of: Any) -> None:
        self.of = of

    def __hash__(self) -> int:
        return id(self.of)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Identity) and self.of is other.of


@lru_cache(maxsize=64)
def _ways(structures: Identity, men: int, receivers: int) -> tuple[Way, ...]:
    out: list[Way] = []
    for structure in structures.of:
        for roles in structure.ways(men, receivers):
            count = roles.count(MAN)
            rest = tuple(r for r in roles if r != MAN)
            choices = list(combinations(range(receivers), count)) if count <= receivers else []
            out += [Way(structure.family, structure.variant, rest + tuple(f"man:{r}" for r in choice),
                       way_key(structure.family, rest, count), float(np.log(structure.weight / len(choices))))
                   for choice in choices]
    return tuple(out)


def way_key(family: str, zones: tuple[str, ...], men: int) -> str:
    """A name for a way to share out roles, the same for its mirror image: "cover-1 free:middle robber:middle 5 man"."""
    mirror = {"left": "right", "right": "left"}
    swapped = [role.replace(side, mirror[side]) for role in zones for side in (side_of(role),) if side in mirror]
    swapped += [role for role in zones if side_of(role) == "middle"]
    return " ".join([family, *min(sorted(zones), sorted(swapped)), *([f"{men} man"] if men else [])])


class Densities:
    """Log Student-t densities of several looks at once, given the context, up to a constant in the number of measures.
    Factors are kept for every pattern of known measures that has come up (a man is judged on what is known of him)."""

    def __init__(self, looks: Mapping[str, Look]) -> None:
        self.names = tuple(looks)
        self._mean = np.stack([look.mean for look in looks.values()])
        self._covariance = np.stack([look.covariance for look in looks.values()])
        self._factors: dict[bytes, tuple[FloatArray, FloatArray]] = {}

    def _factor(self, pattern: BoolArray) -> tuple[FloatArray, FloatArray]:
        key = pattern.tobytes()
        if key not in self._factors:
            chosen = np.flatnonzero(pattern)
            lower = np.linalg.cholesky(self._covariance[:, chosen[:, None], chosen[None]])
            self._factors[key] = (np.linalg.inv(lower), np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1))
        return self._factors[key]

    def __call__(self, rows: FloatArray) -> FloatArray:
        """(K, n) log densities of (n, M) rows of measures; a row of which nothing is known has 0 everywhere."""
        out = np.zeros((len(self.names), len(rows)))
        known = np.isfinite(rows)
        given = np.arange(rows.shape[1]) >= rows.shape[1] - len(CONTEXT)
        groups: dict[bytes, list[int]] = {}
        for i, pattern in enumerate(known):
            groups.setdefault(pattern.tobytes(), []).append(i)
        for members in groups.values():
            pattern = known[members[0]]
            if (pattern & ~given).any():
                out[:, members] = self._joint(rows[members], pattern) - self._joint(rows[members], pattern & given)
        return out

    def _joint(self, rows: FloatArray, pattern: BoolArray) -> FloatArray:
        count = int(pattern.sum())
        if not count:
            return np.zeros((len(self.names), len(rows)))
        inverse, log_root = self._factor(pattern)
        away = rows[:, pattern][None] - self._mean[:, None, pattern]
        squared = (np.matmul(away, inverse.transpose(0, 2, 1)) ** 2).sum(axis=2)
        out: FloatArray = -0.5 * (FREEDOM + count) * np.log1p(squared / FREEDOM) - log_root[:, None]
        return out


def in_left_form(rows: FloatArray, mirrored: bool | BoolArray) -> FloatArray:
    """Measures with the field mirrored for those who play on the right."""
    sign = np.where(np.broadcast_to(np.asarray(mirrored), (len(rows),)), -1.0, 1.0)
    out = rows.copy()
    out[:, ACROSS] *= sign[:, None]
    return out


@dataclass(frozen=True)
class RoleScores:
    """How well every defender looks like every role: `score` (L, D, R) with `roles` R names, in each dialect."""

    roles: tuple[str, ...]
    score: FloatArray


@lru_cache(maxsize=8)
def _densities(looks: Identity) -> Densities:
    return Densities(looks.of)


def score_roles(book: Book, measured: Measured) -> RoleScores:
    """Log scores of all the roles that the book knows, man roles for each receiver ("man:2")."""
    zones = sorted({role for structure in book.structures for role in structure.roles()})
    receivers = range(len(measured.receivers))
    plain = measured.with_nearest()
    both = np.concatenate([in_left_form(plain, False), in_left_form(plain, True)])
    paired = [measured.with_receiver(r) for r in receivers]
    paired = [in_left_form(rows, np.nan_to_num(rows[:, ACROSS[0]]) > 0) for rows in paired]
    tables = []
    for looks in book.dialects.values():
        density = _densities(Identity(looks))
        left, right = np.split(density(both), 2, axis=1)
        index = {name: k for k, name in enumerate(density.names)}
        columns = []
        for role in zones:
            k = index[look_of(role)]
            side = side_of(role)
            columns.append(
                np.logaddexp(left[k], right[k]) - LOG_2 if side == "middle" else left[k] if side == "left" else right[k])
        man = density(np.concatenate(paired))[index[MAN]].reshape(len(paired), -1) if paired else []
        tables.append(np.stack([*columns, *man], axis=1))
    return RoleScores((*zones, *(f"man:{r}" for r in receivers)), np.stack(tables))


def weigh(book: Book, measured: Measured) -> Evidence:
    """The evidence of every way to play with these men. Empty when no structure has as many roles."""
    return weigh_scores(book, score_roles(book, measured), len(measured.receivers))


def weigh_scores(book: Book, scores: RoleScores, receivers: int, family: str | None = None) -> Evidence:
    """The same from scores that are there already, of one family alone if it is known. Ways that cannot be shared out among
    the men (a score of -inf) are left out."""
    dialects, men, _ = scores.score.shape
    ways = _ways(Identity(book.structures), men, receivers) if men else ()
    if family is not None:
        ways = tuple(way for way in ways if way.family == family)
    if not ways:
        return Evidence((), tuple(book.dialects), np.empty((dialects, 0)), np.empty((dialects, 0, men, men)))
    column = {role: k for k, role in enumerate(scores.roles)}
    picked = np.array([[column[role] for role in way.roles] for way in ways])
    prior = np.array([way.log_prior for way in ways])
    log_score = scores.score[:, :, picked].transpose(0, 2, 1, 3).reshape(-1, men, men)
    total, chance = share_out(log_score)
    total, chance = total.reshape(dialects, -1), chance.reshape(dialects, -1, men, men)
    possible = np.flatnonzero(np.isfinite(total).all(axis=0))
    if len(possible) < len(ways):
        ways = tuple(ways[k] for k in possible)
        total, chance, prior = total[:, possible], chance[:, possible], prior[possible]
    shares = [book.calibration.log_share.get(dialect, {}) for dialect in book.dialects]
    prior = prior + np.array([[share.get(way.key, UNHEARD if share else 0.0) for way in ways] for share in shares])
    return Evidence(ways, tuple(book.dialects), total + prior, chance)


@dataclass(frozen=True)
class Posterior:
    """`families` F names and the probability `table` (L, F) of each in each dialect; the whole table sums to 1."""

    families: tuple[str, ...]
    table: FloatArray

    def by_family(self) -> dict[str, float]:
        """Probability of each family, every dialect being possible."""
        return {family: float(p) for family, p in zip(self.families, self.table.sum(axis=0), strict=True)}


def family_posterior(book: Book, evidence: Evidence, time_s: float) -> Posterior | None:
    """Probability of each family in each dialect at a time after the snap. None without evidence."""
    if not evidence.ways:
        return None
    by_family = evidence.by_family()
    table, families = np.stack(list(by_family.values()), axis=1), tuple(by_family)
    speaks = dialect_chances(book, evidence.dialects, table, time_s)
    prior, joint = book.calibration.log_prior, np.empty_like(table)
    for k, dialect in enumerate(evidence.dialects):
        known = np.array([prior.get(dialect, {}).get(family, 0.0) for family in families])
        posterior = table[k] / book.calibration.temperature_at(dialect, time_s) + known
        joint[k] = speaks[k] * np.exp(posterior - log_sum(posterior))
    return Posterior(families, joint)


def dialect_chances(book: Book, dialects: tuple[str, ...], table: FloatArray, time_s: float) -> FloatArray:
    """(L,) probability of each dialect from the (L, F) evidence of its families. Looks that were learned from few plays are
    broad and those from many narrow, so evidence alone would not compare them: the calibration holds what evens them out."""
    scale, bias = book.calibration.dialect_at(dialects, time_s)
    whole = scale * log_sum(table, axis=1) + bias
    out: FloatArray = np.exp(whole - log_sum(whole))
    return out


def way_posterior(evidence: Evidence, posterior: Posterior) -> FloatArray:
    """(L, S) probability of every way, given the families' probabilities: within family and dialect by the evidence alone."""
    out = np.zeros_like(evidence.log_evidence)
    names = np.array([way.family for way in evidence.ways])
    for k, family in enumerate(posterior.families):
        here = names == family
        part = evidence.log_evidence[:, here]
        out[:, here] = posterior.table[:, k, None] * np.exp(part - log_sum(part, axis=1)[:, None])
    return out
