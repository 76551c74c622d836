"""Three questions of a coach, asked of simulated film by the command line, from the search to the frames of the cut-up.

The library holds what truly happened (so that the answers can be judged exactly); the film is the simulator's.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest
import webvtt
from click.testing import CliRunner, Result
from cut_frames import assert_the_films_own_frames, rows
from truth_reps import load_truth, rep_from_truth

from demo_clips.play import make_rep
from demo_clips.simulate import simulate
from tagger.cli import main
from tagger.library import Library

pytestmark = pytest.mark.slow

SIZE = (640, 360)
FIRST_SEED, MOST_SEEDS = 7000, 600
LOST = ("leverage-lost-over-top", "leverage-lost-inside", "leverage-lost-outside")
OPTIONS = {"family": "cover-3", "play_kind": "pass", "period": "team"}
Truth = dict[str, Any]
Ask = Callable[..., Result]


def deep_third_lost(truth: Truth) -> bool:
    deep = {d["player_id"] for d in truth["defenders"] if any(i["assignment"] == "deep-third" for i in d["intervals"])}
    return any(e["kind"] in LOST and e["player_id"] in deep for e in truth["events"])


def disguised_on_third_and_long(truth: Truth) -> bool:
    said = truth["situation"]
    return bool(truth["disguised"] and truth["shell"] == "two-high" and truth["family"] == "cover-3" and said["down"] == 3
                and said["distance_yd"] >= 7)


def corner_cushions(truth: Truth) -> list[float]:
    """The left corner's margins to the men whom he carried."""
    corner = {d["player_id"] for d in truth["defenders"] if d["slot"] == "corner-left"}
    return [e["margin_yd"] for e in truth["events"] if e["kind"] == "carried" and e["player_id"] in corner]


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four reps of which each question finds some and leaves some out."""
    wanted: list[Callable[[Truth], bool]] = [
        lambda t: deep_third_lost(t) and disguised_on_third_and_long(t),
        lambda t: deep_third_lost(t) and not disguised_on_third_and_long(t),
        lambda t: bool(corner_cushions(t)) and not deep_third_lost(t),
        lambda t: bool(corner_cushions(t)) and not disguised_on_third_and_long(t),
    ]
    folder = tmp_path_factory.mktemp("film")
    for seed in range(FIRST_SEED, FIRST_SEED + MOST_SEEDS):
        truth = json.loads(json.dumps(make_rep(seed, 0, OPTIONS)[1]))
        fits = next((want for want in wanted if want(truth)), None)
        if fits:
            wanted.remove(fits)
            simulate(seed, 1, folder / f"seed-{seed}", ("sideline",), SIZE, options={**OPTIONS, "rate": "29.97"})
        if not wanted:
            return folder
    raise AssertionError(f"{MOST_SEEDS} seeds hold no rep for {len(wanted)} of the questions")


@pytest.fixture(scope="module")
def truths(film: Path) -> dict[str, Truth]:
    """Rep -> what truly happened."""
    return {folder.name: load_truth(folder / "rep-001") for folder in sorted(film.glob("seed-*"))}


@pytest.fixture(scope="module")
def ask(film: Path, tmp_path_factory: pytest.TempPathFactory) -> Ask:
    """The command, on a library of these reps."""
    folder = tmp_path_factory.mktemp("shelf") / "library"
    with Library.open(folder) as library:
        for rep in sorted(film.glob("seed-*")):
            record = rep_from_truth(rep / "rep-001")
            clips = tuple(replace(clip, fingerprint=f"{rep.name}-{clip.fingerprint}") for clip in record.clips)
            library.save_rep(replace(record, name=rep.name, clips=clips))

    def call(*words: str | Path) -> Result:
        result = CliRunner().invoke(main, [*map(str, words), "--library", str(folder)])
        assert result.exit_code == 0, result.output
        return result

    return call


def answer(result: Result) -> list[str]:
    return list(json.loads(result.stdout)["reps"])


def test_every_rep_where_a_deep_third_lost_leverage(ask: Ask, truths: dict[str, Truth], tmp_path: Path) -> None:
    events = [word for kind in LOST for word in ("--event", kind)]
    found = ask("cutup", tmp_path / "lost.mp4", "--assignment", "deep-third", *events, "--slow", "0.5", "--json",
                "--with", ".csv", "--with", ".otio", "--with", ".captions.vtt")
    assert sorted(answer(found)) == sorted(name for name, truth in truths.items() if deep_third_lost(truth))
    pieces = rows(tmp_path / "lost.csv")
    for name in answer(found):
        film_pieces = [p for p in pieces if p["rep"] == name and p["kind"] == "film"]
        for event in (e for e in truths[name]["events"] if e["kind"] in LOST):
            shown = [p for p in film_pieces if float(p["source_start_s"]) <= event["start_s"] < float(p["source_end_s"])]
            assert [p["speed"] for p in shown] == ["0.5"]
    assert otio.adapters.read_from_file(str(tmp_path / "lost.otio")).duration().to_seconds() == pytest.approx(
        float(pieces[-1]["at_s"]) + float(pieces[-1]["lasts_s"]), abs=0.05)
    assert any("over the top" in cue.text or "lost" in cue.text for cue in webvtt.read(str(tmp_path / "lost.captions.vtt")))


def test_two_high_into_three_deep_on_third_and_seven_or_more(ask: Ask, truths: dict[str, Truth], tmp_path: Path) -> None:
    found = ask("cutup", tmp_path / "disguise.mp4", "--down", "3", "--distance", "7..", "--shell", "two-high",
                "--family", "cover-3", "--disguised", "yes", "--json")
    assert answer(found) == [name for name, truth in truths.items() if disguised_on_third_and_long(truth)]


def test_one_corners_reps_the_least_cushion_first(ask: Ask, truths: dict[str, Truth], tmp_path: Path) -> None:
    found = ask("cutup", tmp_path / "corner.mp4", "--slot", "corner-left", "--event", "carried", "--order", "margin", "--json")
    cushions = {name: min(corner_cushions(truth)) for name, truth in truths.items() if corner_cushions(truth)}
    assert answer(found) == sorted(cushions, key=lambda name: cushions[name])


def test_the_frames_are_the_films_own_in_order(ask: Ask, film: Path, tmp_path: Path) -> None:
    """Each decoded frame is the film's frame of that time: nearer to it than to the frames a few steps away."""
    ask("cutup", tmp_path / "bare.mp4", "--slate", "0.5", "--freeze", "0", "--draw", "trails", "--lead-in", "0.2",
        "--with", ".csv", "--event", "carried")
    assert_the_films_own_frames(tmp_path / "bare.mp4", tmp_path / "bare.csv")


