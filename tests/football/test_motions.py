"""The answer to a motion, on plays drawn by hand: went with him, slid over, stayed. Common practice, no source."""

from __future__ import annotations

import pytest

from tagger.football import read_play
from tagger.football.motions import find_motions
from tagger.football.scene import make_scene
from tagger.football.settings import shipped_settings
from tagger.football.types import Motion
from tests.football.plays import COVER_3, FOUR_VERTICALS, LINE, PASSER, RUSH, SNAP_S, Path, build

ACROSS: dict[str, Path] = {"O8": [(-2.4, -1.2, -9), (-0.5, -1.2, 0), (0.1, -1.2, 0), (3.5, 22, 1)]}
"""The left slot goes 9 yd across and is still at the snap for less than a second: in motion, not a shift."""


def _motion(**moved: Path) -> Motion:
    formation = read_play(build(LINE, PASSER, FOUR_VERTICALS | ACROSS, RUSH, COVER_3 | moved)).formation
    assert formation is not None
    (motion,) = formation.motions
    assert (motion.player_id, motion.kind) == ("O8", "motion")
    return motion


@pytest.mark.parametrize(("late_s", "answer"), [(0.3, "ran-with"), (1.3, "bumped")])
def test_who_stood_over_him_sets_off_with_him_or_waits_for_where_it_goes(late_s: float, answer: str) -> None:
    path = [(-2.4 + late_s, 5, -8), (0.2, 5, 1), (2.4, 9, 1), (4, 9, 1)]
    motion = _motion(D8=path if answer == "ran-with" else [(-2.4 + late_s, 5, -8), (-0.5, 5, -5.5), (2.4, 9, -14), (4, 9, -14)])
    assert motion.answer == answer
    assert "D8" in motion.why


def test_a_backer_who_slides_over_bumps() -> None:
    motion = _motion(D9=[(-1.5, 4.5, -2), (-0.6, 4.5, 0.5), (0.5, 4.5, 0.5), (2.3, 9, -5), (4, 9, -5)])
    assert motion.answer == "bumped"
    assert "D9" in motion.why


def test_who_has_him_in_man_and_comes_late_went_with_him_all_the_same() -> None:
    late: dict[str, Path] = {"D8": [(-0.9, 5, -8), (0.0, 5, -6.2), (2.4, 9, -6), (4, 9, -6)]}
    scene = make_scene(build(LINE, PASSER, FOUR_VERTICALS | ACROSS, RUSH, COVER_3 | late), SNAP_S)
    row = scene.play.player_id.index
    (unknown,) = find_motions(scene, shipped_settings().motion)
    (known,) = find_motions(scene, shipped_settings().motion, {row("O8"): row("D8")})
    assert (unknown.answer, known.answer) == ("bumped", "ran-with")
    assert "D8 had him in man" in known.why


def test_a_deep_man_who_rotates_meanwhile_is_no_answer() -> None:
    assert _motion().answer == "stayed"
    assert _motion(D6=[(-2.0, 13, -6), (-0.5, 13, 0), (0.3, 13, 0), (3.5, 28, 0)]).answer == "stayed"


def test_who_runs_through_the_backfield_at_the_snap_is_no_back() -> None:
    orbit: dict[str, Path] = {"O8": [(-1.8, -1.2, -9), (0.0, -7.0, -1.0), (0.4, -7.0, 2.0), (2.0, -3.0, 14)]}
    formation = read_play(build(LINE, PASSER, FOUR_VERTICALS | orbit, RUSH, COVER_3)).formation
    assert formation is not None
    assert (formation.set_name, formation.backs) == ("2x2", 1)
    stands: dict[str, Path] = {"O8": [(-3.0, -7.0, -1.0), (0.1, -7.0, -1.0), (2.0, -3.0, 14)]}
    still = read_play(build(LINE, PASSER, FOUR_VERTICALS | stands, RUSH, COVER_3)).formation
    assert still is not None
    assert (still.set_name, still.backs) == ("2x1", 2)
