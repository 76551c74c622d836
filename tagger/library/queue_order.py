"""Which rep to look at first: the one where a minute of a coach's time is worth the most.

The value of looking is the chance that the machine is wrong times what the tag is worth to him, summed over the rep's tags;
busts and a played coverage that differs from the called one are worth a look even when the machine is sure.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

from tagger.football.vocabulary import FAMILIES, UNKNOWN
from tagger.library.store import Library

DONE_STATES = frozenset({"reviewed", "not-a-rep"})


@dataclass(frozen=True)
class Weights:
    """What one wrong tag costs, in wrong families. Starting values by judgement; a coach's staff may set its own."""

    family: float = 1.0
    shell: float = 0.3
    assignment: float = 0.25
    event: float = 0.2
    bust: float = 0.35
    conflict: float = 0.5
    unread: float = 0.6
    lost_field: float = 0.3


@dataclass(frozen=True)
class QueuedRep:
    """A rep's line in the queue. `value` in wrong families that a look is expected to prevent; `reasons` in words."""

    rep_id: int
    name: str
    value: float
    reasons: tuple[str, ...]
    review_state: str
    family: str
    family_confidence: float
    family_source: str
    shell: str | None
    play_kind: str | None
    call: str | None
    down: int | None
    distance_yd: float | None
    period: str | None
    set_name: str | None

    @property
    def done(self) -> bool:
        return self.review_state in DONE_STATES


@dataclass(frozen=True)
class Progress:
    """How far the pass has come: `done` of `total` reps, and how much of the expected value is behind."""

    done: int
    total: int
    value_done_share: float


_FACTS = """
SELECT r.rep_id, r.rep, r.review_state, r.family, r.family_confidence, r.family_source, r.shell, r.shell_confidence, r.play_kind,
    r.play_kind_confidence, r.call, r.down, r.distance_yd, r.period, r.set_name, r.snap_s, coalesce(e.busts, 0),
    coalesce(e.doubt, 0), coalesce(a.doubt, 0), coalesce(c.solved_share, 0)
FROM reps r
LEFT JOIN (SELECT rep_id, sum(kind LIKE 'bust-%') AS busts,
           sum(CASE verdict WHEN 'open' THEN 1 - abs(2 * confidence - 1) ELSE 0 END) AS doubt
           FROM events WHERE rep_id BETWEEN :first AND :last GROUP BY rep_id) e USING (rep_id)
LEFT JOIN (SELECT rep_id, sum((1 - confidence) * duration_s) / max(sum(duration_s), 0.1) * count(DISTINCT player_id) AS doubt
           FROM assignments WHERE source = 'auto' AND rep_id BETWEEN :first AND :last GROUP BY rep_id) a USING (rep_id)
LEFT JOIN (SELECT rep_id, max(solved_share) AS solved_share FROM clips WHERE rep_id BETWEEN :first AND :last GROUP BY rep_id) c
    USING (rep_id)
WHERE r.rep_id BETWEEN :first AND :last
"""
_STAMPS = """
SELECT r.rep_id, r.tagged_at, r.review_state, r.family, r.family_confidence, r.snap_s, coalesce(k.newest, 0)
FROM reps r LEFT JOIN (SELECT rep_id, max(correction_id) AS newest FROM corrections GROUP BY rep_id) k USING (rep_id)
"""
FEW = 20
"""Up to so many changed reps are asked for one by one; above, everything is read anew."""


class ReviewQueue:
    """The queue of one library, kept between requests: only reps that changed since are weighed anew."""

    def __init__(self, weights: Weights | None = None) -> None:
        self._weights = weights or Weights()
        self._lock = threading.Lock()
        self._stamps: dict[int, tuple[Any, ...]] = {}
        self._reps: dict[int, QueuedRep] = {}

    def ordered(self, library: Library) -> list[QueuedRep]:
        """Every rep of the library, the most valuable look first, those done last."""
        with self._lock:
            self._refresh(library)
            reps = list(self._reps.values())
        return sorted(reps, key=lambda rep: (rep.done, -rep.value, rep.name))

    def _refresh(self, library: Library) -> None:
        stamps = {row[0]: row[1:] for row in library.sql(_STAMPS)[1]}
        changed = [rep_id for rep_id, stamp in stamps.items() if self._stamps.get(rep_id) != stamp]
        for rep_id in self._reps.keys() - stamps.keys():
            del self._reps[rep_id]
        spans = [(rep_id, rep_id) for rep_id in changed] if len(changed) <= FEW else [(0, max(stamps))]
        for first, last in spans:
            for row in library.sql(_FACTS, {"first": first, "last": last})[1]:
                self._reps[row[0]] = _queued(row, self._weights)
        self._stamps = stamps


def called_family(call: str | None) -> str | None:
    """The family that a called coverage names, as "cover-3" in "Cover 3 Sky"; the longest that fits, None if none does."""
    words = "-".join((call or "").lower().replace("_", " ").replace("-", " ").split())
    named = [family for family in FAMILIES if f"-{family}-" in f"-{words}-"]
    return max(named, key=len) if named else None


def review_queue(library: Library, weights: Weights | None = None) -> list[QueuedRep]:
    """Every rep of the library, the most valuable look first, those done last."""
    return ReviewQueue(weights).ordered(library)


def progress_of(queue: list[QueuedRep]) -> Progress:
    """How far the pass over this queue has come."""
    whole = sum(rep.value for rep in queue)
    done = [rep for rep in queue if rep.done]
    return Progress(len(done), len(queue), sum(rep.value for rep in done) / whole if whole else 1.0)


def _queued(row: tuple[Any, ...], weights: Weights) -> QueuedRep:
    (
        rep_id,
        name,
        state,
        family,
        confidence,
        source,
        shell,
        shell_confidence,
        kind,
        kind_confidence,
        call,
        down,
        distance_yd,
        period,
        set_name,
        snap_s,
        busts,
        event_doubt,
        man_doubt,
        solved_share,
    ) = row
    reasons: list[tuple[float, str]] = []
    ungraded = kind in ("run", "screen", "quick")
    if source != "coach":
        if snap_s is None:
            reasons.append((weights.unread, "no snap found"))
        elif family != UNKNOWN:
            reasons.append((weights.family * (1 - confidence), f"{family} at {100 * confidence:.0f} %"))
        elif ungraded:
            reasons.append((weights.family * (1 - (kind_confidence or 0)), f"{kind} at {100 * (kind_confidence or 0):.0f} %"))
        else:
            reasons.append((weights.unread, "coverage not told"))
    if shell is not None:
        reasons.append((weights.shell * (1 - (shell_confidence or 0)), f"{shell} at {100 * (shell_confidence or 0):.0f} %"))
    if busts:
        reasons.append((weights.bust * busts, f"{busts} bust{'s' if busts > 1 else ''}"))
    called = called_family(call)
    if called and family not in (UNKNOWN, called) and not ungraded:
        reasons.append((weights.conflict, f"called {called}, played {family}"))
    reasons.append((weights.assignment * man_doubt, "assignments in doubt"))
    reasons.append((weights.event * event_doubt, "events in doubt"))
    if solved_share < 0.9:
        reasons.append((weights.lost_field * (1 - solved_share), f"field seen {100 * solved_share:.0f} % of the time"))
    reasons.sort(key=lambda reason: -reason[0])
    told = tuple(words for value, words in reasons if value >= 0.1)[:3]
    value = sum(value for value, _ in reasons)
    return QueuedRep(
        rep_id, name, value, told, state, family, confidence, source, shell, kind, call, down, distance_yd, period, set_name
    )
