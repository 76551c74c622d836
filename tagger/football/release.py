"""When the ball was thrown and to whom, read off the men together: the ball itself is rarely seen.

A conditional logit over every moment of the play with every receiver, and that nobody threw: the moment shows in whom the men
turn to, and the receiver in what changed just then.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tagger.football.playbook import PlayBook
from tagger.football.scene import Scene
from tagger.football.throw import arrivals, measure_throw
from vision.types import FloatArray

LEAST_CONFIDENCE = 0.4
"""Below it the told moment was as often half a second off as not, on simulated and on real plays."""


@dataclass(frozen=True)
class Target:
    """The receiver who was thrown to (a row of the scene), the grid index at which the ball is there, how sure it is he."""

    receiver: int
    arrival: int
    chance: float


@dataclass(frozen=True)
class Release:
    """`time_s` after the snap (N,), `table` (N, R) the chance of a throw at each to each of the scene's receivers, what is left
    being the chance that nobody threw; `best_s` about when it is likeliest; `confidence` the chance within 0.3 s of it."""

    time_s: FloatArray
    table: FloatArray
    best_s: float
    confidence: float

    @property
    def chance(self) -> FloatArray:
        """(N,) of the throw at each moment, to whomever."""
        out: FloatArray = self.table.sum(axis=1)
        return out

    @property
    def plain(self) -> bool:
        """False where the men do not show when the ball was out, or whether it was."""
        return self.confidence >= LEAST_CONFIDENCE

    @property
    def even_s(self) -> float:
        """The moment by which the ball is as likely out as not; the last one if it never is."""
        return float(self.time_s[min(int(np.searchsorted(np.cumsum(self.chance), 0.5)), len(self.time_s) - 1)])

    def before(self, time_s: float) -> float:
        """Chance of a throw before a time."""
        return float(self.chance[self.time_s < time_s].sum())

    def target(self, scene: Scene) -> Target:
        """The likeliest target of a throw at the likeliest moment or about it."""
        chance = self.table[np.abs(self.time_s - self.best_s) < 0.31].sum(axis=0)
        best = int(np.argmax(chance))
        receiver = int(scene.receivers[best])
        return Target(receiver, int(arrivals(scene, receiver)[scene.at(self.best_s)]), float(chance[best] / chance.sum()))


def find_release(scene: Scene, book: PlayBook) -> Release | None:
    """The throw, if there was one. None where the tracks end too early to say, or there is no passer."""
    times, rows = measure_throw(scene)
    if not len(times):
        return None
    logit = book.throw.logits(rows)
    none = float(book.throw.none[0])
    top = max(none, float(logit.max()))
    table = np.exp(logit - top)
    table /= table.sum() + np.exp(none - top)
    chance, apart = table.sum(axis=1), np.abs(times[:, None] - times[None])
    best = int(np.argmax((apart < 0.21) @ chance))
    return Release(times, table, float(times[best]), float(chance[apart[best] < 0.31].sum()))
