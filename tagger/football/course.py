"""A rep as the events see it: who had what, until when, and where his area lies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from homography.field import WIDTH_YD
from tagger.football.scene import STEP_S, Scene
from tagger.football.settings import Settings
from tagger.football.types import Defender, Event
from tagger.football.vocabulary import DEEP_ASSIGNMENTS
from vision.types import BoolArray, FloatArray

NOT_IN_COVERAGE = ("rush", "spy", "run-fit")
ENTERING_S = 0.5
"""Who will be in an area so soon is entering it."""
QUARTER_YD, THIRD_YD = WIDTH_YD / 4, WIDTH_YD / 3
DEEP_BOUNDS_YD = {
    ("deep-third", "left"): (0.0, THIRD_YD), ("deep-third", "middle"): (THIRD_YD, 2 * THIRD_YD),
    ("deep-third", "right"): (2 * THIRD_YD, WIDTH_YD), ("deep-half", "left"): (0.0, WIDTH_YD / 2),
    ("deep-half", "right"): (WIDTH_YD / 2, WIDTH_YD), ("deep-quarter", "left-outside"): (0.0, QUARTER_YD),
    ("deep-quarter", "left-inside"): (QUARTER_YD, 2 * QUARTER_YD),
    ("deep-quarter", "right-inside"): (2 * QUARTER_YD, 3 * QUARTER_YD),
    ("deep-quarter", "right-outside"): (3 * QUARTER_YD, WIDTH_YD),
}
"""Across, from the left sideline: the width in equal parts."""


@dataclass(frozen=True)
class Job:
    """One defender's assignment: his row of the scene, the word, the area, the row of his man, how sure it is."""

    row: int
    player_id: str
    slot: str
    word: str
    area: str | None
    receiver: int | None
    confidence: float

    @property
    def deep(self) -> bool:
        """True for a deep zone."""
        return self.word in DEEP_ASSIGNMENTS

    @property
    def zone(self) -> bool:
        """True for any zone."""
        return self.word not in (*NOT_IN_COVERAGE, "man")

    @property
    def side(self) -> float:
        """-1 for an area on the left, 1 on the right, 0 in the middle."""
        return -1.0 if (self.area or "").startswith("left") else 1.0 if (self.area or "").startswith("right") else 0.0


@dataclass(frozen=True)
class Course:
    """The rep from the snap to the throw (`thrown`, a grid index; the end of the play where nobody threw) and to its `end`.
    `released` False where there was no throw, or nobody can say when: `thrown` is then until when the ball was likely held;
    `family` the likeliest, with `sure` its probability."""

    scene: Scene
    settings: Settings
    jobs: tuple[Job, ...]
    thrown: int
    end: int
    released: bool
    family: str
    sure: float

    def depth(self, row: int) -> FloatArray:
        """(T,) yards past the line."""
        out: FloatArray = self.scene.xy[row, :, 0] - self.scene.line_yd
        return out

    def across(self, row: int) -> FloatArray:
        """(T,) yards from the left sideline."""
        out: FloatArray = self.scene.xy[row, :, 1]
        return out

    def apart(self, one: int, other: int) -> FloatArray:
        """(T,) distance of two men."""
        out: FloatArray = np.linalg.norm(self.scene.xy[one] - self.scene.xy[other], axis=1)
        return out

    def entering(self, receiver: int, job: Job) -> BoolArray:
        """(T,) True while a receiver is in a man's deep area or enters it."""
        low, high = bounds_of(job)
        across = self.across(receiver)
        soon = across + ENTERING_S * self.scene.velocity[receiver, :, 1]
        return np.asarray(((across > low) & (across < high)) | ((soon > low) & (soon < high)))

    def zones(self) -> Iterator[Job]:
        """The men in zone."""
        return (job for job in self.jobs if job.zone)

    def event(self, kind: str, job: Job, start: int, end: int, why: str, against: int | None = None,
              margin_yd: float | None = None, confidence: float = 1.0) -> Event:
        """An event in the play's clock; its confidence is that of the man's assignment times that of the rule."""
        times = self.scene.time_s + self.scene.snap_s
        name = None if against is None else self.scene.play.player_id[against]
        return Event(kind, job.player_id, name, round(float(times[start]), 3), round(float(times[end]), 3),
                     None if margin_yd is None else round(float(margin_yd), 2), round(float(confidence * job.confidence), 3), why)


def set_course(scene: Scene, settings: Settings, defenders: Sequence[Defender], held_s: float | None, released: bool,
               end_s: float, family: str, sure: float) -> Course:
    """The course of a graded rep; times after the snap, `held_s` until when the ball was held."""
    names = scene.play.player_id
    jobs = []
    for row, one in zip(scene.defense, defenders, strict=True):
        if one.intervals:
            what = one.intervals[0]
            man = names.index(what.receiver) if what.receiver in names else None
            jobs.append(Job(int(row), one.player_id, one.slot, what.assignment, what.area, man, what.confidence))
    end = scene.at(end_s)
    return Course(scene, settings, tuple(jobs), end if held_s is None else min(end, scene.at(held_s)), end,
                  released, family, sure)


def bounds_of(job: Job) -> tuple[float, float]:
    """(low, high) yards from the left sideline of a deep area."""
    return DEEP_BOUNDS_YD.get((job.word, job.area or ""), (0.0, WIDTH_YD))


def runs(mask: BoolArray, least_s: float) -> list[tuple[int, int]]:
    """First and last index of every stretch of True that lasts at least so long from the first to the last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True) if (b - 1 - a) * STEP_S >= least_s - 1e-9]
