"""Every command: help, JSON alone on stdout, exit codes, one-line errors."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import Result

from tagger.cli import main
from tagger.cli.filters import OPTIONS
from tagger.library import Library
from tagger.library.fields import FIELDS

Run = Callable[..., Result]
COMMAND = str(Path(sys.executable).with_name("deepthird"))


def outside(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """The installed command as a program of its own."""
    return subprocess.run(
        [COMMAND, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={**os.environ, **environment},
    )


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_has_help(run: Run, name: str) -> None:
    found = run(name, "--help")
    assert found.exit_code == 0
    assert "Usage:" in found.output
    for parameter in main.commands[name].params:
        if isinstance(parameter, click.Option):
            assert parameter.opts[-1] in found.output


def test_help_loads_nothing_heavy() -> None:
    """Starting must be quick, and PyTorch may never be loaded for it: what help imports is looked at, not the clock."""
    code = (
        "import sys; from tagger.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "heavy = ('torch', 'numpy', 'cv2', 'scipy', 'rich', 'sqlite3', 'ultralytics')\n"
        "print([m for m in heavy if m in sys.modules], file=sys.stderr)"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stderr.strip() == "[]"


def test_reps_as_a_table_and_as_json(run: Run) -> None:
    table = run("reps", "--family", "cover-3")
    assert table.exit_code == 0
    assert "rep-001" in table.stdout
    assert "rep-002" not in table.stdout
    found = json.loads(run("reps", "--family", "cover-3", "--json").stdout)
    assert [rep["name"] for rep in found["reps"]] == ["rep-001", "rep-003"]


@pytest.mark.parametrize(
    ("arguments", "names"),
    [
        ([], ["rep-001", "rep-002", "rep-003"]),
        (["--down", "3"], ["rep-002", "rep-003"]),
        (["--down", "3", "--distance", "7.."], ["rep-003"]),
        (["--distance", ">=9"], ["rep-001", "rep-003"]),
        (["--family", "cover-1", "--family", "cover-3"], ["rep-001", "rep-002", "rep-003"]),
        (["--family", "!=cover-1"], ["rep-001", "rep-003"]),
        (["--zone", "red"], ["rep-002"]),
        (["--call", "cover-*"], ["rep-001", "rep-002", "rep-003"]),
        (["--slot", "free-safety", "--assignment", "deep-third"], ["rep-001", "rep-002", "rep-003"]),
        (["--slot", "left-corner", "--assignment", "deep-third"], []),  # another man has the deep third
        (["--slot", "left-corner", "--event", "disguise"], []),  # another man's event
        (["--slot", "free-safety", "--event", "disguise", "--down", "1"], ["rep-001"]),
        (["--event", "leverage-lost-over-top", "--margin", "1.."], ["rep-001", "rep-002", "rep-003"]),
        (["--event", "disguise", "--margin", "1.."], []),
        (["--where", "family:cover-3 and not down:1"], ["rep-003"]),
        (["--order", "-rep", "--limit", "2"], ["rep-003", "rep-002"]),
    ],
)
def test_filters(run: Run, arguments: list[str], names: list[str]) -> None:
    found = run("reps", "--json", *arguments)
    assert found.exit_code == 0
    assert [rep["name"] for rep in json.loads(found.stdout)["reps"]] == names


def test_every_filter_is_a_search_field() -> None:
    assert set(OPTIONS) <= set(FIELDS)
    taken = {"rep", "to-goal", "strength", "backs", "releases", "rushers", "box", "player", "verdict", "abstained"}
    assert set(FIELDS) - set(OPTIONS) == taken  # these few are for --where


def test_a_search_is_saved_and_used(run: Run) -> None:
    assert run("reps", "--down", "3", "--slot", "free-safety", "--save", "third down").exit_code == 0
    found = json.loads(run("reps", "--saved", "third down", "--json").stdout)
    assert found["count"] == 2
    assert "third down" in run("reps", "--searches").stdout
    assert "did you mean third down" in run("reps", "--saved", "third dwn").stderr


def test_sql(run: Run) -> None:
    rows = json.loads(run("reps", "--json", "--sql", "SELECT family, count(*) AS n FROM reps GROUP BY family").stdout)
    assert rows == [{"family": "cover-1", "n": 1}, {"family": "cover-3", "n": 2}]
    refused = run("reps", "--sql", "DELETE FROM rep")
    assert refused.exit_code == 1
    assert refused.stderr.startswith("deepthird: SQL: a statement that is not a SELECT may not be used")


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["reps", "--family", "cover3"], "deepthird: family: 'cover3' is not known; did you mean cover-3"),
        (["reps", "--where", "famly:cover-3"], "deepthird: search field: 'famly' is not known; did you mean family?"),
        (["show", "rep-01"], "deepthird: rep: 'rep-01' is not known; did you mean rep-001"),
        (["reps", "--library", "nowhere"], "no library here; tag film first"),
        (["score", "."], "no truth.json in it"),
    ],
)
def test_errors_are_one_line_and_exit_1(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], line: str
) -> None:
    monkeypatch.chdir(tmp_path)
    found = run(*arguments)
    assert found.exit_code == 1
    assert line in found.stderr
    assert found.stderr.count("\n") == 1
    assert found.stdout == ""


@pytest.mark.parametrize(
    "arguments",
    [
        ["nonsense"],
        ["reps", "--nonsense"],
        ["tag"],
        ["tag", "/no/such/clip.mp4"],
        ["show"],
        ["simulate", "--seed", "x", "--count", "1", "--out", "o"],
        ["reps", "--limit", "0"],
        ["tag", "pyproject.toml", "--thorough", "--weights", "pyproject.toml"],
    ],
)
def test_usage_errors_exit_2(run: Run, arguments: list[str]) -> None:
    assert run(*arguments).exit_code == 2


def test_an_unknown_word_is_doubted_not_refused(run: Run) -> None:
    found = run("reps", "--slot", "free-safty", "--json")
    assert (found.exit_code, json.loads(found.stdout)["count"]) == (0, 0)
    assert "did you mean free-safety" in found.stderr


def test_show_has_every_lane_reason_and_event(run: Run) -> None:
    found = run("show", "rep-001")
    assert found.exit_code == 0
    for text in (
        "free-safety D1",
        "|deep-third middle",
        "left-corner D2",
        "|man O1",
        "snap",
        "family over time",
        "+0.5 s",
        "leverage-lost-over-top free-safety against O1 +1.2 yd 70%: deeper than he",
        "facing: too small",
        "strength left",
    ):
        assert text in found.stdout, text
    assert "[" not in found.stdout  # plain text, no terminal's codes


def test_show_as_json_has_the_corrections(run: Run) -> None:
    value = json.loads(run("show", "rep-002", "--json").stdout)
    assert value["family"] == {"cover-1": 1.0}
    assert value["defenders"][0]["intervals"][0]["assignment"] == "deep-third"
    assert value["corrections"] == []


def test_the_installed_command_outside(shelf: Path, tmp_path: Path) -> None:
    found = outside("reps", "--json", DEEPTHIRD_LIBRARY=str(shelf))
    assert (found.returncode, found.stderr) == (0, "")
    assert json.loads(found.stdout)["count"] == 3
    assert outside("reps", "--library", tmp_path / "none").returncode == 1
    assert outside("reps", "--nonsense").returncode == 2
    assert outside("--version").stdout.startswith("deepthird")


def test_a_reader_that_goes_away_is_no_error_story(shelf: Path) -> None:
    piped = subprocess.run(
        f'{COMMAND} reps --library {shelf} --sql "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n'
        ' WHERE i < 20000) SELECT i FROM n" | head -1',
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )
    assert "Traceback" not in piped.stderr


def test_the_library_is_only_read_by_reading(shelf: Path, run: Run) -> None:
    with Library.open(shelf, read_only=True) as library:
        before = library.sql("SELECT rep, tagged_at FROM reps")
    run("reps")
    run("show", "rep-001")
    with Library.open(shelf, read_only=True) as library:
        assert library.sql("SELECT rep, tagged_at FROM reps") == before


def test_mistyped_clips_do_not_stop_the_others(run: Run, tmp_path: Path) -> None:
    """Two files that are no film: a line each, nothing saved, exit 1."""
    for name in ("a.mp4", "b.mp4"):
        (tmp_path / name).write_text("this is not film")
    found = run("tag", tmp_path, "--library", tmp_path / "library", "--json")
    assert found.exit_code == 1
    assert json.loads(found.stdout)["reps"] == []
    lines = found.stderr.strip().splitlines()
    assert len(lines) == 2
    for line, name in zip(lines, ("a.mp4", "b.mp4"), strict=True):
        assert line.startswith(f"deepthird: {tmp_path / name}: ")
    with Library.open(tmp_path / "library") as library:
        assert library.count() == 0


def test_a_folder_without_film(run: Run, tmp_path: Path) -> None:
    found = run("tag", tmp_path, "--library", tmp_path / "library")
    assert found.exit_code == 1
    assert "no film in this folder" in found.stderr
