"""How well football reads: on simulated reps (true or noisy tracks), and on labelled plays by cross-validation.

    python tests/bench/bench_football.py --simulated 970:980 --count 10 --noise 0.4
    python tests/bench/bench_football.py --tracks TRACKS.parquet --plays PLAYS.csv

On labelled plays everything that is learned is learned anew without the plays that it judges. Baselines stand beside the
figures: always the commonest answer.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from labelled import read_labelled
from learn_coverage import known_example, latent_example, learn, log_prior
from learn_play import fit_front, learn_play, stood_in_games, stood_in_reps
from simulated import as_filmed, parse_seeds, simulate

from demo_clips.play import make_rep
from tagger.cli.score_tracks import scored_tracks
from tagger.football.book import Book, shipped_book
from tagger.football.reading import read_play
from tagger.football.scene import make_scene
from tagger.football.types import PlayTracks, Reading
from tagger.football.vocabulary import FAMILIES, MAN_FAMILIES, UNKNOWN
from tagger.scoring import Truth
from tagger.scoring.calls import calibration_error
from tagger.scoring.report import report
from tagger.scoring.truth import FORMAT


def simulated_report(seeds: range, count: int, noise_yd: float, options: dict[str, Any]) -> dict[str, Any]:
    """Every football metric over simulated reps whose true tracks, spoiled by noise, are read without a hint."""
    scored = []
    for seed in seeds:
        for index in range(count):
            _, raw = make_rep(seed, index, options)
            tracks = raw["tracks"]
            xy = np.array(tracks["xy_yd"], dtype=float)
            xy += np.random.default_rng([seed, index]).normal(0.0, noise_yd, xy.shape) if noise_yd else 0.0
            truth = Truth(raw["rep"], raw, (), np.array(tracks["time_s"], dtype=float), tuple(tracks["player_id"]), xy,
                          np.array(tracks["facing_rad"], dtype=float))
            scored.append(scored_tracks(truth, use_script=False))
    assert all(one.truth.raw["format"] == FORMAT for one in scored)
    return report(scored)


def labelled_report(tracks: Path, plays: Path, simulated: range, count: int, folds: int) -> dict[str, Any]:
    """Family, man against zone, rushers and snap of labelled plays, each read by a tagger that was learned without it."""
    labelled = {name: pair for name, pair in read_labelled(tracks, plays).items() if pair[1]["coverage_family"] in FAMILIES}
    names = list(labelled)
    reps = list(simulate(simulated, count)) + [rep for some in ("run", "screen", "quick")
                                               for rep in simulate(simulated, 3, options={"play_kind": some, "period": "team"})]
    scenes = [(make_scene(rep.play, rep.truth["snap_s"]), rep.truth) for rep in reps]
    rng = np.random.default_rng(0)
    graded = [rep for rep in reps if rep.truth["gradable"]]
    drawn, filmed = [known_example(rep) for rep in graded], [known_example(as_filmed(rep, rng)) for rep in graded]
    text = (Path(__file__).parents[2] / "models" / "coverages.toml").read_text(encoding="utf-8")
    drawn_looks, filmed_looks = learn(drawn, text), learn(filmed, text)
    answers = []
    for fold in range(folds):
        inside = [name for i, name in enumerate(names) if i % folds != fold]
        examples = [latent_example(name, labelled[name][0], labelled[name][1]["coverage_family"]) for name in inside]
        shipped = shipped_book()
        priors = {"games": log_prior(examples), "drawn": log_prior(drawn), "filmed": log_prior(filmed)}
        learned = {"games": learn(examples, text), "drawn": drawn_looks, "filmed": filmed_looks}
        shares = {source: one.log_share for source, one in learned.items()}
        calibration = replace(shipped.calibration, log_prior=priors, log_share=shares)
        book = Book(shipped.structures, {source: one.looks for source, one in learned.items()}, calibration)
        front = fit_front([*stood_in_games([labelled[name] for name in inside]), *stood_in_reps(reps)])
        numbers = learn_play([(make_scene(labelled[n][0], 0.0), labelled[n][1]) for n in inside], scenes, front)
        answers += [(labelled[n][1], read_play(replace(labelled[n][0], snap_s=None), book, numbers=numbers))
                    for n in names[fold::folds]]
    return _judge_labelled(answers)


def _judge_labelled(answers: Sequence[tuple[dict[str, str], Reading]]) -> dict[str, Any]:
    true = [row["coverage_family"] for row, _ in answers]
    said, sure = zip(*(_answer(reading) for _, reading in answers), strict=True)
    right = [a == b for a, b in zip(true, said, strict=True)]
    left_open = sum(max(reading.family, key=lambda f: reading.family[f]) == UNKNOWN for _, reading in answers if reading.family)
    return {
        "plays": len(answers),
        "family": float(np.mean(right)),
        "family_majority": Counter(true).most_common(1)[0][1] / len(true),
        "man_or_zone": float(np.mean([(a in MAN_FAMILIES) == (b in MAN_FAMILIES) for a, b in zip(true, said, strict=True)])),
        "rushers": float(np.mean([reading.rush_count == int(float(row["number_of_pass_rushers"])) for row, reading in answers])),
        "snap_within_0.2_s": float(
            np.mean([reading.snap_s is not None and abs(reading.snap_s) < 0.2001 for _, reading in answers])),
        "left_open": left_open,
        "ece": calibration_error(sure, right),
        "reliability": reliability(sure, right),
        "confusion": {a: dict(Counter(s for t, s in zip(true, said, strict=True) if t == a)) for a in sorted(set(true))},
    }


def _answer(reading: Reading) -> tuple[str, float]:
    """The likeliest family other than unknown and its share of their chances; tampa-2 is filed under cover-2 in the labels."""
    families = {name: p for name, p in reading.family.items() if name != UNKNOWN}
    families["cover-2"] = families.get("cover-2", 0.0) + families.pop("tampa-2", 0.0)
    best = max(families, key=lambda f: families[f])
    return best, families[best] / max(sum(families.values()), 1e-9)


def reliability(sure: Sequence[float], right: Sequence[bool]) -> list[dict[str, float]]:
    """Tenth by tenth of what was said to be the chance: how many, how sure on average, how many of them right."""
    bins = np.minimum((np.array(sure) * 10).astype(int), 9)
    return [{"answers": int((bins == b).sum()), "sure": round(float(np.array(sure)[bins == b].mean()), 3),
             "right": round(float(np.array(right)[bins == b].mean()), 3)} for b in np.unique(bins)]


def speed(plays: Sequence[PlayTracks]) -> float:
    """Seconds a rep."""
    start = time.perf_counter()
    for play in plays:
        read_play(play)
    return (time.perf_counter() - start) / len(plays)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--simulated", default="970:980", help="seeds FIRST:LAST")
    parser.add_argument("--count", type=int, default=10, help="reps of each seed")
    parser.add_argument("--noise", type=float, default=0.0, help="standard deviation of white noise, yd")
    parser.add_argument("--tracks", type=Path)
    parser.add_argument("--plays", type=Path)
    parser.add_argument("--folds", type=int, default=5)
    options = parser.parse_args()
    seeds = parse_seeds(options.simulated)
    if options.tracks is not None:
        print(json.dumps(labelled_report(options.tracks, options.plays, seeds, options.count, options.folds), indent=1))
    else:
        print(json.dumps(simulated_report(seeds, options.count, options.noise, {}), indent=1))


if __name__ == "__main__":
    main()
