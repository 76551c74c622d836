"""A clip that holds two plays is told, a camera that whips or a scoreboard between is none."""

from __future__ import annotations

import numpy as np
import pytest

from homography.evidence import NO_POINTS, FrameEvidence
from homography.types import LOST, SOLVED, FieldTracks, FieldView
from tagger.spliced import spliced_at_s

FRAMES, CUT, RATE_HZ, MEN = 240, 120, 30.0, 22
PAIRS = np.zeros((12, 2), dtype=np.float32)


def evidence(people: np.ndarray, linked: bool = False) -> list[FrameEvidence]:
    """People (F,) by frame; the motion is lost at CUT unless `linked`."""
    return [FrameEvidence(i, i / RATE_HZ, (1280, 720), None, i - 1, *((PAIRS,) * 2 if linked or i != CUT else (NO_POINTS,) * 2),
                          np.zeros((n, 4), dtype=np.float32)) for i, n in enumerate(people.tolist())]


def registered(status: np.ndarray) -> FieldView:
    lost = status == LOST
    matrix = np.where(lost[:, None, None], np.nan, np.eye(3))
    return FieldView(np.arange(FRAMES), matrix, np.where(lost, np.nan, 0.05), status, "sideline", "college", True, None,
                     (1280, 720))


def followed(status: np.ndarray, jump_yd: float) -> FieldTracks:
    """Men who run 4 yd/s, and all stand elsewhere from CUT on by `jump_yd`, each his own way."""
    frame = np.repeat(np.flatnonzero(status != LOST), MEN)
    man = np.tile(np.arange(MEN), len(frame) // MEN)
    start = np.random.default_rng(3).uniform([40, 5], [80, 48], (MEN, 2))
    way = np.stack([np.cos(man), np.sin(man)], axis=1)
    xy = start[man] + way * (4.0 * frame / RATE_HZ + jump_yd * (frame >= CUT))[:, None]
    n = len(frame)
    return FieldTracks(frame, frame / RATE_HZ, man, man % 2, np.ones(n, dtype=bool), xy, np.full(n, 0.1), np.full(n, np.nan))


CROWD, ALL = np.full(FRAMES, MEN), np.full(FRAMES, SOLVED)


def test_another_play_from_the_same_place() -> None:
    assert spliced_at_s(evidence(CROWD), registered(ALL), followed(ALL, 12.0)) == pytest.approx(CUT / RATE_HZ)


def test_another_play_from_another_place() -> None:
    status = np.where(np.arange(FRAMES) < CUT, LOST, SOLVED)
    assert spliced_at_s(evidence(CROWD), registered(status), followed(status, 0.0)) == pytest.approx(CUT / RATE_HZ)


@pytest.mark.parametrize("linked", [True, False])
def test_a_fast_turn_of_the_camera_is_no_cut(linked: bool) -> None:
    assert spliced_at_s(evidence(CROWD, linked), registered(ALL), followed(ALL, 0.0)) is None


def test_a_scoreboard_first_is_no_play() -> None:
    status = np.where(np.arange(FRAMES) < CUT, LOST, SOLVED)
    people = np.where(np.arange(FRAMES) < CUT, 2, MEN)
    assert spliced_at_s(evidence(people), registered(status), followed(status, 0.0)) is None
