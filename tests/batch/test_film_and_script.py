"""Which clips belong together, and what the practice script says of them."""

from __future__ import annotations

import random
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tagger.batch.clock import lay_on_clock, seconds_of
from tagger.batch.film import RepFilm, find_clips, pair_views, view_in_name
from tagger.batch.plan import Scripts
from tagger.batch.script import map_columns, own_columns, parse_columns, read_script, script_near
from tagger.football.types import Situation


@pytest.mark.parametrize(
    ("name", "stem", "view"),
    [
        ("rep-001-sideline.mp4", "rep-001", "sideline"),
        ("rep-001-end-zone.mp4", "rep-001", "end-zone"),
        ("x_endzone.mov", "x", "end-zone"),
        ("x_end_zone.mov", "x", "end-zone"),
        ("Team 12 EZ.MP4", "Team 12", "end-zone"),
        ("p7-wide.mkv", "p7", "sideline"),
        ("p7.tight.mp4", "p7", "end-zone"),
        ("p7-low-sideline.mp4", "p7", "low-sideline"),
        ("sideline.mp4", "sideline", None),
        ("widely.mp4", "widely", None),
        ("fez.mp4", "fez", None),
        ("rep-1.mp4", "rep-1", None),
    ],
)
def test_view_in_the_name(name: str, stem: str, view: str | None) -> None:
    assert view_in_name(Path(name)) == (stem, view)


def names(*paths: str) -> list[tuple[str, list[str]]]:
    return [(rep.name, [clip.name for clip in rep.clips]) for rep in pair_views([Path(p) for p in paths])]


def test_two_views_of_one_stem_are_one_rep() -> None:
    assert names("/a/rep-1-end-zone.mp4", "/a/rep-1-sideline.mp4", "/a/rep-2.mp4") == [
        ("rep-1", ["rep-1-sideline.mp4", "rep-1-end-zone.mp4"]),
        ("rep-2", ["rep-2.mp4"]),
    ]


def test_same_stems_of_two_folders_stay_apart() -> None:
    assert names("/a/rep-1-sideline.mp4", "/b/rep-1-end-zone.mp4") == [
        ("rep-1-sideline", ["rep-1-sideline.mp4"]),
        ("rep-1-end-zone", ["rep-1-end-zone.mp4"]),
    ]


def test_a_view_that_comes_twice_is_two_reps() -> None:
    assert names("/a/r-wide.mp4", "/a/r-sideline.mp4", "/a/r-ez.mp4") == [
        ("r", ["r-wide.mp4", "r-ez.mp4"]),
        ("r-sideline", ["r-sideline.mp4"]),
    ]


def test_folders_are_searched_to_the_bottom(tmp_path: Path) -> None:
    for name in ("b.MP4", "deep/er/a.mov", "notes.txt", ".hidden.mp4", "truth.json"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("x")
    (tmp_path / "odd.name").write_text("x")
    assert [p.name for p in find_clips([tmp_path, tmp_path / "b.MP4", tmp_path / "odd.name"])] == ["b.MP4", "a.mov", "odd.name"]
    (tmp_path / "empty").mkdir()
    with pytest.raises(ValueError, match="no film in this folder"):
        find_clips([tmp_path / "empty"])


@pytest.mark.parametrize(
    ("header", "fields"),
    [
        (["rep", "down", "distance", "hash", "call"], ["rep", "down", "distance_yd", "hash", "call"]),
        (["Play #", "DN", "DIST", "Hash", "Def Call"], ["rep", "down", "distance_yd", "hash", "call"]),
        (["Clip Name", "Dn", "To Go", "HASH MARK", "Coverage"], ["rep", "down", "distance_yd", "hash", "call"]),
        (["#", "Period", "Pers", "yards_to_goal", "weather"], ["rep", "period", "personnel", "yards_to_goal", None]),
    ],
)
def test_columns_of_any_name(header: list[str], fields: list[str | None]) -> None:
    mapped = map_columns(header)
    assert [mapped.get(i) for i in range(len(header))] == fields


def test_a_script_is_read_row_by_row(tmp_path: Path) -> None:
    path = tmp_path / "script.csv"
    path.write_text(
        "\ufeffRep;Down;Dist;Hash;Period;Call\nrep-001;1st;10;L;Team;Cover 3 Sky\n\nrep-002;3;7,5;R;7 on 7;\n".replace(
            "7,5", "7.5"
        )
    )
    script = read_script(path)
    assert script.situation_of("rep-001") == Situation(1, 10.0, "left", "team", None, "Cover 3 Sky")
    assert script.situation_of("REP_002") == Situation(3, 7.5, "right", "seven-on-seven")
    assert script.situation_of("rep-003") is None


def test_numbers_speak_of_the_number_at_the_end_of_a_name(tmp_path: Path) -> None:
    path = tmp_path / "script.csv"
    path.write_text("Play,Down\n1,1\n12,4\n")
    script = read_script(path)
    assert script.situation_of("tuesday-012") == Situation(down=4)
    assert script.situation_of("clip 1") == Situation(down=1)
    assert script.situation_of("clip") is None


def test_rows_without_a_name_count_in_order(tmp_path: Path) -> None:
    path = tmp_path / "script.csv"
    path.write_text("Down,Distance\n1,10\n2,4\n")
    assert read_script(path).situation_of("rep-002") == Situation(2, 4.0)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", "no rows"),
        ("a,b\n", "no rows"),
        ("a,b\n1,2\n", "no column is understood among a, b"),
        ("rep\n1\n", "no column is understood"),
        ("down\nfifth\n", "row 1, down: 'fifth' is not understood"),
        ("down\n5\n", "'5' is not understood"),
        ("hash\nnorth\n", "'north'"),
        ("distance\n-3\n", "'-3'"),
    ],
)
def test_what_a_script_cannot_say(tmp_path: Path, text: str, line: str) -> None:
    path = tmp_path / "script.csv"
    path.write_text(text)
    with pytest.raises(ValueError, match=line) as refused:
        read_script(path)
    assert str(refused.value).startswith(str(path))


