"""Reps made by hand for tests that need a library: small, but with something in every table."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from homography.types import SOLVED, CameraPath, FieldTracks, FieldView
from tagger.football.types import (
    Abstention,
    Defender,
    Event,
    FamilyAt,
    Formation,
    Interval,
    Motion,
    Phase,
    Reading,
    Situation,
)
from tagger.library import ClipRecord, RepRecord
from vision.types import Tracks

FRAMES = 4


def tracks_of(ids: tuple[int, ...], shift_px: float = 0.0) -> Tracks:
    """Each man stands still in his own column, 100 px apart; `ids` names the tracks from left to right."""
    rows = [(f, ids[i], 100.0 * i + shift_px) for f in range(FRAMES) for i in range(len(ids))]
    rows.sort(key=lambda row: (row[0], row[1]))
    frame, track, x = (np.array(column) for column in zip(*rows, strict=True))
    xyxy = np.stack([x, x * 0 + 50, x + 40, x * 0 + 150], axis=1).astype(np.float32)
    return Tracks(frame, frame / 30.0, track, xyxy, np.ones(len(x), bool), track * 0, np.full(len(x), 0.9), np.full(len(x), 1.5))


def field_view(view: str = "sideline", camera: bool = True) -> FieldView:
    path = CameraPath(np.array([60.0, -30.0, 12.0]), *(np.full(FRAMES, v) for v in (0.1, -0.2, 0.0, 1500.0)), distortion=-0.01)
    return FieldView(
        np.arange(FRAMES),
        np.stack([np.eye(3)] * FRAMES),
        np.full(FRAMES, 0.2),
        np.full(FRAMES, SOLVED),
        view,
        "college",
        True,
        path if camera else None,
        (1280, 720),
    )


def field_tracks(tracks: Tracks) -> FieldTracks:
    m = len(tracks)
    return FieldTracks(
        tracks.frame_index,
        tracks.time_s,
        tracks.track_id,
        tracks.kit_id,
        tracks.observed,
        np.zeros((m, 2)),
        np.full(m, 0.2),
        np.full(m, np.nan),
    )


def reading(family: str = "cover-3", deep: str = "D1", snap_s: float = 2.0) -> Reading:
    return Reading(
        snap_s,
        4.5,
        6.0,
        {"pass": 0.9, "run": 0.1},
        {"one-high": 0.8, "two-high": 0.2},
        "one man deep",
        {family: 0.7, "cover-1": 0.3} if family != "cover-1" else {"cover-1": 1.0},
        "three deep, four under",
        (FamilyAt(2.5, {family: 0.5}), FamilyAt(3.5, {family: 0.7})),
        "sky",
        Formation(
            "3x1",
            "left",
            1,
            {"O1": "left-1"},
            ("bunch-left", "condensed-right"),
            4,
            0.9,
            "three to the left",
            (Motion("O1", "motion", 0.5, 1.5, 10.0, 20.0, "ran-with", "he followed"),),
        ),
        (
            Defender(
                deep,
                "free-safety",
                (Interval("deep-third", "middle", 2.0, 6.0, 0.8, "deepest"),),
                (Phase("aligned", 0.0, 2.0), Phase("drop", 2.0, 4.0)),
                {"deep-third:middle": 0.8},
            ),
            Defender("D2", "left-corner", (Interval("man", None, 2.0, 6.0, 0.6, "turned with him", "O1"),)),
        ),
        (
            Event("leverage-lost-over-top", deep, "O1", 3.0, 3.6, 1.2, 0.7, "deeper than he"),
            Event("disguise", deep, None, 1.0, 2.4, None, 0.6, "two-high became one-high"),
        ),
        (Abstention("facing", "too small"),),
        4,
        6,
    )


def clip(
    name: str = "rep-001-sideline",
    family: str = "cover-3",
    ids: tuple[int, ...] = (5, 7, 9),
    view: str = "sideline",
    made: Reading | None = None,
    players: dict[str, int] | None = None,
) -> ClipRecord:
    tracks = tracks_of(ids)
    return ClipRecord(
        Path(f"/film/tuesday/{name}.mp4"),
        f"print-{name}",
        1000,
        30.0,
        6.5,
        1280,
        720,
        195,
        tracks,
        field_tracks(tracks),
        field_view(view),
        made or reading(family),
        players or {"D1": 5, "D2": 7, "O1": 9},
        {"D1": "defense", "D2": "defense", "O1": "offense"},
        {"detect": 1.0},
    )


def rep(name: str = "rep-001", family: str = "cover-3", situation: Situation | None = None) -> RepRecord:
    return RepRecord(
        name, (clip(f"{name}-sideline", family),), situation or Situation(3, 7.0, "left", "team", "11", "cover-3 sky", 45.0)
    )