def test_a_rep_whose_film_is_gone(ask: Ask, film: Path, truths: dict[str, Truth], tmp_path: Path) -> None:
    gone = film / sorted(truths)[0] / "rep-001"
    clip = next(gone.glob("*.mp4"))
    shutil.move(clip, tmp_path / clip.name)
    try:
        with pytest.raises(AssertionError, match="is gone since it was tagged"):
            ask("cutup", tmp_path / "cut.mp4")
        assert not (tmp_path / "cut.mp4").exists()
        rest = ask("cutup", tmp_path / "cut.mp4", "--skip-missing", "--slate", "0", "--freeze", "0", "--json")
        assert answer(rest) == sorted(truths)[1:]
    finally:
        shutil.move(tmp_path / clip.name, clip)


def test_report_and_exports_of_the_same_reps(ask: Ask, truths: dict[str, Truth], tmp_path: Path) -> None:
    ask("report", tmp_path / "report.html", "--family", "cover-3")
    page = (tmp_path / "report.html").read_text()
    assert all(name in page for name in truths)
    ask("export", tmp_path / "reps.json")
    assert len(json.loads((tmp_path / "reps.json").read_text())["reps"]) == len(truths)
    ask("export", tmp_path / "boxes", "--format", "mot")
    assert len(list((tmp_path / "boxes").glob("*.txt"))) == len(truths)
    ask("export", tmp_path / "field.parquet", "--format", "field-parquet")
    ask("show", sorted(truths)[0], "--picture", tmp_path / "rep.png")
    assert (tmp_path / "rep.png").read_bytes().startswith(b"\x89PNG")
