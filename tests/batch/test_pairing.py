"""The other view is found by how people moved, and only when it is clear. True paths seen by two made-up cameras."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from demo_clips.play import make_rep
from homography.align_views import on_grid, pace, pace_fits
from homography.types import FieldTracks
from tagger.batch.pairing import END_ZONE, SIDELINE, Candidate, pair
from tagger.library import Job

HZ = 15.0


def seen(rep: int, view: str, begins_s: float, folder: str, name: str) -> Candidate:
    """The rep's players through one camera that was switched on at `begins_s`: noise, some missing, names of its own."""
    motion, _ = make_rep(4711, rep, {"period": "team"})
    rng = np.random.default_rng([rep, len(view)])
    times = np.arange(begins_s, motion.time_s[-1], 1 / HZ)
    rows = [(i, track) for i, track in enumerate(rng.permutation(len(motion.actors))) if motion.actors[i].side != "other"]
    rows = [row for row in rows if rng.random() < 0.85]
    parts = []
    for i, track in rows:
        xy = np.stack([np.interp(times, motion.time_s, motion.xy_yd[i, :, axis]) for axis in (0, 1)], axis=1)
        wander = rng.normal(0, 0.25, 2) + np.cumsum(rng.normal(0, 0.02, xy.shape), axis=0)
        parts.append((np.arange(len(times)), times - begins_s, np.full(len(times), track), xy + wander))
    frame, time_s, track_id, xy_yd = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.lexsort((track_id, frame))
    m = len(order)
    tracks = FieldTracks(frame[order], time_s[order], track_id[order].astype(np.int64), np.zeros(m, np.int64), np.ones(m, bool),
                         xy_yd[order] + (5.0 * len(name), 0.0), np.full(m, 0.3), np.full(m, np.nan))
    paths = on_grid(tracks)
    return Candidate(Job(f"{folder}-{name}", Path(f"/film/{folder}/{name}.mp4"), {}, name), view, False, paths, pace(paths))


BEGINS_S = {0: 0.0, 1: 0.7, 2: 1.1}


@pytest.fixture(scope="module")
def cards() -> tuple[list[Candidate], list[Candidate]]:
    """Three reps, each as a clip of either card; the second card's clips begin later."""
    return ([seen(rep, SIDELINE, 0.0, "card-1", f"C{rep}") for rep in BEGINS_S],
            [seen(rep, END_ZONE, late_s, "card-2", f"MV{rep}") for rep, late_s in BEGINS_S.items()])


def names(pairs: list[tuple[Candidate, Candidate, object]]) -> list[tuple[str, str]]:
    return [(one.job.rep_name, other.job.rep_name) for one, other, _ in pairs]


def test_the_views_of_a_rep_find_each_other_and_their_clocks(cards: tuple[list[Candidate], list[Candidate]]) -> None:
    sides, ends = cards
    found = pair([*ends, *sides])
    assert names(found) == [("C0", "MV0"), ("C1", "MV1"), ("C2", "MV2")]
    for (_, _, how), late_s in zip(found, BEGINS_S.values(), strict=True):
        assert how.offset_s == pytest.approx(late_s, abs=2 / 29.97)  # two frames of ordinary film


def test_a_clip_whose_other_view_is_missing_stays_alone(cards: tuple[list[Candidate], list[Candidate]]) -> None:
    sides, ends = cards
    assert names(pair([*sides[:2], *ends[1:]])) == [("C1", "MV1")]
    assert pair(sides) == pair([]) == []


def test_two_copies_of_a_view_are_not_clear(cards: tuple[list[Candidate], list[Candidate]]) -> None:
    sides, ends = cards
    twin = seen(1, END_ZONE, 0.3, "card-2", "MV9")
    assert ("C1", "MV1") not in names(pair([*sides, *ends, twin]))


def test_film_of_another_practice_is_not_tried(cards: tuple[list[Candidate], list[Candidate]]) -> None:
    sides, ends = cards
    far = [Candidate(Job(c.job.fingerprint, Path("/elsewhere/deep/") / c.job.path.name, {}, "x"), c.view, False, c.paths, c.pace)
           for c in ends]
    assert not pair([*sides, *far])


def test_pace_fits_itself_at_any_shift() -> None:
    rng = np.random.default_rng(2)
    whole = np.convolve(rng.random(120), np.ones(8) / 8, mode="same")
    assert pace_fits(whole, whole[25:])[1].max() == pytest.approx(1.0)
    assert pace_fits(whole, rng.random(95))[1].max() < 0.6
