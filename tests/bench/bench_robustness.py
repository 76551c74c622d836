"""How reading holds up on spoiled tracks: against noise, against missing players, against film that ends early.

    python tests/bench/bench_robustness.py --simulated 980:984 --count 10
    python tests/bench/bench_robustness.py --tracks TRACKS.parquet --plays PLAYS.csv

Nothing is told: snap, linemen and roles are found on the spoiled tracks. Prints one table a curve (Markdown), always beside the
share that always saying the commonest family would get. With --tracks, the labelled plays instead of simulated ones (read with
the shipped book, which learned from plays like them).
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from labelled import read_labelled
from simulated import parse_seeds, simulate

from tagger.football.reading import read_play
from tagger.football.types import PlayTracks
from tagger.football.vocabulary import FAMILIES, MAN_FAMILIES, UNKNOWN

NOISE_YD = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5)
DROPPED = (0, 1, 2, 3, 4)
ENDS_S = (1.5, 2.0, 2.5, 3.0, 4.0)
"""After the snap."""
SNAP_CLOSE_S = 0.2


@dataclass(frozen=True)
class Case:
    """A play that nothing is told of, and the truth: its family and when it was snapped."""

    play: PlayTracks
    family: str
    snap_s: float
    names_tampa: bool


def noisy(play: PlayTracks, sd_yd: float, rng: np.random.Generator) -> PlayTracks:
    """White noise of so much a coordinate, declared as such."""
    sigma = np.hypot(play.sigma_yd, sd_yd)
    return replace(play, xy_yd=play.xy_yd + rng.normal(0.0, sd_yd, play.xy_yd.shape), sigma_yd=sigma)


def without(play: PlayTracks, count: int, rng: np.random.Generator) -> PlayTracks:
    """So many men of either side are never seen."""
    keep = np.sort(rng.permutation(len(play.player_id))[count:])
    return replace(play, player_id=tuple(play.player_id[i] for i in keep), side=play.side[keep], xy_yd=play.xy_yd[keep],
                   sigma_yd=play.sigma_yd[keep], facing_rad=play.facing_rad[keep], position=tuple(play.position[i] for i in keep))


def until(play: PlayTracks, end_s: float) -> PlayTracks:
    """The same, cut off."""
    keep = play.time_s <= end_s + 1e-9
    return replace(play, time_s=play.time_s[keep], xy_yd=play.xy_yd[:, keep], sigma_yd=play.sigma_yd[:, keep],
                   facing_rad=play.facing_rad[:, keep])


def judge(cases: Sequence[Case], spoil: Callable[[Case, np.random.Generator], PlayTracks]) -> str:
    """One row: family right (unknown is wrong), of those answered, answered, man against zone, snap close."""
    right, answered, of_man, close = 0, 0, 0, 0
    for k, case in enumerate(cases):
        reading = read_play(spoil(case, np.random.default_rng(k)))
        close += reading.snap_s is not None and abs(reading.snap_s - case.snap_s) <= SNAP_CLOSE_S + 1e-6
        chances = dict(reading.family)
        if not case.names_tampa and "tampa-2" in chances:
            chances["cover-2"] = chances.get("cover-2", 0.0) + chances.pop("tampa-2")
        said = max(chances, key=lambda f: chances[f], default=UNKNOWN)
        answered += said != UNKNOWN
        right += said == case.family
        of_man += said != UNKNOWN and (said in MAN_FAMILIES) == (case.family in MAN_FAMILIES)
    n = len(cases)
    shares = (right / n, right / max(answered, 1), answered / n, of_man / n, close / n)
    return " | ".join(f"{share:.2f}" for share in shares)


def table(title: str, rows: Sequence[tuple[str, str]]) -> None:
    print(f"\n| {title} | family | of those answered | answered | man or zone | snap within {SNAP_CLOSE_S} s |")
    print("|---|---|---|---|---|---|")
    for name, row in rows:
        print(f"| {name} | {row} |", flush=True)


def simulated_cases(seeds: range, count: int) -> list[Case]:
    reps = [rep for rep in simulate(seeds, count) if rep.truth["gradable"]]
    return [Case(rep.play, rep.truth["family"], rep.truth["snap_s"], True) for rep in reps]


def labelled_cases(tracks: Path, plays: Path) -> list[Case]:
    rows = read_labelled(tracks, plays).values()
    return [Case(replace(play, snap_s=None), row["coverage_family"], 0.0, False)
            for play, row in rows if row["coverage_family"] in FAMILIES]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--simulated", default="980:984", help="seeds FIRST:LAST")
    parser.add_argument("--count", type=int, default=10, help="reps of each seed")
    parser.add_argument("--tracks", type=Path)
    parser.add_argument("--plays", type=Path)
    options = parser.parse_args()
    cases = (simulated_cases(parse_seeds(options.simulated), options.count) if options.tracks is None
             else labelled_cases(options.tracks, options.plays))
    commonest = Counter(case.family for case in cases).most_common(1)[0][1] / len(cases)
    print(f"{len(cases)} reps; always the commonest family: {commonest:.2f}")
    table("noise, yd", [(str(sd), judge(cases, lambda case, rng, sd=sd: noisy(case.play, sd, rng))) for sd in NOISE_YD])
    table("players missing", [(str(k), judge(cases, lambda case, rng, k=k: without(case.play, k, rng))) for k in DROPPED])
    table("film ends after the snap, s",
          [(str(s), judge(cases, lambda case, _, s=s: until(case.play, case.snap_s + s))) for s in ENDS_S])


if __name__ == "__main__":
    main()
