"""Learns to read a play as a whole (models/play.json): the moment of the throw and its target, the kind of play, who rushes.

    python tests/bench/learn_play.py --tracks TRACKS.parquet --plays PLAYS.csv --simulated 300:360 --count 10 --out models

PLAYS has the columns play_id, pass_time and number_of_pass_rushers; all its plays are passes. Of them only the number of
rushers is known, so the likelihood of a play is that of a sum of independent, unequal coins (Poisson binomial). The target is
whom the tracked ball came to.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from labelled import read_labelled
from scipy.optimize import minimize
from scipy.special import expit, log_softmax
from simulated import SimulatedRep, as_filmed, parse_seeds, role_of, simulate

from tagger.football import kind, linemen, release, rush
from tagger.football.playbook import CLIP_SD, Layered, Linear, PlayBook, format_playbook
from tagger.football.sampling import sample
from tagger.football.scene import Scene, make_scene
from tagger.football.throw import MEASURES as THROW_MEASURES
from tagger.football.throw import measure_throw
from tagger.football.types import PlayTracks
from tagger.football.vocabulary import PLAY_KINDS

MOMENT_SD_S = 0.12
HIDDEN, FITS = 12, 3
"""The mean of so many fits, each from another start on other blur: many measures tell nearly the same, and one fit hangs on some
of them by chance."""
BLUR_SD = 0.3
KNOWN_WORTH = 15.0
"""Simulated plays, of which every rusher is known, count like so many in all: real ones show what is hard to tell."""
GAME_WEIGHT = 2.0
"""Labelled plays are few, and harder to read than simulated ones."""
KIND_COUNT = 60


@dataclass(frozen=True)
class Thrown:
    """A throw: when, after the snap (None where nobody threw), to whom ("" where that is not known), how much it counts."""

    scene: Scene
    time_s: float | None
    target: str
    weight: float


def fit_throw(throws: Sequence[Thrown], ridge: float = 10.0) -> Layered:
    """Conditional logit with one hidden layer over moments and receivers, and that nobody threw; the answer is a narrow bell
    about the true throw, of the true target alone if he is known."""
    rows = [(one, *measure_throw(one.scene)) for one in throws]
    stacked = np.concatenate([x.reshape(-1, x.shape[-1]) for _, _, x in rows])
    mean, sd = np.nanmean(stacked, axis=0), np.nanstd(stacked, axis=0) + 1e-6
    tables = [(x.reshape(-1, x.shape[-1]), _answer(one, times, x.shape[1]), one) for one, times, x in rows if len(times)]
    answers = [(x, one.weight * answer) for x, answer, one in tables if answer.any() or one.time_s is None]
    share = np.array([one.weight for _, answer, one in tables if answer.any() or one.time_s is None])
    x = (np.concatenate([x for x, _ in answers]) - mean) / sd
    target = np.concatenate([answer for _, answer in answers])
    play = np.repeat(np.arange(len(answers)), [len(answer) for _, answer in answers])
    fits = [_fit_layer(x, target, play, share, ridge, np.random.default_rng(seed)) for seed in range(FITS)]
    hidden, bias, weight, straight, none = zip(*fits, strict=True)
    return Layered(mean, sd, np.concatenate(hidden), np.concatenate(bias), np.concatenate(weight) / FITS,
                   np.mean(straight, axis=0), np.mean(none, axis=0))


def _fit_layer(x: np.ndarray, target: np.ndarray, play: np.ndarray, share: np.ndarray, ridge: float,
               rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """Hidden layer, its bias, its weights, those of the measures and the logit of nobody, from rows (N, M) of plays (N,): the
    weight `target` (N,) of each and `share` of each play."""
    # Measures are a little off: the layer must not hang on one of them.
    x = np.nan_to_num(np.clip(x + rng.normal(0.0, BLUR_SD, x.shape), -CLIP_SD, CLIP_SD))
    first = np.searchsorted(play, np.arange(len(share)))
    nobody = np.maximum(share - np.add.reduceat(target, first), 0.0)
    width = x.shape[1]
    cut = np.cumsum([HIDDEN * width, HIDDEN, HIDDEN, width])

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        hidden, bias, weight, straight, none = np.split(flat, cut)
        hidden = hidden.reshape(HIDDEN, width)
        layer = np.tanh(x @ hidden.T + bias)
        logit = layer @ weight + x @ straight
        top = np.maximum(np.maximum.reduceat(logit, first), none)
        logit, none = logit - top[play], none - top
        total = np.add.reduceat(np.exp(logit), first) + np.exp(none)
        error = np.exp(logit) / total[play] * share[play] - target
        back = error[:, None] * weight * (1.0 - layer**2)
        slope = np.concatenate([(back.T @ x).ravel(), back.sum(axis=0), layer.T @ error, x.T @ error,
                                [np.sum(np.exp(none) / total * share - nobody)]]) + ridge * flat * kept
        return float(share @ np.log(total) - target @ logit - nobody @ none + 0.5 * ridge * (kept * flat) @ flat), slope

    kept = np.append(np.ones(cut[-1]), 0.0)
    start = np.zeros(cut[-1] + 1)
    start[: cut[0]], start[cut[1] : cut[2]] = rng.normal(0.0, 0.3, cut[0]), rng.normal(0.0, 0.3, HIDDEN)
    flat = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 250}).x
    hidden, *rest = np.split(flat, cut)
    return (hidden.reshape(HIDDEN, width), *rest)


def _answer(thrown: Thrown, times: np.ndarray, receivers: int) -> np.ndarray:
    """(N * R,) the bell over the moments, for the target or shared by all; zeros where the throw lies outside of the moments or
    nobody threw."""
    if thrown.time_s is None:
        return np.zeros(len(times) * receivers)
    bell = np.exp(-0.5 * ((times - thrown.time_s) / MOMENT_SD_S) ** 2)
    names = [thrown.scene.play.player_id[r] for r in thrown.scene.receivers]
    known = np.array([name == thrown.target for name in names], dtype=float)
    known = known if known.any() else np.ones(receivers)
    return np.outer(bell * (bell.sum() > 0.1) / max(bell.sum(), 1e-9), known / known.sum()).ravel()


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

    table = minimize(
        loss, np.zeros(len(PLAY_KINDS) * (x.shape[1] + 1)), jac=True, method="L-BFGS-B").x.reshape(len(PLAY_KINDS), -1)
    return Linear(mean, sd, table[:, 1:], table[:, 0])


def fit_rush(counted: Sequence[tuple[np.ndarray, int]], known: Sequence[tuple[np.ndarray, np.ndarray]],
             ridge: float = 0.1) -> Linear:
    """Logistic regression from plays of which the number of rushers is known and plays of which every man is known."""
    stacked = np.concatenate([x for x, _ in (*counted, *known)])
    mean, sd = stacked.mean(axis=0), stacked.std(axis=0) + 1e-6
    worth = KNOWN_WORTH / max(len(known), 1)

    def loss(parameters: np.ndarray) -> float:
        total = ridge * (parameters[1:] ** 2).sum()
        for x, count in counted:
            total -= np.log(0.9 * rush.count_chances(chance_of(x, parameters))[count] + 0.1 / 12)
        for x, rushes in known:
            chance = chance_of(x, parameters)
            total -= worth * np.log(np.where(rushes, chance, 1.0 - chance)).sum()
        return float(total)

    def chance_of(x: np.ndarray, parameters: np.ndarray) -> np.ndarray:
        return np.clip(expit((x - mean) / sd @ parameters[1:] + parameters[0]), 1e-4, 1 - 1e-4)

    parameters = minimize(loss, np.array([-1.0, *np.full(len(mean), -0.5)]), method="L-BFGS-B").x
    return Linear(mean, sd, parameters[None, 1:], parameters[:1])


OLINE, PASSER = {"T", "G", "C", "OT", "OG", "lt", "lg", "c", "rg", "rt"}, {"QB", "qb"}


@dataclass(frozen=True)
class Stood:
    """An offense at the snap and STEPS_S later ((N, 2) each) and every man's position word."""

    stance: np.ndarray
    later: np.ndarray
    word: tuple[str, ...]


