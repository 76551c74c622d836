"""The coverage book: structures (who has what, family by family) and what each role looks like. Checked when loaded."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement
from typing import Any

import numpy as np

import models
from tagger.football.measures import MEASURES
from tagger.football.vocabulary import AREAS, ASSIGNMENTS, FAMILIES
from vision.types import FloatArray

FORMAT = "deepthird-coverages/1"
EXTRA_WORDS = ("free", "pole", "cloud-third", "cloud-flat")
"""Roles told apart by how they look but named by the trade's common words: the free safety of cover-1 and the pole runner of
tampa-2 have a deep middle; in cloud a safety has the outside third and the corner before him the curl-flat."""
MAN = "man"
MOST_RECEIVERS = 5
LEAST_EIGENVALUE = 0.003
"""Of the correlations of a look, so that it stays a density."""


@dataclass(frozen=True)
class Structure:
    """One way to play a family: `deep` roles, `under` roles by their number, `man` with `spare` for those left over; where
    `all_man`, nobody is spared while a receiver has no man."""

    family: str
    variant: str
    weight: float
    deep: tuple[str, ...]
    under: Mapping[int, tuple[tuple[str, ...], ...]]
    man: bool
    spare: tuple[str, ...]
    all_man: bool = False

    def roles(self) -> set[str]:
        """All zone roles of the structure."""
        return {*self.deep, *self.spare, *(role for ways in self.under.values() for way in ways for role in way)}

    def ways(self, men: int, receivers: int = MOST_RECEIVERS) -> list[tuple[str, ...]]:
        """All lists of `men` roles of this structure; man roles stand as the plain word `man`."""
        rest = men - len(self.deep)
        if rest < 0:
            return []
        if not self.man:
            return [self.deep + under for under in self.under.get(rest, ())]
        spared = [s for s in range(3) if 1 <= rest - s <= MOST_RECEIVERS and rest - s >= max(1, min(rest, MOST_RECEIVERS) - 1)]
        if self.all_man:
            spared = [s for s in spared if s == max(0, rest - receivers)]
        return [self.deep + spare + (MAN,) * (rest - s) for s in spared for spare in combinations_with_replacement(self.spare, s)]


@dataclass(frozen=True)
class Look:
    """How a role looks: a Student-t over MEASURES, `mean` (M,) and `covariance` (M, M), in the role's left form."""

    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Calibration:
    """`temperature` of each dialect divides the log evidence (men's paths are not independent of each other, so their product
    is too sure), at the times `time_s` after the snap; `log_prior` of each family in each dialect; `log_share` of each way to
    play a family with so many men (by its key), in each dialect; `dialect_scale` and `dialect_bias` even out the dialects'
    evidence at `time_s` before it tells which of them is spoken."""

    time_s: FloatArray
    temperature: Mapping[str, FloatArray]
    log_prior: Mapping[str, Mapping[str, float]]
    log_share: Mapping[str, Mapping[str, float]]
    dialect_scale: FloatArray
    dialect_bias: Mapping[str, FloatArray]

    def dialect_at(self, dialects: tuple[str, ...], time_s: float) -> tuple[float, FloatArray]:
        """Scale and (L,) bias of the dialects' evidence at a time; 0 for a dialect of which nothing was learned."""
        biases = [float(np.interp(time_s, self.time_s, self.dialect_bias[d])) if d in self.dialect_bias else 0.0
                  for d in dialects]
        return float(np.interp(time_s, self.time_s, self.dialect_scale)), np.array(biases)

    def temperature_at(self, dialect: str, time_s: float) -> float:
        """The temperature at a time, between the learned ones in a straight line; 1 where nothing was learned."""
        return float(np.interp(time_s, self.time_s, self.temperature[dialect])) if dialect in self.temperature else 1.0


@dataclass(frozen=True)
class Book:
    """`structures`; `dialects`: what the roles look like (by `look_of`) as it was learned from each source of plays, for the
    same coverage is not played alike everywhere and a play may be in any of them; `calibration` of the posterior."""

    structures: tuple[Structure, ...]
    dialects: Mapping[str, dict[str, Look]]
    calibration: Calibration


FLAT = Calibration(np.array([0.0]), {}, {}, {}, np.array([0.3]), {})
"""No calibration."""


def look_of(role: str) -> str:
    """The kind of look of a role: sides are mirror images, outside/inside and middle/outside are different looks."""
    word, _, area = role.partition(":")
    if word == "deep-third":
        return "deep-third-middle" if area == "middle" else "deep-third-outside"
    if word == "deep-quarter":
        return "deep-quarter-outside" if area.endswith("outside") else "deep-quarter-inside"
    return word


def side_of(role: str) -> str:
    """left, right or middle."""
    area = role.partition(":")[2]
    return "left" if area.startswith("left") else "right" if area.startswith("right") else "middle"