def test_a_clubs_own_column_names_are_kept(tmp_path: Path) -> None:
    path, library = tmp_path / "script.csv", tmp_path / "library"
    path.write_text("Rep,Blitz Menu,Dn\nrep-1,Cover 3 Sky,3\n")
    assert read_script(path).situation_of("rep-1") == Situation(down=3)
    own = own_columns(library, parse_columns(["call=Blitz Menu"]))
    assert read_script(path, own_columns(library)).situation_of("rep-1") == Situation(down=3, call="Cover 3 Sky")
    assert own == own_columns(library) == {"Blitz Menu": "call"}
    assert own_columns(library, parse_columns(["call=Menu", "down=Dn"])) == {"Menu": "call", "Dn": "down"}
    with pytest.raises(ValueError, match="wanted FIELD=COLUMN"):
        parse_columns(["colour=Menu"])
    (library / "script-columns.json").write_text("[")
    with pytest.raises(ValueError, match="no list of column names"):
        own_columns(library)


def films(tmp_path: Path, *names: str) -> list[RepFilm]:
    return [RepFilm(name, (tmp_path / f"{name}.mp4",)) for name in names]


def test_rows_and_film_are_matched_in_order_where_no_name_is_known(tmp_path: Path) -> None:
    (tmp_path / "practice-script.csv").write_text("rep,down\nMike,1\nSam,2\nWill,3\n")
    scripts = Scripts()
    assert scripts.expect(films(tmp_path, "a", "b", "c")) == []
    assert [scripts.situation(film).down for film in films(tmp_path, "a", "b", "c")] == [1, 2, 3]
    assert Scripts().expect(films(tmp_path, "a", "b")) == [f"{tmp_path / 'practice-script.csv'}: no row for a, b"]


def test_what_has_no_counterpart_is_said(tmp_path: Path) -> None:
    (tmp_path / "practice-script.csv").write_text("rep,down\n1,1\n2,2\n3,3\n")
    scripts = Scripts()
    where = tmp_path / "practice-script.csv"
    assert scripts.expect(films(tmp_path, "rep-1", "rep-2", "rep-9")) == [f"{where}: no row for rep-9", f"{where}: no film for 3"]
    assert scripts.situation(films(tmp_path, "rep-9")[0]) == Situation()
    assert scripts.expect(films(tmp_path, "rep-1")) == []


def test_the_script_beside_the_film_or_above_it(tmp_path: Path) -> None:
    clip = tmp_path / "rep-001" / "rep-001-sideline.mp4"
    assert script_near(clip) is None
    (tmp_path / "practice-script.csv").write_text("rep,down\nrep-001,2\n")
    assert script_near(clip) == tmp_path / "practice-script.csv"


@pytest.mark.parametrize(
    ("text", "seconds"), [("16:32", 59520), ("4:32:10 PM", 59530), ("12:05 am", 300), ("0:12:30", 750), ("9:05:01.5", 32701.5)]
)
def test_times_as_people_write_them(text: str, seconds: float) -> None:
    assert seconds_of(text) == seconds


