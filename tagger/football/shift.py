"""How a club's own film shifts the machine's chances: learned from reps that a coach has finished, the same for every rep."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from tagger.football.types import Defender, Event, FamilyAt, Reading

LEAST = 1e-9
RIGHT, WRONG = "right", "wrong"
SUREST = 0.999
"""What is told with more is taken as told with this: nothing that the machine says is beyond a shift."""


@dataclass(frozen=True)
class Shift:
    """Chances p become p^power * exp(log_bias of the word), and sum to what they summed to. A power below 1 makes less sure; the
    bias says what this club plays more often than others."""

    power: float = 1.0
    log_bias: Mapping[str, float] = field(default_factory=dict)

    def of(self, chances: Mapping[str, float]) -> dict[str, float]:
        """The shifted chances of some words."""
        total = sum(chances.values())
        if not total or self == AS_IT_IS:
            return dict(chances)
        known = np.array([max(p, LEAST if p else 0.0) for p in chances.values()])
        raised = known**self.power * np.exp([self.log_bias.get(word, 0.0) for word in chances])
        return {word: float(p) for word, p in zip(chances, raised * total / raised.sum(), strict=True)}

    def of_one(self, chance: float) -> float:
        """The shifted chance of being right."""
        return chance if self == AS_IT_IS else self.of(right_or_wrong(chance))[RIGHT]


def right_or_wrong(chance: float) -> dict[str, float]:
    """The chance of being right as chances of two words."""
    chance = min(max(chance, 1.0 - SUREST), SUREST)
    return {RIGHT: chance, WRONG: 1.0 - chance}


AS_IT_IS = Shift()


@dataclass(frozen=True)
class OwnShifts:
    """One shift for each thing told: the family, the kind of play, the shell, and whether a told assignment or event is right."""

    family: Shift = AS_IT_IS
    play_kind: Shift = AS_IT_IS
    shell: Shift = AS_IT_IS
    assignment: Shift = AS_IT_IS
    event: Shift = AS_IT_IS


def shift_over_time(shift: Shift, over: Iterable[FamilyAt]) -> tuple[FamilyAt, ...]:
    """The curve of the family's chances."""
    return tuple(replace(at, family={name: round(p, 4) for name, p in shift.of(at.family).items()}) for at in over)


def shift_told(reading: Reading, own: OwnShifts) -> Reading:
    """A finished reading with the chances of its shell, assignments and events shifted; family and kind of play are shifted
    while it is read, for more follows from them."""
    defenders = tuple(_defender(d, own.assignment) for d in reading.defenders)
    events = tuple(_event(e, own.event) for e in reading.events)
    return replace(reading, shell=own.shell.of(reading.shell), defenders=defenders, events=events)


def _defender(defender: Defender, shift: Shift) -> Defender:
    shifted = [replace(i, confidence=round(shift.of_one(i.confidence), 3)) for i in defender.intervals]
    told = (i if i.assignment == "run-fit" else s for i, s in zip(defender.intervals, shifted, strict=True))
    return replace(defender, intervals=tuple(told))


def _event(event: Event, shift: Shift) -> Event:
    return replace(event, confidence=round(shift.of_one(event.confidence), 3))