def stood(play: PlayTracks, snap_s: float, word_of: Mapping[str, str]) -> Stood:
    """The offense as `find_front` gets to see it."""
    offense = play.side == "offense"
    grid = np.arange(play.time_s[0], play.time_s[-1], 0.05)
    sampled = sample(play.time_s, play.xy_yd, play.sigma_yd, play.facing_rad, grid)
    tick = sampled.index(snap_s)
    names = [name for name, mine in zip(play.player_id, offense, strict=True) if mine]
    return Stood(sampled.stance(max(0, tick - 2))[offense], sampled.xy_yd[offense, sampled.index(snap_s + linemen.STEPS_S)],
                 tuple(word_of.get(name, "") for name in names))


def fit_front(examples: Sequence[Stood], ridge: float = 1.0) -> Linear:
    """Conditional logit over all lines and passers of an offense; the target is shared by those with the most men right, the
    passer counting as three. The bias makes the worst two hundredth of the right answers just not plain."""
    prepared = []
    for one in examples:
        seen = np.flatnonzero(np.isfinite(one.stance[:, 0]))
        fronts = list(linemen.possible_fronts(one.stance, seen)) if len(seen) >= linemen.FEWEST_TO_LOOK else []
        if not fronts:
            continue
        right = np.array([sum(one.word[i] in OLINE for i in f.linemen) - 2 * sum(one.word[i] not in OLINE for i in f.linemen)
                          + 3 * (one.word[f.passer] in PASSER) for f in fronts])
        if right.max() < 6:
            continue
        rows = np.stack([linemen.measure_front(f, one.stance, one.later, seen) for f in fronts])
        prepared.append((rows, (right == right.max()) / (right == right.max()).sum()))
    stacked = np.concatenate([rows for rows, _ in prepared])
    mean, sd = np.nanmean(stacked, axis=0), np.nanstd(stacked, axis=0) + 1e-6
    tables = [(np.nan_to_num((rows - mean) / sd), chosen) for rows, chosen in prepared]
    weight = _conditional_logit(tables, ridge)
    found = [np.max(x @ weight) for x, chosen in tables if chosen[np.argmax(x @ weight)] > 0]
    return Linear(mean, sd, weight[None], -np.percentile(found, [0.5]))


