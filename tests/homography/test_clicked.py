"""Clips that nothing but a person's clicks can register, painted by an independent painter (`drawn`)."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from homography import FrameEvidence, solve_clip, to_field
from homography.camera import ground
from homography.clicked import check_clicks, solve_clicked
from homography.clicks import Click, camera_from_clicks, check_spread, click
from homography.marks import ALONG, line_words, parse_mark, row_words
from homography.types import LOST, FieldView
from tests.homography.drawn import WIDTH, Paint, Shot, end_zone_shot, sideline_shot
from tests.homography.test_solve import watch

FRAMES, CLICKED = 10, 5
CLICK_PX = 1.5
BARE = Paint(level="college", hash_marks="none", sidelines=False)
NUMBERS = ("numbers top", "numbers bottom")


def clicks_on(shot: Shot, view: str, rows: tuple[str, ...] = NUMBERS, level: str = "college", seed: int = 0, most: int = 6,
              frame: int = CLICKED) -> list[Click]:
    """Clicks of a person with a restless hand on marks that are in the picture, spread over it."""
    rng = np.random.default_rng(seed)
    words = [f"{line} {row}" for line in line_words(view) for row in row_words(view)
             if not line.endswith(("5", "end", "goal")) and row.split(" ", 1)[1] in rows]
    seen = []
    for mark in words:
        px = shot.project(frame, np.array([parse_mark(mark).xy_yd(level)]))[0]
        if np.isfinite(px).all() and (px > 12).all() and (px < np.array(shot.size) - 12).all():
            seen.append(click(mark, px + rng.normal(0, CLICK_PX, 2), frame))
    return [seen[i] for i in sorted(rng.permutation(len(seen))[:most])]


@cache
def bare_end_zone() -> tuple[Shot, list[FrameEvidence]]:
    shot = end_zone_shot(31, FRAMES)
    return shot, watch(shot, BARE, 31)


def errors_yd(shot: Shot, view: FieldView) -> np.ndarray:
    """Errors on a lattice over the visible field in the registered frames, the yard line counted."""
    spots = np.stack(np.meshgrid(np.arange(10.0, 111.0, 5.0), np.linspace(0.0, WIDTH, 9)), axis=-1).reshape(-1, 2)
    found = [np.zeros(0)]
    for row in np.flatnonzero(view.status != LOST):
        px = shot.project(int(view.frame_index[row]), spots)
        with np.errstate(invalid="ignore"):
            seen = ((px > 0) & (px < np.array(shot.size))).all(axis=1)
        found.append(np.linalg.norm(to_field(view, int(row), px[seen]) - spots[seen], axis=1))
    return np.concatenate(found)


@pytest.mark.slow
def test_a_lost_end_zone_clip_is_solved_by_clicks() -> None:
    shot, evidence = bare_end_zone()
    assert solve_clip(evidence).solved_share == 0.0
    view = solve_clicked(evidence, clicks_on(shot, "end-zone"))
    assert (view.view, view.solved_share, view.yard_line_known) == ("end-zone", 1.0, True)
    assert view.level is None, "numbers are painted alike for high schools and colleges, and no row of marks was seen"
    off = errors_yd(shot, view)
    assert np.median(off) < 0.15
    assert np.quantile(off, 0.95) < 0.4


@pytest.mark.slow
def test_lines_may_be_counted_from_any_one() -> None:
    shot, evidence = bare_end_zone()
    clicks = clicks_on(shot, "end-zone", most=5)
    row_of = {one: one.mark.words.removeprefix(one.mark.line).strip() for one in clicks}
    counted = [replace(one, mark=parse_mark(f"line {one.mark.x_yd - 50:.0f} {row_of[one]}")) for one in clicks]
    view = solve_clicked(evidence, counted, level="college")
    assert not view.yard_line_known
    known = solve_clicked(evidence, clicks, level="college")
    row = CLICKED
    np.testing.assert_allclose(to_field(view, row, np.array([[600.0, 500.0]])) - to_field(known, row, np.array([[600.0, 500.0]])),
                               [[10.0, 0.0]], atol=0.1)


@pytest.mark.slow
def test_a_wrong_mark_is_named() -> None:
    shot, evidence = bare_end_zone()
    clicks = clicks_on(shot, "end-zone", seed=3)
    wrong = parse_mark(clicks[0].mark.words.replace("left", "RIGHT").replace("right", "left").replace("RIGHT", "right"))
    with pytest.raises(ValueError, match=f"contradict each other: '{wrong.words}' lies"):
        solve_clicked(evidence, [replace(clicks[0], mark=wrong), *clicks[1:]])


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(100, 10_000), view=st.sampled_from(list(ALONG)))
def test_clicks_of_a_steady_hand_give_the_camera(seed: int, view: str) -> None:
    shot = (end_zone_shot if view == "end-zone" else sideline_shot)(seed, 3)
    clicks = clicks_on(shot, view, ("hash", "sideline", *NUMBERS), seed=seed, most=8, frame=1)
    try:
        check_spread(clicks, "college")
    except ValueError:
        reject()
    camera = camera_from_clicks(clicks, shot.size, "college")
    spots = np.array([one.mark.xy_yd("college") for one in clicks])
    seen = shot.project(1, spots)
    off = np.linalg.norm(ground(seen, camera.pose[0], camera.centre_yd, camera.distortion, shot.size) - spots, axis=1)
    assert np.median(off) < 1.5


def exact(shot: Shot, *marks: str) -> list[Click]:
    return [click(mark, shot.project(0, np.array([parse_mark(mark).xy_yd("college")]))[0], 0) for mark in marks]


@pytest.mark.parametrize(("marks", "line"), [
    ((), "no marks were clicked"),
    (("near 30 left hash", "near 30 right hash", "near 40 left hash"), "3 different marks"),
    (("near 30 left hash", "near 40 left hash", "50 left hash", "far 40 left hash"), "all clicks lie on one line"),
    (("near 30 left hash", "near 40 left hash", "50 left hash", "near 40 right hash"), "all clicks but one lie on one line"),
])
def test_clicks_that_tell_no_camera(marks: tuple[str, ...], line: str) -> None:
    with pytest.raises(ValueError, match=line):
        check_clicks(exact(end_zone_shot(1, 1), *marks), (1280, 720))


@pytest.mark.parametrize("swap", [("near", "far"), ("left", "right")])
def test_clicks_that_no_camera_explains(swap: tuple[str, str]) -> None:
    shot = end_zone_shot(1, 1)
    clicks = exact(shot, "near 30 left hash", "near 30 right hash", "near 40 left hash", "near 40 right hash")
    turned = [replace(one, mark=parse_mark(one.mark.words.replace(*swap) if swap[0] in one.mark.words else
                                           one.mark.words.replace(*swap[::-1]))) for one in clicks]
    check_clicks(clicks, shot.size)
    with pytest.raises(ValueError, match="contradict each other"):
        check_clicks(turned, shot.size)


def test_marks_of_two_cameras_do_not_go_together() -> None:
    clicks = exact(end_zone_shot(1, 1), "near 30 left hash", "near 30 right hash", "near 40 left hash", "near 40 right hash")
    with pytest.raises(ValueError, match="from one camera"):
        check_clicks([*clicks, replace(clicks[0], mark=parse_mark("left 30 near hash"))], (1280, 720))


# College: inbounds lines 60 ft from the sidelines, tops of numbers nine yards (NCAA Football Rules 1-2).
@pytest.mark.parametrize(("words", "view", "xy"), [
    ("left 30 near hash", "sideline", (40.0, 20.0)), ("Right 30, far sideline", "sideline", (80.0, WIDTH)),
    ("50 near numbers top", "sideline", (60.0, 9.0)), ("near 30 left hash", "end-zone", (40.0, WIDTH - 20.0)),
    ("far goal right sideline", "end-zone", (110.0, 0.0)), ("near end right hash", "end-zone", (0.0, 20.0)),
    ("line -10 left hash", "end-zone", (50.0, WIDTH - 20.0))])
def test_marks_by_their_words(words: str, view: str, xy: tuple[float, float]) -> None:
    mark = parse_mark(words)
    assert mark.view == view
    assert mark.xy_yd("college") == pytest.approx(xy)


def test_every_word_that_is_offered_is_understood() -> None:
    for view in ALONG:
        for line in line_words(view):
            for row in row_words(view):
                mark = parse_mark(f"{line} {row}")
                assert (mark.view, mark.line) == (view, line)


@pytest.mark.parametrize("words", ["", "left 33 near hash", "left 30 left hash", "left 30", "50 hash", "line 7 near hash",
                                   "line 200 near hash"])
def test_words_that_are_no_mark(words: str) -> None:
    with pytest.raises(ValueError, match=r"no such mark|whole steps of 5"):
        parse_mark(words)
