"""Two views read as one anew once a coach has put a view's field right, and what moves with the ground."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from invented import SNAP_S, arrays, clip_record, image_from_field, paths, reading
from starlette.testclient import TestClient

from homography.types import apply_homography
from homography.view import moved
from tagger.football.types import Reading
from tagger.library.records import ClipArrays, Correction, RepRecord
from tagger.library.store import Library
from tagger.review.clicked_film import on_field_of
from tagger.review.rep_data import fixed_arrays, moving_data
from tagger.review.reread import read_anew, reread

LEAVES_S = 2.6
LATE_S = 0.4
"""The other view's clock began so much earlier."""
GONE = ("D1", "D5")


@pytest.fixture
def apart(library: Library, tmp_path: Path) -> int:
    """A rep whose views were never laid on each other: the end zone's field is 7 yd off, its men numbered otherwise and in
    another clock; two defenders leave the sideline picture soon after the snap."""
    tracks, located, view = arrays()
    leave = [k + 1 for k, p in enumerate(paths()) if p in GONE]
    main = tuple(rows(part, ~(np.isin(part.track_id, leave) & (part.time_s > LEAVES_S))) for part in (tracks, located))
    tracks, located, field = arrays(True)
    off = moved(field, np.array([[1.0, 0, 7.0], [0, 1, 0], [0, 0, 1]]))
    order = np.random.default_rng(5).permutation(len(paths()))
    other = tuple(renumbered(part, order) for part in (tracks, replace(located, xy_yd=located.xy_yd + np.array([7.0, 0.0]))))
    films = [tmp_path / f"rep-apart-{name}.mp4" for name in ("sideline", "end-zone")]
    for film in films:
        film.write_bytes(film.name.encode())
    track_of = {p: k + 1 for k, p in enumerate(paths())}
    clips = (
        clip_record(films[0], *main, view, reading(), track_of),
        clip_record(films[1], *other, off, replace(reading(0.5), snap_s=SNAP_S + LATE_S),
                    {p: int(order[k - 1]) + 101 for p, k in track_of.items()}),
    )
    return library.save_rep(RepRecord("rep-apart", clips)).rep_id


def rows(part: Any, mask: np.ndarray) -> Any:
    return type(part)(*(getattr(part, name)[mask] for name in type(part).__dataclass_fields__))


def renumbered(part: Any, order: np.ndarray) -> Any:
    ids = order[part.track_id - 1] + 101
    by_id = np.lexsort((ids, part.frame_index))
    return rows(replace(part, track_id=ids, time_s=part.time_s + LATE_S), by_id)


def test_a_field_put_right_in_the_other_view_lends_its_men_to_the_reading(library: Library, apart: int) -> None:
    rep = library.rep(apart)
    seen = {clip.clip_id: library.arrays(clip.clip_id) for clip in rep.clips}
    before = people(moving_data(rep, rep.main_clip, seen))
    assert all(last_seen(before[man]) < LEAVES_S + 0.1 for man in GONE), "cut off, before the coach speaks"

    px = apply_homography(image_from_field(40, True), np.array([[60.0, 20.0]]))[0].tolist()
    drag = {"frame_index": 40, "image_xy_px": px, "field_xy_yd": [60.0, 20.0]}
    _, said = library.correct_all(apart, [Correction("Coach A", "rep", "play_kind", "pass"),
                                          Correction("Coach A", f"clip:{rep.clips[1].fingerprint}", "anchors", [drag])])
    told, laid = read_anew(library, library.rep(apart))
    assert laid is not None
    assert laid["offset_s"] == pytest.approx(-LATE_S, abs=0.05)
    library.save_reread(apart, told, said, laid)

    rep = library.rep(apart)
    whole = reread(rep, ClipArrays(*arrays()))
    alone = reread(rep, fixed_arrays(rep, rep.main_clip, seen[rep.main_clip.clip_id]))
    after = people(moving_data(rep, rep.main_clip, seen))
    for man in GONE:
        assert last_seen(after[man]) > LEAVES_S + 2.0
        spots = np.array(after[man]["xy"], dtype=float).reshape(-1, 2)
        off = np.linalg.norm(spots - paths()[man][after[man]["first"]:][: len(spots)], axis=1)
        assert np.nanmax(off) < 0.3, "where he really was"
        assert marginals(rep.reading, man) == pytest.approx(marginals(whole, man), abs=1e-3), "read as if nobody had left"
        assert marginals(alone, man) != pytest.approx(marginals(whole, man), abs=1e-2)
    other = people(moving_data(rep, rep.clips[1], seen))
    assert set(other) == set(paths()), "the other view's men carry the names of the main one"
    for man, person in other.items():
        assert person["track"] - 101 == np.random.default_rng(5).permutation(len(paths()))[list(paths()).index(man)]


def test_the_page_says_whether_both_views_were_read(client: TestClient, library: Library, apart: int) -> None:
    assert client.get("/api/reps/1").json()["read_together"]
    assert not client.get(f"/api/reps/{apart}").json()["read_together"]
    said = library.correct(apart, Correction("Coach A", "rep", "snap_s", 2.2))
    told, _ = read_anew(library, library.rep(apart))
    library.save_reread(apart, told, said)
    assert not client.get(f"/api/reps/{apart}").json()["read_together"], "no word on a field: nothing to lay anew"


def test_a_moved_snap_leaves_views_in_step_that_were_followed_together(client: TestClient, library: Library) -> None:
    before = [clip["minus_main_s"] for clip in client.get("/api/reps/1").json()["clips"]]
    library.correct(1, Correction("Coach A", "rep", "snap_s", SNAP_S + 0.5))
    assert [clip["minus_main_s"] for clip in client.get("/api/reps/1").json()["clips"]] == before


def test_the_way_men_face_turns_with_the_ground() -> None:
    tracks, located, view = arrays()
    facing = np.linspace(-3.0, 3.0, len(located))
    facing[::7] = np.nan
    located = replace(located, facing_rad=facing)
    turn = 0.3
    onto = np.array([[np.cos(turn), -np.sin(turn), 4.0], [np.sin(turn), np.cos(turn), -2.0], [0, 0, 1.0]])
    gone = (tracks.track_id == 1) & (tracks.time_s > LEAVES_S)  # from then on he is lent by the other view
    fixed = on_field_of(moved(view, onto), ClipArrays(rows(tracks, ~gone), located, view))
    np.testing.assert_array_equal(fixed.field_tracks.track_id, located.track_id)
    off = np.angle(np.exp(1j * (fixed.field_tracks.facing_rad - facing - turn)))
    np.testing.assert_allclose(off[np.isfinite(facing)], 0.0, atol=1e-6)
    assert np.isnan(fixed.field_tracks.facing_rad[::7]).all(), "what was not known stays unknown"


def marginals(told: Reading, man: str) -> dict[str, float]:
    return dict(next(d.marginals for d in told.defenders if d.player_id == man))


def people(moving: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {person["player"]: person for person in moving["people"] if person["player"]}


def last_seen(person: dict[str, Any]) -> float:
    known = [k for k, x in enumerate(person["xy"][::2]) if x is not None]
    return (person["first"] + known[-1]) / 25