def _conditional_logit(tables: Sequence[tuple[np.ndarray, np.ndarray]], ridge: float) -> np.ndarray:
    """(M,) weights from choices: (N, M) measures and (N,) the weight with which each was chosen."""

    def loss(weight: np.ndarray) -> tuple[float, np.ndarray]:
        total, slope = 0.5 * ridge * weight @ weight, ridge * weight
        for x, chosen in tables:
            log_chance = log_softmax(x @ weight)
            total -= chosen @ log_chance
            slope = slope + x.T @ (np.exp(log_chance) * chosen.sum() - chosen)
        return total, slope

    out: np.ndarray = minimize(loss, np.zeros(tables[0][0].shape[1]), jac=True, method="L-BFGS-B").x
    return out


def log_shares(counts: Sequence[int]) -> np.ndarray:
    """(12,) log share of reps with so many rushers, one rep added to each."""
    return np.log((np.bincount(counts, minlength=12)[:12] + 1.0) / (len(counts) + 12.0))


def learn_play(labelled: Sequence[tuple[Scene, dict[str, str]]], simulated: Sequence[tuple[Scene, dict]],
               front: Linear) -> PlayBook:
    """The rest, from scenes of labelled plays and scenes of simulated reps with their truths."""
    throws = [Thrown(scene, float(row["pass_time"]), row["target"], GAME_WEIGHT) for scene, row in labelled]
    for scene, t in simulated:
        threw = t["release_s"] and t["play_kind"] != "run"
        throws.append(Thrown(scene, t["release_s"] - t["snap_s"] if threw else None, t["target"] or "", 1.0))
    thrown = fit_throw(throws)
    book = PlayBook(thrown, front, front, front, np.zeros(12))
    scenes = [scene for scene, _ in labelled] + [scene for scene, _ in simulated]
    quick_s = 1.5
    kinds = (["quick" if float(row["pass_time"]) < quick_s else "pass" for _, row in labelled]
             + [t["play_kind"] for _, t in simulated])
    rows = np.stack([kind.measure_kind(scene, release.find_release(scene, book)) for scene in scenes])
    counts = [int(float(row["number_of_pass_rushers"])) for _, row in labelled]
    counted = [(rush.measure_rush(scene), count) for (scene, _), count in zip(labelled, counts, strict=True)]
    known = [_rush_known(scene, t) for scene, t in simulated if t["play_kind"] == "pass" and t["period"] == "team"]
    counts += [int(rushes.sum()) for _, rushes in known]
    return PlayBook(thrown, fit_kind(rows, kinds), fit_rush(counted, known), front, log_shares(counts))


