"""Facts of a finished rep by its exact positions: shell, formation, set features, receiver numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from demo_clips.rep import Played
from homography.field import WIDTH_YD

HIGH_YD = 8.0
TACKLE_YD = 3.0
SHELL_NAMES = ("zero-high", "one-high", "two-high")


def index_at(played: Played, t: float) -> int:
    return int(np.argmin(np.abs(played.time_s - t)))


def is_high(played: Played, i: int, t: float) -> bool:
    """At least 8 yd deep and inside the numbers."""
    x, y = played.xy[i, index_at(played, t)]
    numbers = played.plan.setting.numbers_yd
    return bool(x >= HIGH_YD and numbers <= y <= WIDTH_YD - numbers)


def shell_at(played: Played, t: float) -> str:
    """By how many defenders but the corners are high, counted from positions."""
    high = sum(is_high(played, i, t) for i, p in enumerate(played.people) if p.side == "defense" and p.role != "corner")
    return SHELL_NAMES[min(high, 2)]


def formation_facts(played: Played) -> dict[str, Any]:
    """set_name, strength, backs, receivers, features from where everybody stands at the snap."""
    k, ball = index_at(played, 0.0), played.plan.setting.ball_y_yd
    at = {p.player_id: played.xy[i, k] for i, p in enumerate(played.people) if p.side == "offense" and p.eligible}
    role = {p.player_id: p.role for p in played.people}
    # A back is whoever stands in the backfield near the ball; a receiver in jet motion counts by the side where he is.
    backs = [i for i, (x, y) in at.items() if role[i] == "rb" and x < -3.0 and abs(y - ball) < 4.5]
    sides = {
        s: sorted((i for i, (_, y) in at.items() if i not in backs and (y - ball) * s > 0), key=lambda i: -s * at[i][1])
        for s in (-1, 1)
    }
    counts = {s: len(m) for s, m in sides.items()}
    big, small = max(counts.values()), min(counts.values())
    features = ["empty"] if not backs else []
    tight = {s: [i for i in m if role[i] == "te" and abs(at[i][1] - ball) < TACKLE_YD + 2.0] for s, m in sides.items()}
    for s, name in ((-1, "left"), (1, "right")):
        features += _side_features(
            [at[i] for i in sides[s]],
            ball,
            name,
            bool(tight[s]),
            played.plan.setting.room_yd(s) - played.plan.setting.numbers_yd,
        )
    if counts[-1] != counts[1]:
        strength = "left" if counts[-1] > counts[1] else "right"
    elif bool(tight[-1]) != bool(tight[1]):
        strength = "left" if tight[-1] else "right"
    else:
        strength = "balanced"
    return {
        "set_name": f"{big}x{small}",
        "strength": strength,
        "backs": len(backs),
        "receivers": _numbers(at, backs, ball, strength),
        "features": features,
    }


def _numbers(at: dict[str, Any], backs: list[str], ball: float, strength: str) -> dict[str, str]:
    """Eligibles counted from each sideline inward; a back straight behind the ball goes to the weaker side."""
    weak = 1 if strength == "left" else -1
    side = {i: (weak if i in backs and abs(y - ball) < 0.4 else -1 if y < ball else 1) for i, (_, y) in at.items()}
    out = {}
    for s, name in ((-1, "left"), (1, "right")):
        men = sorted((i for i in at if side[i] == s), key=lambda i: (i in backs, -s * at[i][1]))
        out.update({i: f"{name}-{n + 1}" for n, i in enumerate(men)})
    return out


def _side_features(spots: list[Any], ball: float, name: str, attached: bool, to_numbers: float) -> list[str]:
    out = []
    y = sorted((abs(s[1] - ball) for s in spots), reverse=True)
    wide = [(s[0], abs(s[1] - ball)) for s in spots]
    if any(
        abs(a[1] - b[1]) < 1.5 and abs(a[0] - b[0]) > 0.8
        for k, a in enumerate(wide)
        for b in wide[k + 1 :]
        if a[1] > 5.4 or b[1] > 5.4
    ):
        out.append(f"stack-{name}")
    if len(y) >= 3 and any(y[k] - y[k + 2] < 3.2 for k in range(len(y) - 2)):
        out = [f"bunch-{name}"]
    if len(y) >= 1 and y[0] < min(TACKLE_YD + 6.0, to_numbers) and not (attached and len(y) == 1):
        out.append(f"condensed-{name}")
    if attached:
        out.append(f"attached-end-{name}")
    return out
