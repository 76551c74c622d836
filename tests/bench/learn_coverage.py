"""Learns what each coverage role looks like from labelled tracks and from simulated reps, and how sure that makes one.

    python tests/bench/learn_coverage.py --tracks TRACKS.parquet --plays PLAYS.csv --simulated 300:330 --out models

Writes models/roles.json and models/coverage_calibration.json; needs pandas beside the project's own packages.

TRACKS has the rows that `deepthird tag-tracks` reads, PLAYS the columns play_id and coverage_family. Of the labelled plays
only the family is known: who had which role is latent, and expectation-maximisation (Dempster, Laird and Rubin, J. Royal
Statistical Society B, 1977) shares every play out over all assignments of its family's structures. Of simulated reps the
roles are known. The start, and the prior of every mean, are the trade's landmarks (LANDMARKS below).
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from labelled import read_labelled
from scipy.optimize import minimize
from scipy.special import logsumexp
from simulated import SimulatedRep, as_filmed, parse_seeds, role_of, simulate

from tagger.football.book import FLAT, Book, Look, format_looks, look_of, parse_structures, side_of
from tagger.football.inference import in_left_form, way_key, weigh
from tagger.football.measures import ACROSS, LATEST_S, Measured, measure
from tagger.football.playbook import shipped_playbook
from tagger.football.rush import rush_probability
from tagger.football.scene import Scene, make_scene
from tagger.football.types import PlayTracks
from tagger.football.vocabulary import FAMILIES

# depth and across (from the middle of the field, left negative) at stance, read, drop and landmark; common practice, no source.
LANDMARKS = {
    "deep-third-outside": (6, -16, 8, -16, 12, -16, 16, -16, 19, -16), "deep-third-middle": (12, 0, 14, 0, 17, 0, 20, 0, 23, 0),
    "free": (12, 0, 14, 0, 17, 0, 20, 0, 22, 0), "pole": (5, 0, 7, 0, 12, 0, 16, 0, 19, 0),
    "deep-half": (12, -8, 14, -9, 16, -10, 19, -11, 22, -12), "deep-quarter-outside": (7, -16, 9, -16, 12, -15, 15, -15, 18, -15),
    "deep-quarter-inside": (11, -6, 12, -6, 14, -6, 16, -6, 18, -6), "curl-flat": (6, -9, 6, -11, 7, -13, 8, -14, 9, -14),
    "hook-curl": (5, -4, 6, -5, 8, -6, 9, -6, 10, -6), "middle-hook": (5, 0, 6, 0, 8, 0, 9, 0, 10, 0),
    "flat": (4, -16, 4, -17, 5, -17, 6, -17, 7, -17), "robber": (8, 0, 8, 0, 9, 0, 10, 0, 10, 0),
    "man": (4, -8, 5, -8, 7, -8, 9, -8, 11, -8),
    "cloud-third": (12, -9, 13, -11, 15, -13, 17, -14, 19, -15), "cloud-flat": (5, -16, 5, -16, 6, -15, 7, -15, 8, -14),
}
PLACE_SD_YD = np.array([4, 5, 4, 5, 5, 5.5, 6, 6.0, 7, 7])
SELF_START = ((3.0, 5.0), (0.5, 0.5), (1.0, 0.5))
MAN_START = ((0.9, 0.5), (0.9, 0.6), (0.75, 0.35), (0.0, 0.6), (1.0, 0.6), (0.2, 0.5))
ZONE_START = ((1.5, 0.5), (1.5, 0.6), (0.3, 0.35), (-0.5, 0.6), (1.5, 0.6), (0.7, 0.5))
CONTEXT_START = ((0.0, 4.0), (0.0, 2.0))
ROUNDS = 3


@dataclass(frozen=True)
class Example:
    """The coverage men of one play, its family, and (of a simulated rep) the role of each man, None where latent."""

    name: str
    measured: Measured
    family: str
    scene: Scene
    roles: tuple[str | None, ...] | None = None


def first_looks() -> dict[str, Look]:
    """The trade's landmarks as looks."""
    looks = {}
    for name, place in LANDMARKS.items():
        pair = MAN_START if name == "man" else ZONE_START
        mean = np.array([*place, *(m for m, _ in (*SELF_START, *pair, *CONTEXT_START))], dtype=float)
        wide = PLACE_SD_YD * (1.6 if name == "man" else 1.0)
        sd = np.array([*wide, *(s for _, s in (*SELF_START, *pair, *CONTEXT_START))])
        looks[name] = Look(mean, np.diag(sd**2))
    return looks


