"""A coach's word on who is who: swaps and joins on each view's tracks, on tracks followed through both, and on what one view
lends the other."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from invented import SNAP_S, arrays, image_from_field, reading

from homography.types import apply_homography
from tagger.library.records import Correction
from tagger.library.store import Library
from tagger.review.other_view import same_tracks
from tagger.review.rep_data import fixed_arrays, rep_data, sides_of
from tagger.review.reread import is_stale
from tagger.review.track_fixes import TrackFix, refit


def word(subject: str, field: str, after: Any) -> Correction:
    return Correction("Coach A", subject, field, after)


def test_a_swap_exchanges_two_men_from_a_moment_on_and_twice_is_nothing() -> None:
    tracks = arrays()[0]
    swapped = refit(tracks, [TrackFix("swap", 1, 2, SNAP_S)])
    for early, mine, theirs in ((True, 1, 1), (False, 1, 2), (False, 2, 1), (True, 2, 2)):
        now = (swapped.track_id == mine) & ((swapped.time_s < SNAP_S) == early)
        was = (tracks.track_id == theirs) & ((tracks.time_s < SNAP_S) == early)
        np.testing.assert_array_equal(swapped.xyxy[now], tracks.xyxy[was])
    back = refit(swapped, [TrackFix("swap", 1, 2, SNAP_S)])
    np.testing.assert_array_equal(back.xyxy, tracks.xyxy)


def test_joining_two_pieces_gives_one_man_and_loses_no_frame() -> None:
    tracks = arrays()[0]
    cut = replace(tracks, track_id=np.where((tracks.track_id == 3) & (tracks.time_s >= 3.0), 99, tracks.track_id))
    order = np.lexsort((cut.track_id, cut.frame_index))
    pieces = type(cut)(*(getattr(cut, name)[order] for name in type(cut).__dataclass_fields__))
    joined = refit(pieces, [TrackFix("join", 3, 99)])
    assert 99 not in joined.track_id
    np.testing.assert_array_equal(joined.xyxy[joined.track_id == 3], tracks.xyxy[tracks.track_id == 3])


def test_where_joined_pieces_overlap_the_seen_one_is_kept() -> None:
    tracks = arrays()[0]
    bridged = replace(tracks, observed=~((tracks.track_id == 1) & (tracks.frame_index >= 50)))
    joined = refit(bridged, [TrackFix("join", 1, 2)])
    mine = joined.xyxy[joined.track_id == 1]
    np.testing.assert_array_equal(mine[:50], tracks.xyxy[tracks.track_id == 1][:50])
    np.testing.assert_array_equal(mine[50:], tracks.xyxy[tracks.track_id == 2][50:])


@pytest.mark.parametrize("half_turn", [False, True])
@pytest.mark.parametrize("shift_yd", [0.0, 15.0, -25.0])
def test_the_same_men_are_found_in_the_other_view(shift_yd: float, half_turn: bool) -> None:
    main = arrays()[1]
    xy = np.array([120.0, 160 / 3]) - main.xy_yd if half_turn else main.xy_yd
    renamed = replace(main, track_id=main.track_id + 100, xy_yd=xy - [shift_yd, 0.0], time_s=main.time_s + 0.8)
    same = same_tracks(main, range(1, 23), SNAP_S, renamed, SNAP_S + 0.8, shifted=shift_yd != 0)
    assert same == {k + 100: k for k in range(1, 23)}


def test_words_on_men_reach_the_page(library: Library) -> None:
    mark = library.rep(1).main_clip.fingerprint
    library.correct_all(
        1,
        [
            word("player:O8", "side", "other"),
            word("player:O9", "number", "88"),
            word(f"clip:{mark}", "swap", {"a": "D1", "b": "D2", "from_s": 3.0}),
        ],
        seen=0,
    )
    rep = library.rep(1)
    clip = rep.main_clip
    assert sides_of(rep, clip)[clip.track_of_player["O8"]] == "other"
    assert rep_data(rep, is_stale(rep))["numbers"]["O9"] == "88"
    before = library.arrays(clip.clip_id)
    fixed = fixed_arrays(rep, clip, before)
    one, two = (clip.track_of_player[p] for p in ("D1", "D2"))
    late = before.tracks.time_s >= 3.0
    moved = fixed.tracks.xyxy[(fixed.tracks.track_id == one) & (fixed.tracks.time_s >= 3.0)]
    np.testing.assert_array_equal(moved, before.tracks.xyxy[(before.tracks.track_id == two) & late])


def without(tracks: Any, gone: np.ndarray) -> Any:
    return type(tracks)(*(getattr(tracks, name)[~gone] for name in type(tracks).__dataclass_fields__))


@pytest.mark.parametrize("view", [0, 1])
def test_a_swap_in_either_view_acts_on_men_followed_through_both(library: Library, view: int) -> None:
    """The first man leaves this picture at 4 s: from then on his path is lent by the other view. It must swap like the rest."""
    clips = library.rep(1).clips
    library.correct(1, word(f"clip:{clips[view].fingerprint}", "swap", {"a": "D1", "b": "D2", "from_s": 3.0}))
    rep = library.rep(1)
    for clip in rep.clips:
        arrays = library.arrays(clip.clip_id)
        one, two = (clip.track_of_player[p] for p in ("D1", "D2"))
        lent = replace(arrays, tracks=without(arrays.tracks, (arrays.tracks.track_id == one) & (arrays.tracks.time_s > 4.0)))
        fixed = fixed_arrays(rep, clip, lent)
        late = arrays.field_tracks.time_s >= 3.0
        for mine, theirs in ((one, two), (two, one)):
            path = fixed.field_tracks.xy_yd[(fixed.field_tracks.track_id == mine) & (fixed.field_tracks.time_s >= 3.0)]
            np.testing.assert_array_equal(path, arrays.field_tracks.xy_yd[(arrays.field_tracks.track_id == theirs) & late])
        assert fixed.tracks.time_s[fixed.tracks.track_id == two].max() <= 4.0, "in the picture he has left as the other man"


def test_a_swap_in_one_of_two_views_followed_apart_stays_there(library: Library, pattern: Path) -> None:
    clips = library.rep(1).clips
    library.correct(1, word(f"clip:{clips[1].fingerprint}", "swap", {"a": "D1", "b": "D2", "from_s": 3.0}))
    rep = library.rep(1)
    apart = replace(rep, clips=(rep.clips[0], replace(rep.clips[1], reading=reading(0.5))))
    main, other = (fixed_arrays(apart, clip, library.arrays(clip.clip_id)) for clip in apart.clips)
    for fixed, clip, moved in ((main, clips[0], False), (other, clips[1], True)):
        same = np.array_equal(fixed.tracks.xyxy, library.arrays(clip.clip_id).tracks.xyxy)
        assert same != moved


def test_joining_pieces_keeps_the_rows_that_the_other_view_lent(library: Library) -> None:
    """A man's late piece has another number, and part of it only the other view has seen."""
    rep = library.rep(1)
    arrays = library.arrays(rep.main_clip.clip_id)
    man = rep.main_clip.track_of_player["D3"]

    def cut(tracks: Any) -> Any:
        ids = np.where((tracks.track_id == man) & (tracks.time_s >= 3.0), 99, tracks.track_id)
        order = np.lexsort((ids, tracks.frame_index))
        return type(tracks)(*(getattr(replace(tracks, track_id=ids), name)[order] for name in type(tracks).__dataclass_fields__))

    pieces = replace(arrays, tracks=cut(without(arrays.tracks, (arrays.tracks.track_id == man) & (arrays.tracks.time_s > 4.0))),
                     field_tracks=cut(arrays.field_tracks))
    library.correct(1, word(f"clip:{rep.main_clip.fingerprint}", "join", {"a": "D3", "b": "T99"}))
    fixed = fixed_arrays(library.rep(1), rep.main_clip, pieces)
    np.testing.assert_array_equal(fixed.field_tracks.xy_yd[fixed.field_tracks.track_id == man],
                                  arrays.field_tracks.xy_yd[arrays.field_tracks.track_id == man])


def test_men_lent_by_the_other_view_move_with_the_field(library: Library) -> None:
    rep = library.rep(1)
    arrays = library.arrays(rep.main_clip.clip_id)
    gone = (arrays.tracks.track_id == 1) & (arrays.tracks.time_s > 4.0)
    px = apply_homography(image_from_field(40), np.array([[50.0, 20.0]]))[0]
    drag = {"frame_index": 40, "image_xy_px": px.tolist(), "field_xy_yd": [55.0, 20.0]}
    library.correct(1, word(f"clip:{rep.main_clip.fingerprint}", "anchors", [drag]))
    fixed = fixed_arrays(library.rep(1), rep.main_clip, replace(arrays, tracks=without(arrays.tracks, gone)))
    late = (fixed.field_tracks.track_id == 1) & (fixed.field_tracks.time_s > 4.0)
    was = arrays.field_tracks.xy_yd[(arrays.field_tracks.track_id == 1) & (arrays.field_tracks.time_s > 4.0)]
    np.testing.assert_allclose(fixed.field_tracks.xy_yd[late], was + np.array([5.0, 0.0]), atol=1e-6)
