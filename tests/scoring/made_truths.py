"""A truth small enough to check by hand: two defenders, a receiver, six seconds, a camera that is a plain scale."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np

from tagger.scoring.predicted import Said, SaidFrame, SaidPlayer
from tagger.scoring.truth import TrueClip, TrueFrame, Truth

TIMES = np.arange(0.0, 6.05, 0.1)
PLACES = {"D1": (60.0, 26.0), "D2": (50.0, 10.0), "O1": (48.0, 5.0), "X1": (30.0, 2.0)}
SIDES = {"D1": "defense", "D2": "defense", "O1": "offense", "X1": "other"}

RAW: dict[str, Any] = {
    "rep": "rep-001",
    "snap_s": 1.0,
    "end_s": 6.0,
    "gradable": True,
    "shell": "one-high",
    "family": "cover-3",
    "variant": "sky",
    "play_kind": "pass",
    "formation": {"set_name": "3x1", "strength": "left", "receivers": {"O1": "left-1"}, "features": ["bunch-left", "empty"]},
    "motions": [{"player_id": "O1", "kind": "motion", "start_s": 0.2, "end_s": 0.8, "answer": "bumped"}],
    "players": [
        {"player_id": name, "side": side, "role": {"D1": "safety", "D2": "corner"}.get(name, "wr")}
        for name, side in SIDES.items()
    ],
    "defenders": [
        {"player_id": "D1", "intervals": [{"assignment": "deep-third", "area": "middle", "start_s": 1.0, "end_s": 6.0}]},
        {
            "player_id": "D2",
            "intervals": [
                {"assignment": "curl-flat", "area": "left", "start_s": 1.0, "end_s": 3.0},
                {"assignment": "man", "area": None, "start_s": 3.0, "end_s": 6.0},
            ],
        },
    ],
    "events": [
        {"kind": "break", "player_id": "D1", "start_s": 4.0, "end_s": 4.5, "margin_yd": 1.0},
        {"kind": "carried", "player_id": "D2", "start_s": 2.0, "end_s": 2.5, "margin_yd": None},
    ],
}


def truth(**changes: Any) -> Truth:
    raw = copy.deepcopy(RAW) | changes
    names = tuple(PLACES)
    xy = np.array([[PLACES[name]] * len(TIMES) for name in names])
    return Truth("rep-001", raw, (), TIMES, names, xy, np.full(xy.shape[:2], np.nan))


def player(name: str, side: str = "defense", shift: tuple[float, float] = (0.0, 0.0)) -> SaidPlayer:
    return SaidPlayer(side, TIMES, np.array([PLACES[name]] * len(TIMES)) + np.array(shift))


def said(**changes: Any) -> Said:
    """The right answer under the tagger's own names: P1 is D1, P2 is D2, R1 is O1."""
    reading = {
        "snap_s": 1.0,
        "shell": "one-high",
        "play_kind": "pass",
        "family": {"cover-3": 0.8, "cover-1": 0.2},
        "variant": "sky",
        "formation": {
            "set_name": "3x1",
            "strength": "left",
            "receivers": {"R1": "left-1"},
            "features": ["bunch-left", "empty"],
            "motions": [{"player_id": "R1", "kind": "motion", "start_s": 0.3, "end_s": 0.9, "answer": "bumped"}],
        },
        "defenders": [
            {"player_id": new, "intervals": d["intervals"]} for new, d in zip(("P1", "P2"), RAW["defenders"], strict=True)
        ],
        "events": [{**RAW["events"][0], "player_id": "P1", "margin_yd": 1.4}, {**RAW["events"][1], "player_id": "P2"}],
    }
    return Said(copy.deepcopy(reading) | changes, {"P1": player("D1"), "P2": player("D2"), "R1": player("O1", "offense")})


def flat_clip(frames: int = 6) -> TrueClip:
    """10 px a yard; one person in each frame."""
    scale = np.diag([10.0, 10.0, 1.0])
    return TrueClip(
        "sideline",
        Path("x.mp4"),
        1200,
        540,
        tuple(
            TrueFrame(i, i / 30, scale, ("D1",), np.array([[100.0, 100.0, 120.0, 140.0]]), np.array([True]))
            for i in range(frames)
        ),
    )


def seen(frames: int, field_from_image: np.ndarray | None, known: bool = True) -> Said:
    empty = np.empty(0, int), np.empty((0, 4))
    return Said({}, {}, {i: SaidFrame(field_from_image, *empty) for i in range(frames)}, yard_line_known=known)
