"""Reps found by the people of a recording: made-up people on a field, seen by a made-up camera, and two rendered practices."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_clips.encode import Mp4Writer
from tagger.batch.activity import LEAST_LOOK_PX, MOST_LOOK_PX, Activity, look_size, measure
from tagger.batch.activity import TALL_PX as SEEN_TALL_PX
from tagger.batch.crowd import now_from_before
from tagger.batch.movement import movement
from tagger.batch.phases import Phase, read_phases
from tagger.batch.reps_in_activity import FoundRep, find_reps

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))

HZ = 4.0
TALL_PX = 40.0
SPEED = {"still": 0.0, "walk": 0.7, "trot": 1.3, "sprint": 2.2, "play": 2.2, "cut": 0.0}
"""Heights a second. In a sprint all run one way; in a play every man his own, as he likes it, and the camera turns with them; one
team of the two trots from the huddle to the line."""
TURN_PX_S = 60.0
REP = [(3.0, "still"), (5.0, "play"), (12.0, "walk"), (4.0, "still")]


def people(plan: Sequence[tuple[float, str]], players: int = 22, waiting: int = 6, slant: float = 1.0, seed: int = 1,
           size: float = 1.0) -> Activity:
    """Stretches of (seconds, what the players do) with some who only wait: boxes as a detector would find them, to a pixel, by a
    camera that sees what goes up and down the picture `1 / slant` as long. `size` of the picture."""
    rng = np.random.default_rng(seed)
    at_px = np.stack([np.arange(players + waiting) % 7 * 3.0, np.arange(players + waiting) // 7 * 2.5], axis=1) * TALL_PX
    home_px, camera_px, now_s = at_px.copy(), 0.0, 0.0
    time_s, boxes, motion, cut = list[float](), [], [], list[bool]()
    for lasts_s, kind in plan:
        way = rng.uniform(0.0, 2.0 * np.pi, players)
        way = np.repeat(way[:1], players) if kind == "sprint" else way
        begins_s = now_s
        if kind == "cut":  # when the camera comes on again, people stand elsewhere
            at_px = rng.permutation(at_px) + rng.uniform(-2.0, 2.0, at_px.shape) * TALL_PX
            home_px = at_px.copy()
        while now_s < begins_s + lasts_s:
            turned = TURN_PX_S / HZ if kind == "play" else 0.0
            step_px = SPEED[kind] * TALL_PX / HZ * np.stack([np.cos(way), np.sin(way)], axis=1)
            if kind == "trot":
                step_px[::2] = 0.0
            off_px = home_px[:players] - at_px[:players]
            far = (np.linalg.norm(off_px, axis=1) > 6.0 * TALL_PX) & (kind != "sprint")
            way[far] = np.arctan2(off_px[far, 1], off_px[far, 0]) + rng.uniform(-0.7, 0.7, far.sum())
            at_px[:players] += step_px
            camera_px += turned
            seen = (at_px - (camera_px, 0.0)) / (1.0, slant) + rng.normal(0.0, 0.7, at_px.shape)
            half = np.array([0.2, 0.5]) * TALL_PX
            boxes.append((size * np.concatenate([seen - half, seen + half], axis=1)).astype(np.float32))
            shift = np.eye(3)
            shift[0, 2] = -turned * size
            cut.append(kind == "cut" and now_s == begins_s)
            motion.append(np.full((3, 3), np.nan) if not time_s or cut[-1] else shift)
            time_s.append(now_s)
            now_s += 1.0 / HZ
    return Activity(np.array(time_s), boxes, np.array(motion), np.array(cut, dtype=np.bool_), 0.0, now_s)


def reps(activity: Activity) -> list[FoundRep]:
    return find_reps(movement(activity))


@pytest.mark.parametrize("slant", [1.0, 3.5], ids=["sideline", "end-zone"])
@pytest.mark.parametrize("players", [22, 14], ids=["team", "seven-on-seven"])
def test_reps_are_where_stillness_ends_in_running(players: int, slant: float) -> None:
    found = reps(people([(10.0, "walk"), *REP, *REP, *REP], players, slant=slant))
    assert [rep.snap_s for rep in found] == pytest.approx([13.0, 37.0, 61.0], abs=0.6)
    for rep in found:
        assert rep.snap_s - rep.start_s >= 2.0
        assert rep.snap_s + 5.0 <= rep.end_s < rep.snap_s + 10.0


@pytest.mark.parametrize("plan", [
    [(60.0, "still")],
    [(10.0, "still"), (20.0, "walk"), (5.0, "still"), (20.0, "walk")],
    [(10.0, "still"), (8.0, "walk"), (5.0, "play"), (20.0, "walk")],
    [*3 * [(4.0, "still"), (4.0, "sprint"), (8.0, "walk")]],
], ids=["nobody moves", "only walking", "no stance", "all run one way"])
def test_what_is_no_rep(plan: list[tuple[float, str]]) -> None:
    assert not reps(people(plan))


def test_a_drill_of_three_is_no_rep() -> None:
    assert not reps(people([*5 * [(4.0, "still"), (3.0, "play"), (6.0, "walk")]], players=3, waiting=20))


HUDDLE = [(12.0, "walk"), (6.0, "still"), (4.0, "trot"), (4.0, "still"), (5.0, "play")]
"""Common practice, no source: the offense trots from the huddle to the line and stands there before the snap."""


@pytest.mark.parametrize("slant", [1.0, 3.5], ids=["sideline", "end-zone"])
@pytest.mark.parametrize("between", [
    HUDDLE,
    [*HUDDLE[:-1], (1.0, "trot"), (4.0, "still"), HUDDLE[-1]],
    [*HUDDLE[:-1], (3.0, "walk"), (4.0, "still"), HUDDLE[-1]],
], ids=["huddle", "false start", "a rep walked through"])
def test_who_leaves_the_huddle_has_not_snapped(between: list[tuple[float, str]], slant: float) -> None:
    lasts_s = sum(lasts for lasts, _ in between)
    found = reps(people([*4 * between, (12.0, "walk")], slant=slant))
    assert [rep.snap_s for rep in found] == pytest.approx([lasts_s * (k + 1) - 5.0 for k in range(4)], abs=0.8)


def test_without_a_huddle_the_next_snap_may_come_in_twelve_seconds() -> None:
    found = reps(people([(10.0, "still"), *5 * [(4.0, "play"), (5.0, "walk"), (3.0, "still")]]))
    assert [rep.snap_s for rep in found] == pytest.approx([10.0, 22.0, 34.0, 46.0, 58.0], abs=0.6)


def test_phases_follow_each_other_without_gaps() -> None:
    """Before every play a set, after it the whistle or the walk back, and a play never goes on where the camera was off."""
    seen = movement(people([*2 * HUDDLE, (8.0, "walk"), *2 * REP, (1.0, "cut"), *HUDDLE[2:], (5.0, "walk")]))
    phases = read_phases(seen)
    assert [one.first for one in phases] == [0, *(one.end for one in phases[:-1])]
    assert phases[-1].end == len(seen.time_s)
    plays = [k for k, one in enumerate(phases) if one.phase == Phase.PLAY]
    assert len(plays) == 5
    for k in plays:
        assert phases[k - 1].phase == Phase.SET
        assert phases[k + 1].phase in (Phase.WHISTLE, Phase.BACK)
        assert not seen.cut[phases[k].first + 1:phases[k].end].any()


@settings(max_examples=4, deadline=None)
@given(st.floats(0.1, 0.6), st.integers(0, 1000))
def test_where_the_background_is_lost_the_crowd_tells_how_the_camera_turned(share: float, seed: int) -> None:
    """While not everybody sprints, that is."""
    film = people([(6.0, "walk"), *REP, *REP], seed=seed)
    whole = movement(film)
    nobody_runs = np.convolve(whole.running, np.ones(5), "same") == 0.0
    lost = nobody_runs & (np.random.default_rng(seed).random(len(film.time_s)) < share)
    lossy = movement(replace(film, now_from_before=np.where(lost[:, None, None], np.nan, film.now_from_before)))
    assert [rep.snap_s for rep in find_reps(lossy)] == pytest.approx([rep.snap_s for rep in find_reps(whole)], abs=0.3)
    off = np.abs(lossy.swing[1:] - whole.swing[1:])
    assert np.percentile(off, 98) < 0.3
    assert off.max() < 0.6


@settings(max_examples=20, deadline=None)
@given(st.floats(0.95, 1.05), st.floats(-150.0, 150.0), st.floats(-40.0, 40.0), st.integers(0, 1000))
def test_a_swing_is_told_from_a_cut(zoom: float, across_px: float, along_px: float, seed: int) -> None:
    """The crowd shifted and scaled, each man a step on, a few missed and a few new; against the same men, each elsewhere."""
    rng = np.random.default_rng(seed)
    size_px, tall = np.array([1200.0, 600.0]), np.full(24, 40.0)
    before = rng.uniform([300.0, 100.0], [900.0, 500.0], (26, 2))
    now = zoom * (before + rng.normal(0.0, 5.0, before.shape)) + (across_px, along_px) + (1.0 - zoom) * size_px / 2.0
    found = now_from_before(before[2:], np.concatenate([now[:22], rng.uniform([0.0, 0.0], size_px, (2, 2))]), tall, size_px)
    middle = np.array([*size_px / 2.0, 1.0])
    assert (found @ middle)[:2] == pytest.approx(size_px / 2.0 + (across_px, along_px), abs=10.0)
    elsewhere = rng.uniform([300.0, 100.0], [900.0, 500.0], (24, 2))
    assert np.isnan(now_from_before(before[2:], elsewhere, tall, size_px)).all()


SHOT = [(1.0, "cut"), (2.0, "still"), (5.0, "play")]


def test_where_the_camera_is_off_between_reps_a_shot_is_a_rep() -> None:
    found = reps(people([*4 * SHOT]))
    assert [rep.snap_s for rep in found] == pytest.approx([3.0, 11.0, 19.0, 27.0], abs=0.6)
    assert [(rep.start_s, rep.end_s) for rep in found] == [(0.0, 8.0), (8.0, 16.0), (16.0, 24.0), (24.0, 32.0)]


def test_a_tame_play_is_one_where_each_other_shot_holds_a_rep() -> None:
    """Half of the players trot for two seconds: in the middle of a practice a huddle that breaks, in a shot of its own a play."""
    tame = [(3.0, "still"), (2.0, "trot"), (1.0, "still")]
    assert len(reps(people([*3 * SHOT, (0.5, "cut"), *tame, *3 * SHOT]))) == 7
    assert len(reps(people([*3 * REP, *tame, *3 * REP]))) == 6


def test_a_rep_does_not_begin_in_another_shot() -> None:
    found = reps(people([*2 * HUDDLE, *SHOT, *REP[2:], *HUDDLE]))
    on_s = 2 * sum(lasts for lasts, _ in HUDDLE)
    assert len(found) == 4
    assert found[2].start_s == pytest.approx(on_s, abs=1e-6)
    assert found[1].start_s < found[1].snap_s - 3.5


def test_nobody_seen_nothing_found() -> None:
    film = people([(30.0, "still")], players=0, waiting=0)
    assert not reps(film)
    assert np.isnan(movement(film).moving).all()


def test_a_turning_camera_moves_nobody() -> None:
    film = people([(4.0, "still"), (6.0, "play")], players=0, waiting=22)
    seen = movement(film)
    assert seen.moving.max() < 0.1
    assert np.median(seen.swing[20:]) == pytest.approx(TURN_PX_S / TALL_PX, rel=0.05)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.floats(0.3, 8.0), st.sampled_from(list(SPEED))), min_size=1, max_size=12), st.integers(0, 30))
def test_cuts_are_in_order_and_inside_the_film(plan: list[tuple[float, str]], players: int) -> None:
    film = people(plan, players)
    found = reps(film)
    for rep in found:
        assert film.start_s <= rep.start_s <= rep.snap_s < rep.end_s <= film.end_s + 1e-6
    assert all(a.snap_s < b.snap_s and a.start_s <= b.start_s for a, b in pairwise(found))


@settings(max_examples=10, deadline=None)
@given(st.floats(0.3, 3.0), st.integers(0, 1000))
def test_the_size_of_the_picture_says_nothing(size: float, seed: int) -> None:
    one, other = (reps(people([(6.0, "walk"), *REP, *REP], size=each, seed=seed)) for each in (size, 1.0))
    assert [rep.snap_s for rep in one] == [rep.snap_s for rep in other]
    assert len(one) == 2


def test_people_are_looked_for_and_the_camera_followed(tmp_path: Path) -> None:
    """Grain that a camera turns over: nobody is seen, and the background moves by what it was moved. Then another picture."""
    rng = np.random.default_rng(3)
    first, other = (cv2.GaussianBlur(np.kron(rng.integers(60, 160, (90, 260)), np.ones((6, 6))).astype(np.uint8), (5, 5), 0)
                    for _ in range(2))
    told: list[float] = []
    with Mp4Writer(tmp_path / "a.mp4", (640, 432), Fraction(8), quality=10) as writer:
        for i in range(48):
            ground = first if i < 40 else other
            writer.write(np.dstack([ground[50:482, 100 + 3 * i:740 + 3 * i]] * 3))
    found = measure(tmp_path / "a.mp4", lambda share, _: told.append(share))
    assert found.time_s.tolist() == pytest.approx([0.25 * k for k in range(24)], abs=0.01)
    assert found.now_from_before[1:20, 0, 2] == pytest.approx(-6.0, abs=0.3)
    assert np.flatnonzero(np.isnan(found.now_from_before[:, 0, 0])).tolist() == [0, 20]
    assert told == sorted(told)
    assert not find_reps(movement(found))


def test_a_forgotten_camera_is_hardly_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody for fifty seconds, then somebody: he is seen within a second, and from then on at every look."""
    came, looked = 50.0, list[float]()

    class Detector:
        def detect(self, index: int, time_s: float, bgr: np.ndarray, size: int) -> SimpleNamespace:
            looked.append(time_s)
            return SimpleNamespace(xyxy=np.full((int(time_s >= came), 4), [20, 20, 40, 80], dtype=np.float32))

    with Mp4Writer(tmp_path / "a.mp4", (160, 90), Fraction(4), preset="ultrafast") as writer:
        for _ in range(240):
            writer.write(np.full((90, 160, 3), 90, np.uint8))
    monkeypatch.setattr("tagger.batch.activity.load_detector", lambda *_: Detector())
    found = measure(tmp_path / "a.mp4")
    seen_s = found.time_s[[len(boxes) > 0 for boxes in found.people]]
    assert len(found.time_s) == 240
    assert came <= seen_s[0] <= came + 1.0
    assert np.diff(seen_s) == pytest.approx(0.25, abs=0.01)
    assert sum(came - 10.0 <= at < came for at in looked) == 10


@pytest.mark.slow
@pytest.mark.parametrize(("view", "seed"), [("sideline", 9441), ("end-zone", 9442)])
def test_a_rendered_practice_is_split(tmp_path: Path, view: str, seed: int) -> None:
    from bench_batch import judge
    from simulated_practice import write_practice

    truth = write_practice(tmp_path / "a.mp4", seed, 5, view, 0.25, Fraction(25, 2))
    whole, count, false, off_s = judge(find_reps(movement(measure(tmp_path / "a.mp4"))), truth)
    assert count == 5
    assert whole >= 4
    assert false <= 2  # where a short film begins and ends little is known of what was before or comes after
    assert np.abs(off_s).max() < 1.5


@given(st.floats(4, 300), st.integers(300, 1000))
def test_small_people_are_looked_at_more_closely(tall_px: float, width_px: int) -> None:
    size = look_size(tall_px, width_px)
    assert LEAST_LOOK_PX <= size <= MOST_LOOK_PX
    assert size % 32 == 0, "the network takes no other sizes"
    assert tall_px * size / width_px >= SEEN_TALL_PX or size == MOST_LOOK_PX
    assert look_size(tall_px / 2, width_px) >= size
    assert look_size(float("nan"), width_px) == MOST_LOOK_PX
