"""Learns to read a play as a whole (models/play.json): the moment of the throw, the kind of play, who rushes.

    python tests/bench/learn_play.py --tracks TRACKS.parquet --plays PLAYS.csv --simulated 300:330 --out models

PLAYS has the columns play_id, pass_time and number_of_pass_rushers; all its plays are passes. Of them only the number of
rushers is known, so the likelihood of a play is that of a sum of independent, unequal coins (Poisson binomial).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from labelled import read_labelled
from scipy.optimize import minimize
from scipy.special import expit, log_softmax
from simulated import as_filmed, parse_seeds, role_of, simulate

from tagger.football import kind, release, rush
from tagger.football.playbook import Linear, PlayBook, format_playbook
from tagger.football.scene import Scene, make_scene
from tagger.football.vocabulary import PLAY_KINDS

MOMENT_SD_S = 0.12
KIND_COUNT = 60


def fit_release(examples: Sequence[tuple[Scene, float]], ridge: float = 1.0) -> Linear:
    """Conditional logit over moments; the target is a narrow bell about the true throw."""
    rows = [(*release.measure_release(scene), thrown_s) for scene, thrown_s in examples]
    stacked = np.concatenate([x for _, x, _ in rows])
    mean, sd = stacked.mean(axis=0), stacked.std(axis=0) + 1e-6
    prepared = []
    for times, x, thrown_s in rows:
        target = np.exp(-0.5 * ((times - thrown_s) / MOMENT_SD_S) ** 2)
        if target.sum() > 0.1:
            prepared.append(((x - mean) / sd, target / target.sum()))

    def loss(weight: np.ndarray) -> tuple[float, np.ndarray]:
        total, slope = 0.5 * ridge * weight @ weight, ridge * weight
        for x, target in prepared:
            log_chance = log_softmax(x @ weight)
            total -= target @ log_chance
            slope = slope + x.T @ (np.exp(log_chance) - target)
        return total, slope

    weight = minimize(loss, np.zeros(len(mean)), jac=True, method="L-BFGS-B").x
    return Linear(mean, sd, weight[None], np.zeros(1))


def fit_kind(rows: np.ndarray, kinds: Sequence[str], ridge: float = 1.0) -> Linear:
    """Multinomial logistic regression; missing measures count as the mean."""
    mean, sd = np.nanmean(rows, axis=0), np.nanstd(rows, axis=0) + 1e-6
    x, y = np.nan_to_num((rows - mean) / sd), np.array([PLAY_KINDS.index(k) for k in kinds])
    hot = np.eye(len(PLAY_KINDS))[y]

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        table = flat.reshape(len(PLAY_KINDS), -1)
        log_chance = log_softmax(x @ table[:, 1:].T + table[:, 0], axis=1)
        error = (np.exp(log_chance) - hot)
        slope = np.concatenate([error.sum(axis=0)[:, None], error.T @ x + ridge * table[:, 1:]], axis=1)
        return float(-log_chance[np.arange(len(y)), y].sum() + 0.5 * ridge * (table[:, 1:] ** 2).sum()), slope.ravel()

    table = minimize(loss, np.zeros(len(PLAY_KINDS) * (x.shape[1] + 1)), jac=True, method="L-BFGS-B").x.reshape(len(PLAY_KINDS), -1)
    return Linear(mean, sd, table[:, 1:], table[:, 0])


def fit_rush(counted: Sequence[tuple[np.ndarray, int]], known: Sequence[tuple[np.ndarray, np.ndarray]], ridge: float = 0.1) -> Linear:
    """Logistic regression from plays of which the number of rushers is known and plays of which every man is known."""
    stacked = np.concatenate([x for x, _ in (*counted, *known)])
    mean, sd = stacked.mean(axis=0), stacked.std(axis=0) + 1e-6

    def loss(parameters: np.ndarray) -> float:
        total = ridge * (parameters[1:] ** 2).sum()
        for x, count in counted:
            total -= np.log(0.9 * rush.count_chances(chance_of(x, parameters))[count] + 0.1 / 12)
        for x, rushes in known:
            chance = chance_of(x, parameters)
            total -= 0.1 * np.log(np.where(rushes, chance, 1.0 - chance)).sum()
        return float(total)

    def chance_of(x: np.ndarray, parameters: np.ndarray) -> np.ndarray:
        return np.clip(expit((x - mean) / sd @ parameters[1:] + parameters[0]), 1e-4, 1 - 1e-4)

    parameters = minimize(loss, np.array([-1.0, -3.0, 0.0]), method="L-BFGS-B").x
    return Linear(mean, sd, parameters[None, 1:], parameters[:1])


def log_shares(counts: Sequence[int]) -> np.ndarray:
    """(12,) log share of reps with so many rushers, one rep added to each."""
    return np.log((np.bincount(counts, minlength=12)[:12] + 1.0) / (len(counts) + 12.0))


def learn_play(labelled: Sequence[tuple[Scene, dict[str, str]]], simulated: Sequence[tuple[Scene, dict]]) -> PlayBook:
    """All three, from scenes of labelled plays and scenes of simulated reps with their truths."""
    throws = [(scene, float(row["pass_time"])) for scene, row in labelled]
    throws += [(scene, t["release_s"] - t["snap_s"]) for scene, t in simulated if t["release_s"] and t["play_kind"] != "run"]
    thrown = fit_release(throws)
    book = PlayBook(thrown, thrown, thrown, np.zeros(12))
    scenes = [scene for scene, _ in labelled] + [scene for scene, _ in simulated]
    quick_s = 1.5
    kinds = ["quick" if float(row["pass_time"]) < quick_s else "pass" for _, row in labelled] + [t["play_kind"] for _, t in simulated]
    rows = np.stack([kind.measure_kind(scene, release.find_release(scene, book)) for scene in scenes])
    counts = [int(float(row["number_of_pass_rushers"])) for _, row in labelled]
    counted = [(rush.measure_rush(scene), count) for (scene, _), count in zip(labelled, counts, strict=True)]
    known = [_rush_known(scene, t) for scene, t in simulated if t["play_kind"] == "pass" and t["period"] == "team"]
    counts += [int(rushes.sum()) for _, rushes in known]
    return PlayBook(thrown, fit_kind(rows, kinds), fit_rush(counted, known), log_shares(counts))


def _rush_known(scene: Scene, truth: dict) -> tuple[np.ndarray, np.ndarray]:
    names = scene.play.player_id
    roles = {d["player_id"]: role_of(truth, d["intervals"][0], []) for d in truth["defenders"]}
    return rush.measure_rush(scene), np.array([roles[names[d]] == "rush" for d in scene.defense])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--plays", type=Path, required=True)
    parser.add_argument("--simulated", default="300:320", help="seeds FIRST:LAST")
    parser.add_argument("--count", type=int, default=15, help="reps of each seed")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    labelled = [(make_scene(play, 0.0), row) for play, row in read_labelled(options.tracks, options.plays).values()]
    seeds = parse_seeds(options.simulated)
    reps = list(simulate(seeds, options.count)) + list(simulate(seeds, options.count // 3, 0.4))
    for some in ("run", "screen", "quick"):
        reps += list(simulate(seeds, KIND_COUNT // len(seeds) + 1, options={"play_kind": some, "period": "team"}))
    rng = np.random.default_rng(0)
    reps += [as_filmed(rep, rng) for rep in reps]
    scenes = [(make_scene(rep.play, rep.truth["snap_s"]), rep.truth) for rep in reps]
    measures = {"release": release.MEASURES, "kind": kind.MEASURES, "rush": rush.MEASURES}
    (options.out / "play.json").write_text(format_playbook(learn_play(labelled, scenes), measures))


if __name__ == "__main__":
    main()
