"""What may be asked of the tagging, and how it says that a clip cannot be tagged."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from tagger.football import OwnShifts, Situation
from vision.detector import shipped_weights


class ClipError(ValueError):
    """A clip that cannot be tagged at all; the message is one line: what, where, what to do."""


@dataclass(frozen=True)
class TagOptions:
    """What a person may set. `weights` None are those that come along, the larger ones if `thorough`; `detect_every` None
    chooses the step from the frame rate; `threads` None all the cores; `own` is what the library's finished reps taught about
    the chances."""

    weights: Path | None = None
    device: str = "cpu"
    level: str | None = None
    detect_every: int | None = None
    situation: Situation = field(default_factory=Situation)
    threads: int | None = None
    own: OwnShifts = field(default_factory=OwnShifts)
    thorough: bool = False

    def detector_weights(self) -> Path:
        """The weights that find the people. Raises FileNotFoundError where the ones that come along are missing."""
        return self.weights or shipped_weights(self.device, self.thorough)
