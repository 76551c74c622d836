"""Recordings: the cut list that a person corrects, and clips that are the film's own frames."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import small_work

from demo_clips.encode import Mp4Writer
from tagger.batch import cut_list
from tagger.batch.crew import LocalCrew
from tagger.batch.cut_list import CutList
from tagger.batch.film import RepFilm
from tagger.batch.limits import Limits
from tagger.batch.plan import Scripts, plan_films
from tagger.batch.queue import work_through
from tagger.batch.reps_in_activity import FoundRep
from tagger.batch.script import Script
from tagger.cutups.cut_apart import Part, cut_apart
from tagger.football.types import Situation
from tagger.library import Library
from tagger.library.owner import Owner
from tagger.options import TagOptions
from vision.video import probe, read_frames

Film = Callable[[str, str], Path]

@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("{", "not JSON"),
        ("[]", "not a cut list"),
        ('{"reps": [{"start_s": "a", "end_s": 2}]}', "rep 1: start_s and end_s must be seconds"),
        ('{"reps": [{"start_s": 5, "end_s": 2}]}', "rep 1: 5 s to 2 s is no stretch"),
        ('{"reps": [{"start_s": 5, "end_s": 7}, {"start_s": 1, "end_s": 2}]}', "rep 2: begins before rep 1"),
        ('{"reps": [{"start_s": NaN, "end_s": 7}]}', "must be seconds"),
    ],
)
def test_a_mistyped_cut_list_is_told_in_one_line(tmp_path: Path, text: str, line: str) -> None:
    (tmp_path / "a.reps.json").write_text(text)
    with pytest.raises(ValueError, match=line) as told:
        cut_list.read_beside(tmp_path / "a.mp4")
    assert str(told.value).startswith(str(tmp_path / "a.reps.json"))


def test_a_cut_list_comes_back_as_it_was(tmp_path: Path) -> None:
    cuts = CutList("a.mp4", (FoundRep(1.0, 5.0, 9.5), FoundRep(20.0, 24.25, 31.0)))
    assert cut_list.write(cuts, (tmp_path / "no" / "such.json", tmp_path / "a.reps.json")) == tmp_path / "a.reps.json"
    assert cut_list.read_beside(tmp_path / "a.mp4") == replace(cuts, by_hand=True)


@pytest.fixture(scope="module")
def numbered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten seconds of film whose every frame is another grey, a keyframe every two seconds."""
    path = tmp_path_factory.mktemp("recording") / "tuesday.mp4"
    with Mp4Writer(path, (64, 64), Fraction(25), quality=10) as writer:
        for i in range(250):
            writer.write(np.full((64, 64, 3), i, np.uint8))
    return path


def test_clips_are_the_films_own_frames_and_the_same_every_time(numbered: Path, tmp_path: Path) -> None:
    frames = {round(frame.time_s, 3): frame.bgr for frame in read_frames(numbered)}
    parts = [Part(3.1, 5.5, tmp_path / "a"), Part(5.0, 9.0, tmp_path / "b"), Part(9.5, 30.0, tmp_path / "c")]
    written = cut_apart(numbered, parts)
    assert [one.path.name for one in written] == ["a.mp4", "b.mp4", "c.mp4"]
    for one, part in zip(written, parts, strict=True):
        assert part.start_s - 2.0 <= one.begins_s <= part.start_s  # at the keyframe before
        got = list(read_frames(one.path))
        assert got[-1].time_s + one.begins_s >= min(part.end_s, 9.96) - 1e-6
        for frame in got:
            assert np.array_equal(frame.bgr, frames[round(frame.time_s + one.begins_s, 3)])
    first = [one.path.read_bytes() for one in written]
    assert [one.path.read_bytes() for one in cut_apart(numbered, parts)] == first


def test_a_list_longer_than_the_film_is_told(numbered: Path, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"ends before 50\.0 s, where the cut list has a rep"):
        cut_apart(numbered, [Part(1.0, 2.0, tmp_path / "a"), Part(50.0, 60.0, tmp_path / "b")])


def recorded(arguments: dict[str, object], tell: object) -> bytes:
    """The real splitting of `work.tag_film`; its clips are small work of their own."""
    from tagger.batch.clip_bytes import clip_to_bytes
    from tagger.batch.split import find_cuts_work
    from tagger.library import fingerprint

    path = Path(str(arguments["path"]))
    if cut_list.beside(path).is_file():
        return find_cuts_work(arguments, tell)  # type: ignore[arg-type]
    made = small_work.clip(path.stem)
    return clip_to_bytes(replace(made, path=path, fingerprint=fingerprint(path)))


@pytest.mark.parametrize("rows", [2, pytest.param(3, marks=pytest.mark.slow)])
def test_a_recording_becomes_reps_in_the_queue(numbered: Path, tmp_path: Path, rows: int) -> None:
    film = tmp_path / "tuesday.mp4"
    os.link(numbered, film)
    cut_list.beside(film).write_text(json.dumps({"reps": [{"start_s": 2, "end_s": 5}, {"start_s": 6, "end_s": 9.5}]}))
    scripts = Scripts(Script(tmp_path / "s.csv", tuple((str(n), Situation(down=n + 1)) for n in range(rows)), {}))
    library = tmp_path / "library"
    with Library.open(library) as kept, Owner(library) as owner:
        for again in range(rows - 1):
            plan = plan_films([RepFilm("tuesday", (film,))], TagOptions(), scripts)
            run = kept.jobs.add(plan.wishes)
            night = work_through(
                kept, owner, LocalCrew(1, Limits()), run, work=recorded, scripts=scripts)  # type: ignore[arg-type]
            ends = [(done.job.path.stem, done.state) for done in night]
            assert ends == [("tuesday", "done"), ("tuesday-rep-001", "done"), ("tuesday-rep-002", "done")], again
        assert [rep.name for rep in kept.search("")] == ["tuesday-rep-001", "tuesday-rep-002"]
        downs = [rep.down for rep in kept.search("")]
        assert downs == ([1, 2] if rows == 2 else [None, None])  # a script with another number of reps is not believed
        assert len(kept.jobs.with_parts(plan.wishes[0])) == 3


def test_a_recording_that_was_cut_short_goes_on(numbered: Path, tmp_path: Path) -> None:
    film = tmp_path / "tuesday.mp4"
    os.link(numbered, film)
    cut_list.beside(film).write_text(json.dumps({"reps": [{"start_s": 2, "end_s": 5}, {"start_s": 6, "end_s": 9.5}]}))
    library = tmp_path / "library"
    with Library.open(library) as kept:
        plan = plan_films([RepFilm("tuesday", (film,))], TagOptions(), Scripts())
        for wanted in (["tuesday", "tuesday-rep-001"], ["tuesday-rep-002"]):
            with Owner(library) as owner:
                run = kept.jobs.add(plan.wishes)
                night = work_through(kept, owner, LocalCrew(1, Limits()), run, work=recorded)  # type: ignore[arg-type]
                ends = [next(night).job.path.stem for _ in wanted]
                night.close()
            assert ends == wanted


def test_pictures_without_times_are_told(tmp_path: Path) -> None:
    path = tmp_path / "raw.h264"
    with av.open(str(path), "w", format="h264") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        for i in range(50):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(np.full((64, 64, 3), i, np.uint8), format="bgr24")))
        container.mux(stream.encode())
    assert probe(path).width_px == 64
    with pytest.raises(ValueError, match="its pictures carry no times, so it cannot be cut; export it as MP4"):
        cut_apart(path, [Part(0.5, 1.0, tmp_path / "a")])
