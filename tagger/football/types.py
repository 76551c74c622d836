"""What football takes in (a rep in the play frame) and gives out (a reading: tags with their reasons).

Play frame: `downfield` yards past the line of scrimmage toward the defense, `across` yards from the left sideline as the
offense looks downfield. Angles: 0 = downfield, growing toward the offense's right. Times in seconds of the input's clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from vision.types import FloatArray, check_array


@dataclass(frozen=True)
class Situation:
    """What the practice script says of a rep; None where it says nothing."""

    down: int | None = None
    distance_yd: float | None = None
    hash: str | None = None
    period: str | None = None
    personnel: str | None = None
    call: str | None = None
    yards_to_goal: float | None = None


@dataclass(frozen=True)
class PlayTracks:
    """The players of one rep in the play frame, on one time base.

    `time_s` (T,) strictly increasing; `player_id` N names; `side` (N,) of "offense"/"defense"; `xy_yd` (N, T, 2) as
    (downfield, across), NaN where a man is not seen; `sigma_yd` (N, T), NaN there too; `facing_rad` (N, T), NaN where
    unknown; `position` N position codes or None; `snap_s` if the input carries it; `hash_yd`, the inbounds lines' distance
    from the sideline; `across_known` False where the sidelines were not found and across has an arbitrary origin.
    Raises ValueError on other shapes, unsorted time or unknown sides.
    """

    time_s: FloatArray
    player_id: tuple[str, ...]
    side: npt.NDArray[np.str_]
    xy_yd: FloatArray
    sigma_yd: FloatArray
    facing_rad: FloatArray
    position: tuple[str | None, ...]
    snap_s: float | None = None
    hash_yd: float | None = None
    across_known: bool = True
    situation: Situation = field(default_factory=Situation)

    def __post_init__(self) -> None:
        n, t = len(self.player_id), len(self.time_s)
        check_array("time_s", self.time_s, (t,), "f")
        check_array("xy_yd", self.xy_yd, (n, t, 2), "f", finite=False)
        check_array("sigma_yd", self.sigma_yd, (n, t), "f", finite=False)
        check_array("facing_rad", self.facing_rad, (n, t), "f", finite=False)
        if t > 1 and not (np.diff(self.time_s) > 0).all():
            raise ValueError("time_s: not strictly increasing")
        if len(self.side) != n or len(self.position) != n:
            raise ValueError("side and position need one entry per player")
        if len(set(self.player_id)) != n:
            raise ValueError("player_id: a name stands twice")
        if not set(self.side.tolist()) <= {"offense", "defense"}:
            raise ValueError(f"side: {sorted(set(self.side.tolist()))}, wanted offense or defense")


@dataclass(frozen=True)
class Interval:
    """One defender's assignment from `start_s` to `end_s`. `receiver` is the man he has, if the assignment is man."""

    assignment: str
    area: str | None
    start_s: float
    end_s: float
    confidence: float
    why: str
    receiver: str | None = None


@dataclass(frozen=True)
class CoachFacts:
    """What a coach has fixed of a rep, taken as certain when it is read; snap and sides stand in the tracks. `assignments`: his
    word on a defender, over each interval in the play's clock, by player."""

    family: str | None = None
    play_kind: str | None = None
    assignments: Mapping[str, tuple[Interval, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Phase:
    """What a defender was doing, technique by technique (TECHNIQUE_PHASES)."""

    phase: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Defender:
    """One defender's rep: his slot before the snap, his assignments and his phases over time, and the probability of
    every assignment (word or word:area) at the end of the play."""

    player_id: str
    slot: str
    intervals: tuple[Interval, ...]
    phases: tuple[Phase, ...] = ()
    marginals: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Event:
    """Something a coach stops the film for. `against` is the receiver; `margin_yd` by how much, signed as `why` says."""

    kind: str
    player_id: str | None
    against: str | None
    start_s: float
    end_s: float
    margin_yd: float | None
    confidence: float
    why: str


@dataclass(frozen=True)
class Abstention:
    """A question that the machine does not answer, and why not."""

    what: str
    why: str


@dataclass(frozen=True)
class FamilyAt:
    """The family probabilities as they stood at one time."""

    time_s: float
    family: Mapping[str, float]


@dataclass(frozen=True)
class Motion:
    """A man who moved before the snap, and the answer of the defense (MOTION_ANSWERS)."""

    player_id: str
    kind: str
    start_s: float
    end_s: float
    from_across_yd: float
    to_across_yd: float
    answer: str | None
    why: str


@dataclass(frozen=True)
class Formation:
    """How the offense stands at the snap. `receivers` maps a player to his number, as "left-1" (outermost on the left).
    `set_name` as "3x1"; `strength` left / right / balanced; `features` as ("bunch-left", "attached-end-right", ...)."""

    set_name: str
    strength: str
    backs: int
    receivers: Mapping[str, str]
    features: tuple[str, ...]
    likely_releases: int
    confidence: float
    why: str
    motions: tuple[Motion, ...] = ()


@dataclass(frozen=True)
class Reading:
    """Everything football says of one rep. Abstentions stand in `abstained`; `family` is empty then, or sums to 1."""

    snap_s: float | None
    release_s: float | None
    end_s: float | None
    play_kind: Mapping[str, float]
    shell: Mapping[str, float]
    shell_why: str
    family: Mapping[str, float]
    family_why: str
    family_over_time: tuple[FamilyAt, ...]
    variant: str | None
    formation: Formation | None
    defenders: tuple[Defender, ...]
    events: tuple[Event, ...]
    abstained: tuple[Abstention, ...]
    rush_count: int | None = None
    box_count: int | None = None
