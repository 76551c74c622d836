"""The three questions of a coach, asked of the demo clips as the machine tagged them: from the film to the frames of the cut-up.

What is right is in the clips' truths; the machine has not seen them.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from cut_frames import assert_the_films_own_frames, rows

from tagger.cli import main

pytestmark = pytest.mark.slow

DEMO = Path(__file__).parents[2] / "demo_clips"
REPS = ("rep-001", "rep-003")
LOST = ("leverage-lost-over-top", "leverage-lost-inside", "leverage-lost-outside")


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two reps, both views each, tagged."""
    film, library = tmp_path_factory.mktemp("film"), tmp_path_factory.mktemp("shelf") / "library"
    shutil.copy(DEMO / "practice-script.csv", film)
    for rep in REPS:
        shutil.copytree(DEMO / rep, film / rep, ignore=shutil.ignore_patterns("truth.json"))
    result = CliRunner().invoke(main, ["tag", str(film), "--library", str(library), "--jobs", "2"])
    assert result.exit_code == 0, result.output
    return library


def cut(library: Path, to: Path, *words: str) -> list[str]:
    """Names of the reps in a cut-up, in its order; its frames are held against the film."""
    plain = ["--slate", "0.5", "--freeze", "0", "--lead-in", "0.2", "--with", ".csv", "--json"]
    result = CliRunner().invoke(main, ["cutup", str(to), *words, *plain, "--library", str(library)])
    assert result.exit_code == 0, result.output
    assert_the_films_own_frames(to, to.with_suffix(".csv"))
    names = list(json.loads(result.stdout)["reps"])
    assert list(dict.fromkeys(piece["rep"] for piece in rows(to.with_suffix(".csv")))) == names
    return names


def truth(rep: str) -> dict:
    return json.loads((DEMO / rep / "truth.json").read_text())


def truly(rep: str, kinds: tuple[str, ...], assignment: str | None = None, slot: str | None = None) -> list[float]:
    """Margins of what truly happened to the men of an assignment or a slot."""
    told = truth(rep)
    men = {man["player_id"] for man in told["defenders"] if slot in (None, man["slot"])
           and (assignment is None or any(part["assignment"] == assignment for part in man["intervals"]))}
    return [event["margin_yd"] for event in told["events"] if event["kind"] in kinds and event["player_id"] in men]


def test_every_rep_where_a_deep_third_lost_leverage(library: Path, tmp_path: Path) -> None:
    wanted = [rep for rep in REPS if truly(rep, LOST, "deep-third")]
    events = [word for kind in LOST for word in ("--event", kind)]
    assert wanted
    assert cut(library, tmp_path / "lost.mp4", "--assignment", "deep-third", *events) == wanted


def test_two_high_into_three_deep_on_third_and_seven_or_more(library: Path, tmp_path: Path) -> None:
    told = {rep: truth(rep) for rep in REPS}
    wanted = [rep for rep, t in told.items() if t["disguised"] and t["shell"] == "two-high" and t["family"] == "cover-3"
              and t["situation"]["down"] == 3 and t["situation"]["distance_yd"] >= 7]
    assert wanted
    assert cut(library, tmp_path / "disguise.mp4", "--down", "3", "--distance", "7..", "--shell", "two-high",
               "--family", "cover-3", "--disguised", "yes") == wanted


def test_one_corners_reps_the_least_cushion_first(library: Path, tmp_path: Path) -> None:
    cushions = {rep: min(margins) for rep in REPS if (margins := truly(rep, ("carried",), slot="corner-right"))}
    assert len(cushions) == 2
    assert cut(library, tmp_path / "corner.mp4", "--slot", "corner-right", "--event", "carried", "--order", "margin") == sorted(
        cushions, key=lambda rep: cushions[rep])