@pytest.mark.parametrize("text", ["", "noon", "4:61", "13:00 PM", "4.30"])
def test_what_is_no_time(text: str) -> None:
    with pytest.raises(ValueError, match="is no time"):
        seconds_of(text)


def test_a_clock_of_twelve_hours_runs_on_past_noon(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("Time,Down\n11:58,1\n12:59,2\n1:03,3\n")
    assert list(read_script(path).times_s.values()) == [43080, 46740, 46980]


@given(
    gaps=st.lists(st.floats(22.0, 120.0), min_size=8, max_size=40),
    late=st.lists(st.floats(-6.0, 6.0), min_size=40, max_size=40),
    clocks_apart_s=st.floats(-1e5, 1e5),
    chance=st.randoms(use_true_random=False),
)
def test_film_lies_on_its_row_whatever_the_clocks_say(
    gaps: list[float], late: list[float], clocks_apart_s: float, chance: random.Random
) -> None:
    """Some reps were not filmed, some film stands in no row: nearly all is laid rightly, or nothing is laid. Reps at even
    intervals, the first missing here and the last there, lie on each other as well one further on: nobody could tell."""
    assume(np.std(gaps) > 12.0)
    at_s = [sum(gaps[: i + 1]) for i in range(len(gaps))]
    rows = [i for i in range(len(gaps)) if chance.random() > 0.1]
    film = [i for i in range(len(gaps)) if chance.random() > 0.2]
    laid = lay_on_clock([at_s[i] + late[i] + clocks_apart_s for i in film], [at_s[i] for i in rows])
    right = [film[i] == rows[j] for i, j in laid.items()]
    both = len(set(rows) & set(film))
    if laid and both >= 6:
        assert sum(right) >= 0.8 * both


def test_reps_at_even_intervals_do_not_say_which_is_which() -> None:
    every_40_s = [40.0 * i + 0.5 for i in range(12)]
    assert lay_on_clock(every_40_s[:9], every_40_s) == {}
    assert lay_on_clock(every_40_s, every_40_s) == {i: i for i in range(12)}


def filmed(path: Path, at: str | None) -> None:
    """A tiny film that says when it was recorded, written by FFmpeg."""
    with av.open(str(path), "w") as out:
        if at:
            out.metadata["creation_time"] = at
        stream = out.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        for _ in range(3):
            out.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="bgr24")))
        out.mux(stream.encode())


def test_film_of_two_cameras_is_laid_on_the_script_by_the_clock(tmp_path: Path) -> None:
    """The second rep was not filmed from behind, the fourth not at all; the cameras' clocks stand in other time zones."""
    (tmp_path / "practice-script.csv").write_text(
        "rep,time,down\nMike,16:30:00,1\nSam,16:30:45,2\nWill,16:32:20,3\nJack,16:33:00,4\nBuck,16:35:10,1\nMo,16:36:20,2\n"
    )
    side, end = tmp_path / "camera-a", tmp_path / "camera-b"
    side.mkdir()
    end.mkdir()
    for name, at in {"C0041": "22:30:03", "C0042": "22:30:49", "C0043": "22:32:23", "C0044": "22:35:12",
                     "C0045": "22:36:24"}.items():
        filmed(side / f"{name}.mp4", f"2026-09-01T{at}Z")
    for name, at in {"C0041": "16-28-30", "C0042": "16-30-52", "C0043": "16-33-40", "C0044": "16-34-51"}.items():
        filmed(end / f"2026-09-01 {at} {name}.mp4", None)
    scripts, found = Scripts(), pair_views(find_clips([tmp_path]))
    assert scripts.expect(found) == [f"{tmp_path / 'practice-script.csv'}: no film for Jack"]
    assert [scripts.situation(film).down for film in found] == [1, 2, 3, 1, 2, 1, 3, 1, 2]


def test_a_recordings_reps_are_laid_on_the_script_by_when_they_start(tmp_path: Path) -> None:
    (tmp_path / "practice-script.csv").write_text("time,down\n0:01:00,1\n0:01:40,2\n0:02:50,3\n0:03:25,4\n0:05:15,1\n")
    scripts, film = Scripts(), tmp_path / "tuesday.mp4"
    assert [one.down for one in scripts.of_recording(film, [42, 81.5, 188, 296]) or ()] == [1, 2, 4, 1]
    assert scripts.of_recording(film, [42, 81.5]) is None
    in_order = scripts.of_recording(film, [5, 50, 60, 90, 95]) or ()  # no clock fits
    assert [one.down for one in in_order] == [1, 2, 3, 4, 1]