def _rush_known(scene: Scene, truth: dict) -> tuple[np.ndarray, np.ndarray]:
    names = scene.play.player_id
    roles = {d["player_id"]: role_of(truth, d["intervals"][0], []) for d in truth["defenders"]}
    return rush.measure_rush(scene), np.array([roles[names[d]] == "rush" for d in scene.defense])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tracks", type=Path, required=True)
    parser.add_argument("--plays", type=Path, required=True)
    parser.add_argument("--simulated", default="300:360", help="seeds FIRST:LAST")
    parser.add_argument("--count", type=int, default=10, help="reps of each seed")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    played = list(read_labelled(options.tracks, options.plays).values())
    reps = _simulated(parse_seeds(options.simulated), options.count)
    front = fit_front([*stood_in_games(played), *stood_in_reps(reps)])
    labelled = [(_scene(play, 0.0, front), row) for play, row in played]
    scenes = [(_scene(rep.play, rep.truth["snap_s"], front), rep.truth) for rep in reps]
    measures = {"throw": THROW_MEASURES, "kind": kind.MEASURES, "rush": rush.MEASURES, "front": linemen.MEASURES}
    (options.out / "play.json").write_text(format_playbook(learn_play(labelled, scenes, front), measures))


def _simulated(seeds: range, count: int) -> list[SimulatedRep]:
    reps = list(simulate(seeds, count)) + list(simulate(seeds, count // 3, 0.4))
    for some in ("run", "screen", "quick"):
        reps += list(simulate(seeds, KIND_COUNT // len(seeds) + 1, options={"play_kind": some, "period": "team"}))
    rng = np.random.default_rng(0)
    return reps + [as_filmed(rep, rng) for rep in reps]


def stood_in_games(played: Sequence[tuple[PlayTracks, dict[str, str]]]) -> Iterator[Stood]:
    """Labelled plays as they are, and as film would spoil them."""
    rng = np.random.default_rng(1)
    for play, _ in played:
        words = {name: word or "" for name, word in zip(play.player_id, play.position, strict=True)}
        yield stood(play, 0.0, words)
        yield stood(as_filmed(SimulatedRep(play, {"snap_s": 0.0}), rng).play, 0.0, words)


def stood_in_reps(reps: Sequence[SimulatedRep]) -> Iterator[Stood]:
    for rep in reps:
        if rep.truth["period"] == "team":
            yield stood(rep.play, rep.truth["snap_s"], {p["player_id"]: p["role"] for p in rep.truth["players"]})


def _scene(play: PlayTracks, snap_s: float, front: Linear) -> Scene:
    """A scene whose linemen and passer come from the weights just learned, not from those that are shipped."""
    seen = stood(play, snap_s, {})
    return make_scene(play, snap_s, linemen.find_front(seen.stance, seen.later, front))


if __name__ == "__main__":
    main()
