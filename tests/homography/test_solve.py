"""Whole clips painted by an independent painter (`drawn`): registered where the paint tells, left alone where it does not."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from homography import FrameEvidence, Observer, solve_clip, solve_or_guess, stretches, to_field
from homography.types import LOST, FieldView
from tests.homography.drawn import WIDTH, Paint, Shot, end_zone_shot, film, sideline_shot

FRAMES = 9


@pytest.fixture
def contests(monkeypatch: pytest.MonkeyPatch) -> list[range]:
    """The stretches whose cameras had to be found anew."""
    held: list[range] = []

    def noted(evidence: list[FrameEvidence], rows: range, level: str | None) -> stretches.Stretch:
        held.append(rows)
        return found(evidence, rows, level)

    found = stretches.hold_contest
    monkeypatch.setattr(stretches, "hold_contest", noted)
    return held


def watch(shot: Shot, paint: Paint, seed: int) -> list[FrameEvidence]:
    observer = Observer()
    return [observer.observe(i, i / 30.0, picture, boxes) for i, (picture, boxes) in enumerate(film(shot, paint, seed))]


@cache
def watched_sideline(level: str, seed: int) -> tuple[Shot, list[FrameEvidence]]:
    shot = sideline_shot(seed, FRAMES)
    return shot, watch(shot, Paint(level=level), seed)


def errors_yd(shot: Shot, view: FieldView) -> np.ndarray:
    """Errors on a lattice over the visible field in the registered frames; x counts up to whole 5 yd."""
    spots = np.stack(np.meshgrid(np.arange(10.0, 111.0, 5.0), np.linspace(0.0, WIDTH, 9)), axis=-1).reshape(-1, 2)
    found = []
    for row in np.flatnonzero(view.status != LOST):
        px = shot.project(int(view.frame_index[row]), spots)
        with np.errstate(invalid="ignore"):
            seen = ((px > 0) & (px < np.array(shot.size))).all(axis=1)
        off = to_field(view, int(row), px[seen]) - spots[seen]
        off[:, 0] -= 5.0 * np.round(np.median(off[:, 0]) / 5.0)
        found.append(np.linalg.norm(off, axis=1))
    return np.concatenate(found)


@pytest.mark.parametrize(("level", "seed"), [
    ("high-school", 3), pytest.param("college", 5, marks=pytest.mark.slow), pytest.param("pro", 8, marks=pytest.mark.slow)])
def test_a_sideline_clip(level: str, seed: int) -> None:
    shot, evidence = watched_sideline(level, seed)
    view = solve_clip(evidence)
    assert (view.view, view.level, view.solved_share) == ("sideline", level, 1.0)
    assert np.median(errors_yd(shot, view)) < 0.1


@pytest.mark.parametrize(("level", "seed"), [("college", 2), pytest.param("high-school", 4, marks=pytest.mark.slow)])
def test_an_end_zone_clip(level: str, seed: int) -> None:
    shot = end_zone_shot(seed, FRAMES)
    view = solve_clip(watch(shot, Paint(level=level), seed))
    assert (view.view, view.level, view.solved_share) == ("end-zone", level, 1.0)
    assert np.median(errors_yd(shot, view)) < 0.15


def test_yard_lines_alone_do_not_tell_the_distance_across() -> None:
    evidence = watch(sideline_shot(3, 5), Paint(hash_marks="none", sidelines=False, numbers=False), 3)
    view, guess = solve_or_guess(evidence)
    assert (view.status == LOST).all()
    assert view.reason
    # Whoever can confirm it by something else may have the likeliest camera all the same.
    assert guess is not None
    assert guess.solved_share == 1.0


def test_a_picture_without_paint_is_lost_with_a_reason() -> None:
    rng = np.random.default_rng(0)
    picture = np.clip(rng.normal([62, 112, 66], 6, (360, 640, 3)), 0, 255).astype(np.uint8)
    observer = Observer()
    view = solve_clip([observer.observe(i, i / 30.0, picture, np.zeros((0, 4))) for i in range(5)])
    assert (view.status == LOST).all()
    assert view.reason


def test_frames_that_were_not_observed_lie_between_their_neighbours() -> None:
    _, evidence = watched_sideline("college", 5)
    spread = [replace(frame, frame_index=2 * i, before_index=2 * (i - 1) if frame.before_index is not None else None)
              for i, frame in enumerate(evidence)]
    view = solve_clip(spread, np.arange(2 * FRAMES + 6))
    assert (view.status[:2 * FRAMES - 1] != LOST).all()
    assert (view.status[2 * FRAMES - 1:] == LOST).all()
    assert np.isnan(view.field_from_image[-1]).all()


def test_what_no_clip_can_be_is_refused() -> None:
    with pytest.raises(ValueError, match="no frames were observed"):
        solve_clip([])
    frame = Observer().observe(0, 0.0, np.zeros((72, 128, 3), np.uint8), np.zeros((0, 4)))
    with pytest.raises(ValueError, match="wanted one of high-school, college, pro"):
        solve_clip([frame], level="little league")
    with pytest.raises(ValueError, match="in order, each once"):
        solve_clip([frame, frame])


@pytest.mark.parametrize("view", ["sideline", pytest.param("end-zone", marks=pytest.mark.slow)])
def test_a_practice_field_with_every_other_line(view: str) -> None:
    """People tell a camera twice as high from the sideline, the hash marks one twice as far away behind the goal."""
    shot = sideline_shot(3, FRAMES) if view == "sideline" else end_zone_shot(2, FRAMES)
    found = solve_clip(watch(shot, Paint(level="college", spacing=10.0), 3))
    assert (found.view, found.level, found.solved_share) == (view, "college", 1.0)
    assert np.median(errors_yd(shot, found)) < 0.2


def test_without_hash_marks_the_level_stays_open() -> None:
    shot = sideline_shot(5, FRAMES)
    evidence = watch(shot, Paint(level="college", hash_marks="none"), 5)
    view = solve_clip(evidence)
    assert (view.level, view.solved_share) == (None, 1.0)
    assert np.median(errors_yd(shot, view)) < 0.2
    assert solve_clip(evidence, level="college").level == "college"


@pytest.mark.slow
def test_the_camera_is_followed_over_frames_in_which_the_motion_is_lost(contests: list[range]) -> None:
    shot = sideline_shot(3, FRAMES)
    pictures = film(shot, Paint(level="high-school"), 3)
    observer = Observer(paint_every=1)
    seen = [observer.observe(i, i / 30.0, picture, boxes) for i, (picture, boxes) in enumerate(pictures)]
    gone = np.zeros((0, 2), dtype=np.float32)
    broken = [replace(one, before_index=None, before_px=gone, after_px=gone) if i in (4, 5, 7) else one
              for i, one in enumerate(seen)]
    found = stretches.hold_contests(broken, None)
    assert [one.rows for one in found] == [range(0, 4), range(4, 5), range(5, 7), range(7, 9)]
    assert contests == [range(0, 4)]
    view = solve_clip(broken)
    assert view.solved_share == 1.0
    assert np.median(errors_yd(shot, view)) < 0.1


@pytest.mark.slow
def test_another_shot_is_not_taken_for_the_same_camera(contests: list[range]) -> None:
    """The film is cut: the second camera stands elsewhere and holds a contest of its own."""
    first, second = sideline_shot(3, FRAMES), sideline_shot(8, FRAMES)
    here = watch(first, Paint(level="high-school"), 3)[:5]
    later = watch(second, Paint(level="high-school"), 8)[:4]
    there = [replace(one, frame_index=5 + i, before_index=4 + i if i else None) for i, one in enumerate(later)]
    found = stretches.hold_contests([*here, *there], None)
    assert [one.rows for one in found] == [range(0, 5), range(5, 9)]
    assert contests == [range(0, 5), range(5, 9)]
    assert "filmed from another place" in solve_clip([*here, *there]).reason
