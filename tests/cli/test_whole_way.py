"""The whole way on rendered film: simulate, tag, look, correct, tag again, score. Real film, real detector."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from tagger.cli.options import json_schema
from tagger.library import Correction, Library

pytestmark = pytest.mark.slow
COMMAND = str(Path(sys.executable).with_name("deepthird"))


def deepthird(*arguments: str | Path, status: int = 0) -> subprocess.CompletedProcess[str]:
    done = subprocess.run([COMMAND, *map(str, arguments)], capture_output=True, text=True, check=False, timeout=1500)
    assert done.returncode == status, done.stderr
    return done


def printed(*arguments: str | Path, status: int = 0) -> dict[str, object]:
    value: dict[str, object] = json.loads(deepthird(*arguments, "--json", status=status).stdout)
    jsonschema.validate(value, json_schema(str(arguments[0])))
    return value


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One rep from both views."""
    folder = tmp_path_factory.mktemp("film")
    assert printed("simulate", "--seed", "771", "--count", "1", "--out", folder)["reps"] == ["rep-001"]
    return folder


@pytest.fixture(scope="module")
def library(film: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tagged") / "library"
    found = printed("tag", film, "--library", folder, "--jobs", "2")
    assert [(rep["rep"], len(rep["clips"])) for rep in found["reps"]] == [("rep-001", 2)]  # type: ignore[attr-defined]
    return folder


def test_a_tagged_rep_is_found_shown_and_drawn(library: Path, tmp_path: Path) -> None:
    assert printed("reps", "--library", library)["count"] == 1
    assert printed("show", "rep-001", "--library", library)["clips"]
    assert "rep-001" in deepthird("show", "rep-001", "--library", library).stdout
    with Library.open(library, read_only=True) as kept:
        stored = kept.rep(1)
        assert {clip.view for clip in stored.clips} <= {"sideline", "end-zone", "unknown"}
        assert len(kept.arrays(stored.main_clip.clip_id).tracks) > 0
        assert stored.situation.call


def test_tagging_again_keeps_the_coachs_word(film: Path, library: Path) -> None:
    with Library.open(library) as kept:
        kept.correct(1, Correction("Coach A", "rep", "family", "cover-6", "watched twice"))
    moved = film.parent / "moved"
    shutil.copytree(film, moved)
    printed("tag", moved, "--library", library)
    with Library.open(library) as kept:
        assert kept.count() == 1
        assert kept.rep(1).summary.family == "cover-6"
        assert kept.rep(1).main_clip.path.is_relative_to(moved)


def test_film_that_is_known_is_left_out(film: Path, library: Path) -> None:
    assert printed("tag", film, "--library", library, "--new-only")["reps"] == []


def test_one_bad_clip_does_not_stop_the_batch(film: Path, tmp_path: Path) -> None:
    good = next(film.rglob("*-sideline.mp4"))
    shutil.copy(good, tmp_path / "good.mp4")
    (tmp_path / "bad.mp4").write_bytes(good.read_bytes()[:2000])
    done = deepthird("tag", tmp_path, "--library", tmp_path / "library", status=1)
    assert done.stderr.count(f"deepthird: {tmp_path / 'bad.mp4'}") == 1
    assert "good" in done.stdout


def _heed_interrupts() -> None:
    """A shell's background jobs ignore Ctrl-C, and what they start inherits that."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_stopping_leaves_a_whole_library(film: Path, tmp_path: Path) -> None:
    program = subprocess.Popen(
        [COMMAND, "tag", str(film), "--library", str(tmp_path / "library"), "--jobs", "2"],
        start_new_session=True,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_heed_interrupts,
    )
    while not (tmp_path / "library" / "library.sqlite").exists():
        time.sleep(0.1)
    time.sleep(3)
    os.killpg(program.pid, signal.SIGINT)
    _, said = program.communicate(timeout=60)
    assert program.returncode == 130
    assert "Traceback" not in said
    with Library.open(tmp_path / "library") as kept:
        assert kept._connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert kept.count() in (0, 1)


def test_what_was_seen_at_a_moment(film: Path, tmp_path: Path) -> None:
    clip = next(film.rglob("*-sideline.mp4"))
    seen = printed("inspect", clip, "--at", "2.0", "--picture", tmp_path / "seen.png")
    assert (seen["width"], seen["height"]) == (1280, 720)
    assert len(seen["boxes"]) > 5  # type: ignore[arg-type]
    assert (tmp_path / "seen.png").stat().st_size > 10_000


def test_score_prints_every_metric_of_film_and_of_tracks(film: Path, tmp_path: Path) -> None:
    found = printed("score", film, "--save", tmp_path / "kept")
    assert found["clips"] == 2
    assert set(found["by_view"]) == {"sideline", "end-zone"}  # type: ignore[call-overload]
    assert found["detection"]["ap50"] > 0.5  # type: ignore[index]
    assert printed("score", film, "--save", tmp_path / "kept") == found  # from what is kept, without tagging
    on_tracks = printed("score", film, "--tracks")
    assert on_tracks["assignment"]["matched_defender_share"] == 1.0  # type: ignore[index]


def test_the_cpu_path_never_loads_pytorch(film: Path, tmp_path: Path) -> None:
    clip = next(film.rglob("*-sideline.mp4"))
    code = (
        "import sys; from tagger.cli import main\n"
        f"try: main(['tag', {str(clip)!r}, '--library', {str(tmp_path / 'library')!r}])\n"
        "except SystemExit: pass\n"
        "sys.exit('torch' in sys.modules or 'ultralytics' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False, timeout=900).returncode == 0
