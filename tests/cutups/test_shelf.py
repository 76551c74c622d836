"""From kept tracks back to the play, and one view's men found again in the other."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from filmed_scene import LINE_X_YD, Scene

from tagger.cutups.diagram import field_diagram, save_figure, strip_diagram
from tagger.cutups.panel import Drawn
from tagger.cutups.shelf import place_play, same_men
from tagger.cutups.zones import Placement


@pytest.mark.parametrize("direction", [1, -1])
def test_the_play_is_laid_back_on_the_field_it_came_from(scene: Scene, direction: int) -> None:
    place = Placement(62.0, direction)
    rng = np.random.default_rng(5)
    tracks = scene.field_tracks
    names = list(scene.track_of_player)
    rows = [scene.play.player_id.index(names[i]) for i in tracks.track_id]
    in_play = scene.play.xy_yd[rows, tracks.frame_index]
    moved = replace(tracks, xy_yd=place.field_from_play(in_play) + rng.normal(0, 0.3, in_play.shape))
    found = place_play(scene.play, moved, scene.track_of_player)
    assert found is not None
    assert found.direction == direction
    assert found.line_x_yd == pytest.approx(62.0, abs=0.1)


def test_a_play_without_sidelines_or_of_another_field_is_not_laid_anywhere(scene: Scene) -> None:
    tracks = scene.field_tracks
    assert place_play(replace(scene.play, across_known=False), tracks, scene.track_of_player) is None
    shuffled = replace(tracks, xy_yd=np.random.default_rng(1).permutation(tracks.xy_yd))
    assert place_play(scene.play, shuffled, scene.track_of_player) is None
    placed = place_play(scene.play, tracks, scene.track_of_player)
    assert placed == Placement(pytest.approx(LINE_X_YD, abs=0.01), 1)  # type: ignore[arg-type]


def test_men_are_found_again_in_the_other_view(scene: Scene) -> None:
    """Names shuffled, another clock, one man missing, a yard of error between the two registrations."""
    rng = np.random.default_rng(9)
    order = rng.permutation(len(scene.play.player_id))[1:]
    offset_s = 7.5
    play = scene.play
    other = replace(play, time_s=play.time_s + offset_s, player_id=tuple(f"P{i}" for i in order), side=play.side[order],
                    xy_yd=play.xy_yd[order] + np.array([0.8, -0.6]), sigma_yd=play.sigma_yd[order],
                    facing_rad=play.facing_rad[order], position=tuple(None for _ in order))
    found = same_men(scene.play, other, offset_s, scene.reading.snap_s)
    assert len(found) == len(order)
    assert all(scene.play.player_id[int(theirs[1:])] == ours for ours, theirs in found.items())


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_diagrams_are_written_and_the_same_each_time(scene: Scene, tmp_path: Path, ending: str) -> None:
    drawn = Drawn(scene.play, scene.reading, "rep-001", {"D1": "24"})
    for name in ("a", "b"):
        save_figure(field_diagram(drawn), tmp_path / f"{name}{ending}")
    first = (tmp_path / f"a{ending}").read_bytes()
    assert first == (tmp_path / f"b{ending}").read_bytes()
    assert first.startswith({".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}[ending])


def test_the_strip_has_a_panel_for_each_moment(scene: Scene) -> None:
    figure = strip_diagram(Drawn(scene.play, scene.reading))
    assert [axes.get_title() for axes in figure.axes] == ["-1.0 s", "snap", "+1.5 s", "+3.0 s"]
    two = strip_diagram(Drawn(scene.play, scene.reading), (2.0, 4.0))
    assert len(two.axes) == 2


def test_labels_and_routes_stand_where_the_men_are(scene: Scene) -> None:
    figure = field_diagram(Drawn(scene.play, scene.reading, numbers={"D1": "24"}))
    texts = {text.get_text(): text.get_position() for text in figure.axes[0].texts}
    assert {"deep ⅓ L", "deep ⅓ mid", "deep ⅓ R", "24", "1.2 yd"} <= texts.keys()
    end = scene.play.xy_yd[scene.play.player_id.index("D2"), np.abs(scene.play.time_s - 5.0).argmin()]
    assert texts["deep ⅓ mid"] == pytest.approx((end[1], end[0] + 1.1), abs=0.1)
    assert not any("rush" in words for words in texts)


def test_an_unknown_part_or_format_is_named(scene: Scene, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no such part"):
        field_diagram(Drawn(scene.play, scene.reading), ("zones",))
    with pytest.raises(ValueError, match=r"end the name in \.png"):
        save_figure(field_diagram(Drawn(scene.play, scene.reading)), tmp_path / "a.bmp")