def parse_structures(text: str, source: str = "coverages.toml") -> tuple[Structure, ...]:
    """Read the structures of a coverages file. Raises ValueError with one line: where, what, what to do."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{source}: not valid TOML ({error}); mend the line or restore the shipped file") from None
    if data.get("format") != FORMAT:
        raise ValueError(f"{source}: format {data.get('format')!r}, wanted {FORMAT!r}")
    entries = data.get("structure")
    if not isinstance(entries, list) or not entries:
        raise ValueError(f"{source}: no [[structure]] in it; at least one is needed")
    return tuple(_structure(entry, f"{source}: structure {k + 1}") for k, entry in enumerate(entries))


def _structure(entry: Mapping[str, Any], where: str) -> Structure:
    family = entry.get("family")
    if family not in FAMILIES:
        raise ValueError(f"{where}: family {family!r}, wanted one of {', '.join(FAMILIES)}")
    where = f"{where} ({family})"
    deep = _roles(entry.get("deep", []), where, "deep")
    man = bool(entry.get("man", False))
    under: dict[int, tuple[tuple[str, ...], ...]] = {}
    for key, ways in entry.get("under", {}).items():
        if not str(key).isdigit():
            raise ValueError(f"{where}: under.{key}: the key must be a number of men")
        for way in ways:
            roles = _roles(way, where, f"under.{key}")
            if len(roles) != int(key):
                raise ValueError(f"{where}: under.{key} lists {len(roles)} roles, wanted {key}")
        under[int(key)] = tuple(tuple(way) for way in ways)
    if man == bool(under):
        raise ValueError(f"{where}: wants either man = true or a table [structure.under]")
    spare = _roles(entry.get("spare", []), where, "spare")
    weight = entry.get("weight", 1.0)
    if not isinstance(weight, int | float) or weight <= 0:
        raise ValueError(f"{where}: weight {weight!r}, wanted a number above 0")
    return Structure(str(family), str(entry.get("variant", "")), float(weight), deep, under, man, spare,
                     bool(entry.get("all_man", False)))


def _roles(roles: Any, where: str, key: str) -> tuple[str, ...]:
    if not isinstance(roles, list):
        raise ValueError(f"{where}: {key}: wanted a list of roles, as \"curl-flat:left\"")
    for role in roles:
        word, _, area = str(role).partition(":")
        if word not in (*ASSIGNMENTS, *EXTRA_WORDS) or area not in AREAS:
            raise ValueError(f"{where}: {key}: role {role!r} is no word:area of the vocabulary (as \"deep-third:left\")")
    return tuple(str(role) for role in roles)


def parse_looks(text: str, source: str = "roles.json") -> dict[str, dict[str, Look]]:
    """Read what the roles look like in each dialect. Raises ValueError when the measures are not those of this version."""
    data = json.loads(text)
    if tuple(data.get("measures", ())) != MEASURES:
        raise ValueError(f"{source}: measures differ from this version's; learn it anew (tests/bench/learn_coverage.py)")
    return {dialect: {name: _look(entry) for name, entry in roles.items()} for dialect, roles in data["dialects"].items()}


def _look(entry: Mapping[str, Any]) -> Look:
    sd, correlation = np.array(entry["sd"]), np.eye(len(MEASURES))
    rows, columns = np.tril_indices(len(MEASURES), -1)
    correlation[rows, columns] = correlation[columns, rows] = np.array(entry["correlation"])
    return Look(np.array(entry["mean"]), positive(correlation) * sd[:, None] * sd[None])


def positive(correlation: FloatArray) -> FloatArray:
    """The correlations (M, M) with every eigenvalue at least LEAST_EIGENVALUE: rounding takes them below zero."""
    values, vectors = np.linalg.eigh(correlation)
    repaired: FloatArray = (vectors * np.maximum(values, LEAST_EIGENVALUE)) @ vectors.T
    return repaired


def format_looks(dialects: Mapping[str, Mapping[str, Look]]) -> str:
    """The inverse of `parse_looks`: mean, standard deviation and the lower triangle of the correlations, rounded."""
    blocks = []
    for dialect, looks in dialects.items():
        lines = ",\n".join(f"    {json.dumps(name)}: {json.dumps(_entry(look))}" for name, look in looks.items())
        blocks.append(f"  {json.dumps(dialect)}: {{\n{lines}\n  }}")
    body = ",\n".join(blocks)
    return f'{{"measures": {json.dumps(list(MEASURES))},\n "dialects": {{\n{body}\n}}}}\n'


def _entry(look: Look) -> dict[str, list[float]]:
    rows, columns = np.tril_indices(len(MEASURES), -1)
    sd = np.sqrt(np.diag(look.covariance))
    correlation = (look.covariance / sd[:, None] / sd[None])[rows, columns]
    return {"mean": look.mean.round(3).tolist(), "sd": sd.round(3).tolist(), "correlation": correlation.round(3).tolist()}


def parse_calibration(text: str) -> Calibration:
    """Read the calibration of the posterior."""
    data = json.loads(text)
    temperature = {name: np.array(values, dtype=float) for name, values in data["temperature"].items()}
    bias = {name: np.array(values, dtype=float) for name, values in data["dialect_bias"].items()}
    return Calibration(np.array(data["time_s"], dtype=float), temperature, data["log_prior"], data["log_share"],
                       np.array(data["dialect_scale"], dtype=float), bias)


def parse_book(coverages: str, roles: str, calibration: str) -> Book:
    """A book from the texts of its three files. Raises ValueError where a structure has a role that has no look."""
    structures, dialects = parse_structures(coverages), parse_looks(roles)
    for structure in structures:
        used = structure.roles()
        for looks in dialects.values():
            missing = sorted({look_of(r) for r in used} - looks.keys())
            if missing:
                raise ValueError(f"coverages.toml: {structure.family}: nothing learned of the role {missing[0]}; learn it anew")
    return Book(structures, dialects, parse_calibration(calibration))


@lru_cache(maxsize=1)
def shipped_book() -> Book:
    """The book of this installation's models folder."""
    return parse_book(*(models.path(name).read_text(encoding="utf-8")
                        for name in ("coverages.toml", "roles.json", "coverage_calibration.json")))
