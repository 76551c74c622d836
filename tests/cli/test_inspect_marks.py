"""Marks of the field on the command line and in files."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from tagger.cli import main
from tagger.cli.inspect_marks import marks_from
from tagger.inspection import MarkedSpot

SPOTS = [MarkedSpot("left 30 near hash", (812.0, 433.5)), MarkedSpot("50 far sideline", (900.0, 120.0), 2.5)]


def test_marks_are_read_from_words_tables_and_json(tmp_path: Path) -> None:
    assert marks_from(["Left 30 near hash = 812, 433.5"], None) == SPOTS[:1]
    named, plain, listed = (tmp_path / name for name in ("named.csv", "plain.csv", "marks.json"))
    named.write_text("at_s;x_px;y_px;mark\n;812;433.5;left 30 near hash\n2.5;900;120;50 far sideline\n")
    plain.write_text("left 30 near hash,812,433.5\n50 far sideline,900,120,2.5\n")
    listed.write_text(json.dumps([{"mark": s.words, "x_px": s.xy_px[0], "y_px": s.xy_px[1], "at_s": s.time_s} for s in SPOTS]))
    for path in (named, plain, listed):
        assert marks_from([], path) == SPOTS


@pytest.mark.parametrize("words", ["left 30 near hash", "left 30 near hash=812", "left 30 near hash=a,b",
                                   "left 31 near hash=1,2"])
def test_words_that_make_no_sense_get_one_line(words: str) -> None:
    with pytest.raises(ValueError, match=r"wanted a mark and its place|no such mark"):
        marks_from([words], None)


@pytest.mark.parametrize(("name", "text"), [
    ("m.csv", "mark,x_px\nleft 30 near hash,3\n"), ("m.csv", "left 30 near hash,a,b\n"), ("m.json", "{}"), ("m.json", "nonsense"),
    ("m.json", '[{"mark": "left 30 near hash"}]')])
def test_files_that_make_no_sense_get_one_line(tmp_path: Path, name: str, text: str) -> None:
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(ValueError, match=name):
        marks_from([], path)


def test_keeping_needs_marks(tmp_path: Path) -> None:
    film = tmp_path / "clip.mp4"
    film.write_bytes(b"")
    done = CliRunner().invoke(main, ["inspect", str(film), "--keep", "Coach A"])
    assert done.exit_code == 2
    assert "none were given" in done.output