def coverage_men(scene: Scene) -> Measured:
    """The measures of all who do not rush, as the reading finds them."""
    return measure(scene, scene.defense[rush_probability(scene, shipped_playbook()) < 0.5], LATEST_S)


def latent_example(name: str, play: PlayTracks, family: str) -> Example:
    scene = make_scene(play, 0.0)
    return Example(name, coverage_men(scene), family, scene)


def known_example(rep: SimulatedRep) -> Example:
    scene = make_scene(rep.play, rep.truth["snap_s"])
    measured, names = coverage_men(scene), rep.play.player_id
    receivers = [names[r] for r in scene.receivers]
    position = {p["player_id"]: p["role"] for p in rep.truth["players"]}
    roles = {d["player_id"]: role_of(rep.truth, d["intervals"][0], receivers, position[d["player_id"]])
             for d in rep.truth["defenders"]}
    known = tuple(None if roles[names[d]] == "rush" else roles[names[d]] for d in measured.defenders)
    return Example(rep.truth["rep"], measured, rep.truth["family"], scene, known)


@dataclass(frozen=True)
class DrawnIn:
    """How far a source is drawn in: as if `prior_men` men had stood on the landmarks, and correlations reduced by the share
    `to_diagonal`. Few plays with latent roles want much of it, many with known roles little (by cross-validation)."""

    prior_men: float
    to_diagonal: float


LATENT, KNOWN = DrawnIn(110.0, 0.8), DrawnIn(0.5, 0.0)


@dataclass(frozen=True)
class Learned:
    """What a source of plays taught: the looks of its roles and the log share of each way to play a family."""

    looks: dict[str, Look]
    log_share: dict[str, float]


def learn(examples: Sequence[Example], structures_text: str) -> Learned:
    """Fit the looks. Examples with latent roles are shared out anew in every round."""
    latent = any(example.roles is None for example in examples)
    drawn_in = LATENT if latent else KNOWN
    structures = parse_structures(structures_text)
    start = first_looks()
    book = Book(structures, {"": start}, FLAT)
    for _ in range(ROUNDS if latent else 1):
        rows: dict[str, list[tuple[float, np.ndarray]]] = {name: [] for name in start}
        for example in examples:
            for weight, role, man in _shares(book, example):
                _collect(rows, weight, role, man, example.measured)
        looks = {name: _fit(rows[name], start[name], drawn_in) for name in start}
        book = replace(book, dialects={"": looks if latent else _pool(looks, {name: len(rows[name]) for name in start})})
    return Learned(dict(book.dialects[""]), _way_shares(book, examples))


def _way_shares(book: Book, examples: Sequence[Example]) -> dict[str, float]:
    """Log share of each way among those of its family with as many men, one play spread over all."""
    count: dict[tuple[str, int], dict[str, float]] = {}
    for men in range(3, 10):
        for structure in book.structures:
            for roles in structure.ways(men):
                zones = tuple(r for r in roles if r != "man")
                key = way_key(structure.family, zones, roles.count("man"))
                count.setdefault((structure.family, men), {})[key] = 0.0
    for example in examples:
        table = count.get((example.family, len(example.measured.defenders)), {})
        if example.roles is not None:
            zones = tuple(r for r in example.roles if r is not None and not r.startswith("man"))
            key = way_key(example.family, zones, sum(r is not None and r.startswith("man") for r in example.roles))
            if key in table:
                table[key] += 1.0
        elif table:
            evidence = weigh(_only(book, example.family), example.measured)
            for way, p in zip(evidence.ways, np.exp(evidence.log_evidence[0] - logsumexp(evidence.log_evidence[0])), strict=True):
                table[way.key] += float(p)
    return {key: round(float(np.log((n + 1.0 / len(table)) / (sum(table.values()) + 1.0))), 3)
            for table in count.values() for key, n in table.items()}


def _only(book: Book, family: str) -> Book:
    return replace(book, structures=tuple(s for s in book.structures if s.family == family))


def _shares(book: Book, example: Example) -> Iterable[tuple[float, str, int]]:
    """(weight, role, man) of an example: certain where roles are known, else the posterior over its family's ways."""
    if example.roles is not None:
        yield from ((1.0, role, man) for man, role in enumerate(example.roles) if role is not None)
        return
    evidence = weigh(_only(book, example.family), example.measured)
    if not evidence.ways:
        return
    posterior = np.exp(evidence.log_evidence[0] - logsumexp(evidence.log_evidence[0]))
    for k in np.flatnonzero(posterior > 1e-3):
        for j, role in enumerate(evidence.ways[k].roles):
            for man in np.flatnonzero(posterior[k] * evidence.chance[0, k, :, j] > 0.01):
                yield float(posterior[k] * evidence.chance[0, k, man, j]), role, int(man)


