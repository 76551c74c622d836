"""What lies beside a cut-up opens in the libraries of its formats and says what the film holds."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import opentimelineio as otio
import pytest
import webvtt
from filmed_scene import SNAP_S, Scene

from tagger.cutups.edit_list import FILM, SLATE, STILL, CutStyle, EditList, plan
from tagger.cutups.sidecars import captions, chapters, table, write_sidecar
from tagger.cutups.slate import situation_words
from tagger.football.types import Situation

STYLE = CutStyle(slow=0.5)


@pytest.fixture
def edit(uneven: Scene) -> EditList:
    """Two reps of uneven film, the second with a name that markup would break on."""
    events = uneven.reading.events
    return plan([uneven.cut_rep(events=events), uneven.cut_rep("a < b & c", events=events)], STYLE)


def test_the_edit_list_opens_and_is_as_long_as_the_film(edit: EditList, tmp_path: Path) -> None:
    write_sidecar(edit, Path("cut.mp4"), tmp_path / "cut.otio")
    opened = otio.adapters.read_from_file(str(tmp_path / "cut.otio"))
    assert isinstance(opened, otio.schema.Timeline)
    track = opened.video_tracks()[0]
    assert track.duration().to_seconds() == pytest.approx(edit.duration_s, abs=0.001 * len(edit.pieces))
    for item, piece in zip(track, edit.pieces, strict=True):
        assert isinstance(item, otio.schema.Gap) == (piece.kind == SLATE)
        if piece.kind == SLATE:
            continue
        assert item.source_range.start_time.to_seconds() == pytest.approx(piece.start_s, abs=1e-3)
        assert item.media_reference.target_url == edit.reps[0].clips[0].path.as_uri()
        speeds = [effect.time_scalar for effect in item.effects]
        assert speeds == ([0.0] if piece.kind == STILL else [] if piece.speed == 1 else [0.5])
    names = [marker.name for item in track for marker in item.markers]
    assert "snap" in names
    assert "over the top" in names


def test_chapters_and_captions_parse_and_stand_where_they_belong(edit: EditList) -> None:
    found = list(webvtt.from_string(chapters(edit)))
    assert len(found) == 2
    second = edit.of_rep(1)
    assert found[1].start_in_seconds == pytest.approx(int(second[0].at_s), abs=1)
    assert "rep-001, 3rd & 7" in found[0].text.replace("&amp;", "&")
    assert "a < b" not in chapters(edit)
    cues = list(webvtt.from_string(captions(edit)))
    words = [cue.text for cue in cues]
    assert sum("over the top, #1 L, 1.2 yd, 2.2 s after" in text for text in words) == 2
    assert sum("cover-3 played (80%)" in text for text in words) == 2
    starts = [cue.start_in_seconds for cue in cues]
    assert starts == sorted(starts)
    event = next(cue for cue in cues if "over the top" in cue.text)
    piece = next(p for p in edit.of_rep(0) if p.kind == FILM and p.start_s <= 4.2 + 3.0 < p.end_s)
    seen_s = piece.at_s + (4.2 + 3.0 - piece.start_s) / piece.speed
    assert event.start == f"00:00:{seen_s:06.3f}"


def test_the_table_has_a_line_for_each_piece(edit: EditList) -> None:
    rows = list(csv.DictReader(io.StringIO(table(edit))))
    assert [row["kind"] for row in rows] == [piece.kind for piece in edit.pieces]
    assert float(rows[-1]["at_s"]) + float(rows[-1]["lasts_s"]) == pytest.approx(edit.duration_s, abs=1e-3)
    film = [row for row in rows if row["kind"] == FILM]
    assert float(film[0]["source_end_s"]) == pytest.approx(SNAP_S + 3.0)
    assert {row["family"] for row in rows} == {"cover-3"}


def test_another_ending_is_refused(edit: EditList, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"end the name in \.otio"):
        write_sidecar(edit, Path("cut.mp4"), tmp_path / "cut.edl")


@pytest.mark.parametrize(("situation", "words"), [
    (Situation(3, 7.0, "right", yards_to_goal=65.0), "3rd & 7, right hash, own 35"),
    (Situation(1, 10.0, yards_to_goal=50.0), "1st & 10, midfield"),
    (Situation(down=4, yards_to_goal=2.0), "4th, opponent 2"), (Situation(), ""), (Situation(hash="middle"), "middle")])
def test_situations_read_as_a_coach_says_them(situation: Situation, words: str) -> None:
    assert situation_words(situation) == words


def test_the_pieces_of_a_plan_touch_and_cover_what_was_asked(uneven: Scene) -> None:
    for style in (STYLE, replace(STYLE, slow=1.0), replace(STYLE, freeze_s=0.0, slate_s=0.0), replace(STYLE, lead_in_s=0.0)):
        planned = plan([uneven.cut_rep(events=uneven.reading.events)], style)
        at_s = 0.0
        for piece in planned.pieces:
            assert piece.at_s == pytest.approx(at_s)
            at_s += piece.lasts_s
        film = [piece for piece in planned.pieces if piece.kind == FILM]
        assert film[0].start_s == pytest.approx(max(3.0, 3.0 + SNAP_S - style.lead_in_s))
        assert all(a.end_s == b.start_s for a, b in pairwise(film))
