"""Saving: whole or not at all, the same film found again, the coach's word kept."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_reps import clip, field_view, reading, rep, tracks_of

from tagger.football.types import Situation
from tagger.library import (
    Correction,
    Library,
    LibraryError,
    RepRecord,
    StaleEdit,
    fingerprint,
    reading_from_json,
    reading_to_json,
)
from tagger.library.arrays import pack, unpack_field_view, unpack_tracks
from tagger.library.fingerprint import BLOCK_BYTES, SAMPLED_BLOCKS

COACH = "Coach A"


def said(subject: str, field: str, after: object) -> Correction:
    return Correction(COACH, subject, field, after, "seen on the film")


def test_what_is_saved_is_read_back(library: Library) -> None:
    stored = library.rep(library.save_rep(rep()).rep_id)
    assert stored.reading == stored.automatic == reading()
    assert stored.situation == rep().situation
    assert stored.main_clip.path == Path("/film/tuesday/rep-001-sideline.mp4")
    assert stored.main_clip.track_of_player == {"D1": 5, "D2": 7, "O1": 9}
    arrays = library.arrays(stored.main_clip.clip_id)
    np.testing.assert_array_equal(arrays.tracks.xyxy, rep().clips[0].tracks.xyxy)
    np.testing.assert_array_equal(arrays.field_tracks.facing_rad, rep().clips[0].field_tracks.facing_rad)
    assert arrays.field_view.camera is not None
    assert arrays.field_view.camera.distortion == -0.01


def test_a_reading_survives_json() -> None:
    import json

    assert reading_from_json(json.loads(json.dumps(reading_to_json(reading())))) == reading()


def test_an_empty_reading_is_an_abstention(library: Library) -> None:
    silent = replace(
        reading(),
        snap_s=None,
        family={},
        shell={},
        play_kind={},
        formation=None,
        defenders=(),
        events=(),
        family_over_time=(),
        variant=None,
    )
    stored = library.rep(library.save_rep(RepRecord("rep-001", (clip(made=silent),))).rep_id)
    assert stored.reading == silent
    assert (stored.summary.family, stored.summary.family_confidence, stored.summary.shell) == ("unknown", 0.0, None)
    assert library.count("shell:none family:unknown") == 1


@pytest.mark.parametrize("camera", [True, False])
def test_arrays_survive_packing(camera: bool) -> None:
    view = field_view(camera=camera)
    back = unpack_field_view(pack(view))
    assert (back.view, back.level, back.yard_line_known, back.image_size_px) == ("sideline", "college", True, (1280, 720))
    assert (back.camera is not None) == camera
    tracks = tracks_of((1, 2))
    assert unpack_tracks(pack(tracks)).xyxy.dtype == tracks.xyxy.dtype
    assert unpack_field_view(pack(replace(view, level=None))).level is None


def test_tracks_kept_before_the_ground_was_told_stand_at_the_lower_edge_of_their_boxes() -> None:
    with np.load(io.BytesIO(pack(tracks_of((1, 2))))) as archive:
        old = {name: archive[name] for name in archive.files if name != "ground_px"}
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **old)
    kept = unpack_tracks(buffer.getvalue())
    np.testing.assert_array_equal(kept.ground_px, np.column_stack([(kept.xyxy[:, 0] + kept.xyxy[:, 2]) / 2, kept.xyxy[:, 3]]))



def test_film_tagged_again_is_the_same_rep_with_new_tags(library: Library) -> None:
    first = library.save_rep(rep(family="cover-3"))
    again = library.save_rep(rep(family="cover-4"))
    assert (again.rep_id, again.replaced) == (first.rep_id, True)
    assert [found.family for found in library.search("")] == ["cover-4"]
    assert library.sql("SELECT count(*) FROM assignments")[1] == [(2,)]


def test_renamed_film_is_the_same_rep(library: Library) -> None:
    library.save_rep(rep())
    moved = replace(clip(), path=Path("/elsewhere/new-name.mp4"))
    again = library.save_rep(RepRecord("new-name", (moved,)))
    assert (again.name, again.replaced) == ("rep-001", True)
    assert library.rep(again.rep_id).main_clip.path == Path("/elsewhere/new-name.mp4")


def test_a_taken_name_gets_its_folder_then_a_number(library: Library) -> None:
    names = []
    for number in range(4):
        other = replace(clip(f"clip-{number}"), path=Path(f"/film/day/clip-{number}.mp4"))
        names.append(library.save_rep(RepRecord("rep-001", (other,))).name)
    assert names == ["rep-001", "day/rep-001", "day/rep-001-2", "day/rep-001-3"]


def test_overwritten_film_replaces_its_rep_unless_a_coach_spoke(library: Library) -> None:
    library.save_rep(rep())
    other_film = replace(clip(), fingerprint="other")
    library.save_rep(RepRecord("rep-001", (other_film,)))
    assert library.count() == 1
    library.correct(library.rep_id("rep-001"), said("rep", "family", "cover-6"))
    library.save_rep(RepRecord("rep-001", (replace(clip(), fingerprint="third"),)))
    assert [(found.name, found.family) for found in library.search("")] == [
        ("rep-001", "cover-6"),
        ("tuesday/rep-001", "cover-3"),
    ]


def test_a_second_view_joins_its_rep(library: Library) -> None:
    library.save_rep(rep())
    both = RepRecord("rep-001", (clip(), clip("rep-001-end-zone", view="end-zone", family="cover-4")), main=1)
    saved = library.save_rep(both)
    stored = library.rep(saved.rep_id)
    assert [(c.view, c.is_main) for c in stored.clips] == [("end-zone", True), ("sideline", False)]
    assert stored.summary.family == "cover-4"


def test_two_reps_that_are_one_are_joined_with_their_corrections(library: Library) -> None:
    a, b = clip("a"), clip("b", view="end-zone")
    library.save_rep(RepRecord("a", (a,)))
    spoken = library.save_rep(RepRecord("b", (b,)))
    library.correct(spoken.rep_id, said("rep", "family", "cover-2"))
    joined = library.save_rep(RepRecord("both", (a, b)))
    assert (joined.rep_id, library.count()) == (spoken.rep_id, 1)
    assert library.rep(joined.rep_id).summary.family == "cover-2"


def test_corrections_stay_when_film_is_tagged_again(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    words = [
        said("rep", "family", "cover-6"),
        said("rep", "call", "cover-4"),
        said("rep", "set_name", "2x2"),
        said("defender:D2", "assignment", {"assignment": "curl-flat", "area": "left", "start_s": 2.0, "end_s": 3.0}),
        said("defender:D1", "number", "21"),
        said("event", "wrong", {"kind": "disguise", "player_id": "D1", "start_s": 1, "end_s": 2}),
    ]
    for word in words:
        library.correct(rep_id, word)
    before = library.sql("SELECT * FROM corrections")
    library.save_rep(rep(family="cover-0"))
    assert library.sql("SELECT * FROM corrections") == before
    stored = library.rep(rep_id)
    assert (stored.summary.family, stored.automatic.family["cover-0"]) == ("cover-6", 0.7)
    assert (stored.situation.call, stored.script.call) == ("cover-4", "cover-3 sky")
    second = next(d for d in stored.reading.defenders if d.player_id == "D2")
    assert [(i.assignment, i.start_s, i.end_s) for i in second.intervals] == [("curl-flat", 2.0, 3.0), ("man", 3.0, 6.0)]
    assert [event.kind for event in stored.reading.events] == ["leverage-lost-over-top"]
    assert not stored.summary.disguised
    assert library.sql("SELECT source, count(*) FROM assignments GROUP BY source")[1] == [("auto", 2), ("coach", 1)]
    assert library.sql("SELECT number FROM defenders WHERE player_id = 'D1'")[1] == [("21",)]


def test_a_person_keeps_his_id_through_a_new_tagging(library: Library) -> None:
    """The new tagging numbers tracks and players otherwise; boxes say who is who."""
    rep_id = library.save_rep(rep()).rep_id
    library.correct(rep_id, said("defender:D2", "slot", "nickel"))
    swapped = reading(deep="D9")  # the man in track 5 is called D9 now; D2 has become another man, the one in the 4th column
    renumbered = replace(
        clip(made=swapped, ids=(50, 70, 90, 20)),
        track_of_player={"D9": 50, "D7": 70, "O1": 90, "D2": 20},
        side_of_player={"D9": "defense", "D7": "defense", "O1": "offense", "D2": "defense"},
    )
    library.save_rep(RepRecord("rep-001", (renumbered,)))
    stored = library.rep(rep_id)
    tracks = stored.main_clip.track_of_player
    assert (tracks["D1"], tracks["D2"]) == (50, 70)
    assert tracks["D3"] == 20 if "D3" in tracks else 20 in tracks.values()
    assert {d.player_id: d.slot for d in stored.reading.defenders}["D2"] == "nickel"


def test_a_new_reading_from_kept_tracks_keeps_the_coachs_word(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    library.correct(rep_id, said("rep", "snap_s", 2.5))
    library.save_reading(rep_id, reading("cover-4", snap_s=2.4))
    stored = library.rep(rep_id)
    assert (stored.reading.snap_s, stored.automatic.snap_s, stored.summary.family) == (2.5, 2.4, "cover-4")


def test_a_reading_on_the_coachs_word_stands_beside_the_blind_one(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    word = library.correct(rep_id, said("rep", "snap_s", 2.5))
    library.save_reread(rep_id, reading("cover-4", snap_s=2.5), word)
    stored = library.rep(rep_id)
    assert (stored.summary.family, "cover-3" in stored.automatic.family, stored.reread_upto) == ("cover-4", True, word)
    assert library.sql("SELECT family, family_auto FROM reps")[1] == [("cover-4", "cover-3")]
    library.correct(rep_id, said("rep", "call", "cover-1"))
    with pytest.raises(StaleEdit):
        library.save_reread(rep_id, reading("cover-6"), word)
    library.save_rep(rep(family="cover-2"))  # new film tags: what was read anew of the old ones is void
    assert library.rep(rep_id).summary.family == "cover-2"


def test_two_coaches_at_once_and_all_or_none(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    first = library.correct_all(rep_id, [said("rep", "down", 2), said("rep", "hash", "right")], seen=0)
    with pytest.raises(StaleEdit, match="somebody else"):
        library.correct_all(rep_id, [said("rep", "down", 4)], seen=0)
    with pytest.raises(ValueError, match="'D99' is not known"):
        library.correct_all(rep_id, [said("rep", "down", 4), said("defender:D99", "slot", "nickel")], seen=first[-1])
    assert library.rep(rep_id).situation.down == 2
    library.undo(rep_id, first[0], COACH, seen=first[-1])
    assert library.rep(rep_id).situation.down == 3


def test_undo_and_undo_of_the_undo(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    first = library.correct(rep_id, said("rep", "family", "cover-6"))
    undo = library.undo(rep_id, first, COACH)
    assert library.rep(rep_id).summary.family == "cover-3"
    assert library.rep(rep_id).summary.review_state == "new"
    library.undo(rep_id, undo, COACH)
    assert library.rep(rep_id).summary.family == "cover-6"
    assert len(library.rep(rep_id).corrections) == 3


def test_the_log_cannot_be_rewritten(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    library.correct(rep_id, said("rep", "family", "cover-6"))
    with pytest.raises(LibraryError, match="append-only"), library._writing() as connection:
        connection.execute("UPDATE correction SET after = '\"cover-0\"'")


@pytest.mark.parametrize(
    ("word", "line"),
    [
        (said("rep", "family", "cover-33"), "family: 'cover-33' is not known; did you mean cover-3"),
        (said("rep", "famly", "cover-3"), "did you mean family"),
        (said("rep", "down", 5), "down: 5, wanted 1 to 4"),
        (said("rep", "snap_s", -1.0), "wanted a number of 0 or more"),
        (said("rep", "snap_s", True), "wanted a number"),
        (said("defender:D77", "slot", "nickel"), "defender: 'D77' is not known"),
        (said("defender:D1", "assignment", {"assignment": "deep-third", "start_s": 3, "end_s": 2}), "lies before"),
        (said("defender:D1", "assignment", {"assignment": "deep third", "start_s": 1, "end_s": 2}), "did you mean deep-third"),
        (said("event", "added", {"kind": "brake", "start_s": 1, "end_s": 2}), "did you mean break"),
        (said("clip:x", "boxes", {"frame_index": 1, "xyxy": [[1, 2, 0, 5]]}), "has no area"),
        (said("weather", "rain", 1), "cannot be corrected"),
        (Correction(" ", "rep", "family", "cover-3"), "who says so"),
    ],
)
def test_a_word_that_makes_no_sense_is_refused(library: Library, word: Correction, line: str) -> None:
    rep_id = library.save_rep(rep()).rep_id
    with pytest.raises(ValueError, match=line) as refused:
        library.correct(rep_id, word)
    assert "\n" not in str(refused.value)
    assert library.rep(rep_id).corrections == ()


def test_events_are_confirmed_added_and_taken_away(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    library.correct(
        rep_id, said("event", "confirmed", {"kind": "leverage-lost-over-top", "player_id": "D1", "start_s": 3.2, "end_s": 3.3})
    )
    library.correct(
        rep_id, said("event", "added", {"kind": "break", "player_id": "D2", "start_s": 4.0, "end_s": 4.5, "margin_yd": 0.4})
    )
    library.correct(rep_id, said("event", "wrong", {"kind": "disguise", "player_id": "D1", "start_s": 1.0, "end_s": 2.0}))
    assert library.sql("SELECT kind, verdict, source FROM events")[1] == [
        ("leverage-lost-over-top", "confirmed", "auto"),
        ("break", "added", "coach"),
    ]
    assert library.count("event(verdict:confirmed event:leverage-lost-over-top)") == 1


def test_a_failed_save_changes_nothing(library: Library) -> None:
    library.save_rep(rep())
    bad = replace(
        reading("cover-4"), formation=replace(reading().formation, features=(object(),)))  # type: ignore[type-var,arg-type]
    with pytest.raises(TypeError):
        library.save_rep(RepRecord("rep-001", (clip(made=bad),)))
    assert library.rep(1).reading == reading()
    library.save_rep(rep("rep-002"))


def test_deleting_a_rep_leaves_no_row_behind(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    library.correct(rep_id, said("rep", "family", "cover-6"))
    library.forget(rep_ids=[rep_id])
    tables = [
        row[0]
        for row in library._connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    ]
    assert {
        table: library._connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables
    } == dict.fromkeys(tables, 0)


def test_corrected_boxes_the_last_word_counts(library: Library) -> None:
    rep_id = library.save_rep(rep()).rep_id
    mark = f"clip:{clip().fingerprint}"
    for x1 in (10, 20):
        library.correct(rep_id, said(mark, "boxes", {"frame_index": 3, "xyxy": [[0, 0, x1, 5]]}))
    assert library.corrected_boxes() == [(clip().path, 3, [[0, 0, 20, 5]])]
    assert library.rep(rep_id).reading == reading()


def test_a_rep_needs_its_clips_to_differ() -> None:
    with pytest.raises(ValueError, match="copy of the other"):
        RepRecord("rep", (clip(), clip()))
    with pytest.raises(ValueError, match="at least one clip"):
        RepRecord("rep", ())


def test_fingerprint_is_of_the_content(tmp_path: Path) -> None:
    big = np.random.default_rng(1).bytes(BLOCK_BYTES * (SAMPLED_BLOCKS + 3) + 17)
    for content in (b"", b"short", big):
        a, b = tmp_path / "a.mp4", tmp_path / "other name.mov"
        a.write_bytes(content)
        b.write_bytes(content)
        assert fingerprint(a) == fingerprint(b)
        b.write_bytes(content + b"x")
        assert fingerprint(a) != fingerprint(b)
        if content:
            for at in (0, len(content) - 1):
                changed = bytearray(content)
                changed[at] ^= 1
                b.write_bytes(changed)
                assert fingerprint(a) != fingerprint(b)
    with pytest.raises(FileNotFoundError, match="no such file"):
        fingerprint(tmp_path / "missing")
    with pytest.raises(ValueError, match="not a file"):
        fingerprint(tmp_path)


def test_fingerprint_of_a_short_file_is_blake2b() -> None:
    """RFC 7693: the hash of size and content; here against Python's own, called in one piece."""
    import hashlib
    import tempfile

    with tempfile.NamedTemporaryFile() as file:
        file.write(b"film")
        file.flush()
        assert fingerprint(Path(file.name)) == hashlib.blake2b(b"4film", digest_size=20).hexdigest()


HOSTILE = st.one_of(
    st.text(max_size=30), st.sampled_from(["'; DROP TABLE rep; --", '" OR 1=1 --', "%", "_", "\\", "\x00", "a'b", "')"])
)


@settings(max_examples=25, deadline=None)
@given(text=HOSTILE)
def test_any_text_goes_in_and_out_as_it_is(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    text = text.encode("utf-8", "replace").decode()
    with Library.open(tmp_path_factory.mktemp("library")) as library:
        made = reading()
        first = replace(made.defenders[0], slot=text)
        event = replace(made.events[0], why=text, against=text)
        made = replace(made, defenders=(first, made.defenders[1]), events=(event,), variant=text, shell_why=text)
        saved = library.save_rep(RepRecord(text or "rep", (clip(made=made),), Situation(call=text, personnel=text, period=text)))
        stored = library.rep(saved.rep_id)
        assert stored.reading == made
        assert stored.situation.call == text
        library.correct(
            saved.rep_id, Correction(text.strip() or COACH, "defender:D1", "number", text if text.strip() else "1", text)
        )
        library.save_search(text.strip() or "name", 'call:"a"')
        assert library.count() == 1