def _collect(rows: dict[str, list[tuple[float, np.ndarray]]], weight: float, role: str, man: int, measured: Measured) -> None:
    if role.startswith("man:"):
        row = measured.with_receiver(int(role[4:]))[man : man + 1]
        rows["man"].append((weight, in_left_form(row, np.nan_to_num(row[:, ACROSS[0]]) > 0)[0]))
        return
    row = measured.with_nearest()[man : man + 1]
    sides = (False, True) if side_of(role) == "middle" else (side_of(role) == "right",)
    rows[look_of(role)].extend((weight / len(sides), in_left_form(row, side)[0]) for side in sides)


def _fit(rows: list[tuple[float, np.ndarray]], start: Look, drawn_in: DrawnIn) -> Look:
    """Weighted mean and covariance, drawn toward the landmarks as if so many men had stood there."""
    prior_men = drawn_in.prior_men
    if not rows:
        return start
    weight, values = np.array([w for w, _ in rows]), np.array([v for _, v in rows])
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    mean = (weight @ filled + 0.3 * prior_men * start.mean) / (weight @ known + 0.3 * prior_men)
    away = np.where(known, values - mean, 0.0)
    together = np.einsum("n,nc,nd->cd", weight, known.astype(float), known.astype(float))
    spread = np.einsum("n,nc,nd->cd", weight, away, away)
    covariance = (spread + 0.5 * prior_men * start.covariance) / (together + prior_men)
    covariance = (1.0 - drawn_in.to_diagonal) * covariance + drawn_in.to_diagonal * np.diag(np.diag(covariance))
    values_, vectors = np.linalg.eigh(covariance)
    return Look(mean, (vectors * np.maximum(values_, 1e-3)) @ vectors.T)


def _pool(looks: dict[str, Look], men: dict[str, int]) -> dict[str, Look]:
    """So many covariances cannot be learned from few men: a rare role leans on what all zone roles have in common, as if one
    more man a measure had been seen."""
    zones = [name for name in looks if name != "man"]
    pooled = sum(men[name] * looks[name].covariance for name in zones) / max(sum(men[name] for name in zones), 1)
    size = len(looks["man"].mean)
    return {name: look if name == "man" else
            Look(look.mean, (men[name] * look.covariance + size * pooled) / (men[name] + size)) for name, look in looks.items()}


FOLDS = 5
MOST_JUDGED = 250
"""Of a source, about: enough for the few numbers of the calibration."""
START_LOG_T = float(np.log(2.5))
TIMES_S = (0.0, 0.6, 1.0, 1.5, 2.0, 2.6, 3.1)


def log_prior(examples: Sequence[Example]) -> dict[str, float]:
    """Log share of each family, half an example added to each; a family that a source cannot name (tampa-2 in some charts)
    shares that of the one it is filed under."""
    count = {f: 0.5 + sum(e.family == f for e in examples) for f in FAMILIES}
    if not any(e.family == "tampa-2" for e in examples):
        count["cover-2"], count["tampa-2"] = 0.75 * count["cover-2"], 0.25 * count["cover-2"]
    total = sum(count.values())
    return {f: round(float(np.log(n / total)), 3) for f, n in count.items()}


def left_out_evidence(sources: dict[str, list[Example]], text: str) -> list[tuple[str, str, list[np.ndarray]]]:
    """For every example, judged by looks that were learned without it: (dialect, family, log evidence (L, F) at TIMES_S)."""
    structures, out = parse_structures(text), []
    for fold in range(FOLDS):
        learned = {name: learn([e for i, e in enumerate(some) if i % FOLDS != fold], text) for name, some in sources.items()}
        shares = {name: one.log_share for name, one in learned.items()}
        dialects = {name: one.looks for name, one in learned.items()}
        book = Book(structures, dialects, replace(FLAT, log_share=shares))
        for name, some in sources.items():
            for example in some[fold::FOLDS][:: max(1, len(some) // MOST_JUDGED)]:
                tables = []
                for time_s in TIMES_S:
                    measured = measure(example.scene, example.measured.defenders, time_s)
                    families = weigh(book, measured).by_family()
                    tables.append(np.stack([families.get(f, np.full(len(dialects), -1e4)) for f in FAMILIES], axis=1))
                out.append((name, example.family, tables))
    return out


@dataclass(frozen=True)
class Tempered:
    """Calibration of the posterior at TIMES_S: temperatures and biases by dialect, and the dialects' common scale."""

    temperature: dict[str, list[float]]
    scale: list[float]
    bias: dict[str, list[float]]


def fit_calibration(left_out: Sequence[tuple[str, str, list[np.ndarray]]], priors: dict[str, dict[str, float]]) -> Tempered:
    """At each of TIMES_S, everything that stands between the left-out evidence and the told probability, all at once: what is
    told mixes the dialects, so it is the mixture that must be as likely as it can. Every dialect counts alike, however many
    examples it has."""
    dialects = list(priors)
    prior = np.array([[priors[d][f] for f in FAMILIES] for d in dialects])
    source = np.array([dialects.index(name) for name, _, _ in left_out])
    share = 1.0 / np.bincount(source)[source] / len(dialects)
    named = {name for name, family, _ in left_out if family == "tampa-2"}
    right = np.stack([_right(family, name in named) for name, family, _ in left_out])
    count = len(dialects)
    temperatures, scales, biases = [], [], []
    for k in range(len(TIMES_S)):
        tables = np.stack([tables[k] for _, _, tables in left_out])
        centre = logsumexp(tables, axis=2)
        centre -= centre.mean(axis=1, keepdims=True)

        def loss(flat: np.ndarray, tables: np.ndarray = tables, centre: np.ndarray = centre) -> float:
            log_t, scale, bias = flat[:count], flat[count], flat[count + 1 :]
            family = tables / np.exp(log_t)[:, None] + prior
            family -= logsumexp(family, axis=2, keepdims=True)
            speaks = scale * centre + bias
            log_speaks = speaks - logsumexp(speaks, axis=1, keepdims=True)
            told = np.exp(logsumexp(family + log_speaks[:, :, None], axis=1))
            whose = (share * log_speaks[np.arange(len(source)), source]).sum()
            held = 0.02 * ((log_t - START_LOG_T) ** 2).sum() + 0.02 * scale**2 + 1e-4 * (bias**2).sum()
            return float(-(share * np.log(0.99 * (told * right).sum(axis=1) + 0.01 / len(FAMILIES))).sum() - 0.1 * whose + held)

        best = minimize(loss, np.array([*np.full(count, START_LOG_T), 0.2, *np.zeros(count)]), method="L-BFGS-B",
                        bounds=[(-0.5, 3.0)] * count + [(0.0, 1.0)] + [(None, None)] * count).x
        temperatures.append(np.exp(best[:count]).round(3))
        scales.append(round(float(best[count]), 4))
        biases.append(best[count + 1 :].round(3))
    by_dialect = {d: [float(t[j]) for t in temperatures] for j, d in enumerate(dialects)}
    return Tempered(by_dialect, scales, {d: [float(b[j]) for b in biases] for j, d in enumerate(dialects)})


def _right(family: str, names_tampa: bool) -> np.ndarray:
    """(F,) 1 for the family; a chart that files tampa-2 under cover-2 is content with either."""
    return np.array([float(f == family or (family == "cover-2" and f == "tampa-2" and not names_tampa)) for f in FAMILIES])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--plays", type=Path, required=True)
    parser.add_argument("--simulated", default="300:330", help="seeds FIRST:LAST")
    parser.add_argument("--count", type=int, default=15, help="reps of each seed")
    parser.add_argument("--out", type=Path, required=True, help="folder that holds coverages.toml and takes the results")
    options = parser.parse_args()
    text = (options.out / "coverages.toml").read_text(encoding="utf-8")
    labelled = read_labelled(options.tracks, options.plays)
    games = [latent_example(name, play, row["coverage_family"]) for name, (play, row) in labelled.items()
             if row["coverage_family"] in FAMILIES]
    seeds = parse_seeds(options.simulated)
    drawn = [known_example(rep) for noise in (0.0, 0.4) for rep in simulate(seeds, options.count, noise) if rep.truth["gradable"]]
    rng = np.random.default_rng(0)
    filmed = [known_example(as_filmed(rep, rng)) for rep in simulate(seeds, options.count) if rep.truth["gradable"]]
    sources = {"games": games, "drawn": drawn, "filmed": filmed}
    priors = {name: log_prior(some) for name, some in sources.items()}
    left_out = left_out_evidence(sources, text)
    tempered = fit_calibration(left_out, priors)
    print(tempered)
    learned = {name: learn(some, text) for name, some in sources.items()}
    (options.out / "roles.json").write_text(format_looks({name: one.looks for name, one in learned.items()}))
    shares = {name: one.log_share for name, one in learned.items()}
    calibration = {"time_s": TIMES_S, "temperature": tempered.temperature, "log_prior": priors, "log_share": shares,
                   "dialect_scale": tempered.scale, "dialect_bias": tempered.bias}
    (options.out / "coverage_calibration.json").write_text(json.dumps(calibration, indent=1) + "\n")


if __name__ == "__main__":
    main()
