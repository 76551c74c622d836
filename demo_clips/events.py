"""Events of a rep, found on its exact tracks: who lost leverage, who was stressed, who carried, who broke when.

What counts is what a coach sees on the film, not what a man had in mind: he carries a receiver with whom he runs downfield, he
is late if he is not yet where his zone is, he breaks if he turns and speeds up toward the ball. Common practice, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.bodies import STEP_S
from demo_clips.coverages import Job
from demo_clips.facts import shell_at
from demo_clips.rep import Played
from demo_clips.setting import MIDDLE_YD
from demo_clips.zones import DEEP_BOUNDS, UNDER_BOUNDS
from homography.field import WIDTH_YD

Bool = npt.NDArray[np.bool_]
OVER_TOP_YD, OVER_TOP_S = 0.5, 0.3
CROSS_YD, CROSS_NEAR_YD, CROSS_S = 1.0, 5.0, 0.2
DEEP_ROUTE_YD = 8.0  # a receiver nearer than this threatens no deep man
VERTICAL_YD = 12.0
WITH_HIM_YD = 5.0  # as near as leverage counts
CARRY_FROM_YD, CARRY_S = 8.0, 0.5  # the underneath landmarks begin there
DOWNFIELD_YD_S, RUNS_ON_YD_S = 2.0, 3.0
BREAK_REACH_YD, BREAK_GAIN_YD, BREAK_SPEED_UP_YD_S = 22.0, 1.0, 1.5
LANDMARK_S, SHORT_YD = 2.6, 3.0
GONE_BY_S, GIVES_UP_YD, BACKPEDAL_YD = 1.6, 2.5, 4.0
DEEP_WORDS = ("deep-third", "deep-half", "deep-quarter")
HIGH = {"cover-0": "zero-high", "cover-1": "one-high", "cover-3": "one-high"}  # the others keep two high
# How deep at least, and how far from the middle of the field on his side (least, most), yd.
LANDMARKS = {
    "deep-third": (12.0, 9.0, 27.0),
    "deep-half": (12.0, 3.0, 18.0),
    "deep-quarter": (12.0, 0.0, 27.0),
    "curl-flat": (6.0, 9.0, 22.0),
    "hook-curl": (6.0, 1.0, 13.0),
    "flat": (3.0, 12.0, 27.0),
}


def _bounds(played: Played, job: Job) -> tuple[float, float]:
    """Deep areas are equal parts of the field; underneath ones lean to the ball's spot."""
    word = (job.word, job.area or "middle")
    low, high = (DEEP_BOUNDS | UNDER_BOUNDS)[word]
    lean = 0.0 if word in DEEP_BOUNDS else 0.33 * (played.plan.setting.ball_y_yd - MIDDLE_YD)
    return (low + lean if low > 0.5 else -1.0), (high + lean if high < WIDTH_YD - 0.5 else WIDTH_YD + 1.0)


def _runs(flag: Bool, least_s: float) -> list[tuple[int, int]]:
    """(first, last + 1) of each run of True that lasts."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flag, [False]]).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if (b - a) * STEP_S >= least_s]


class _Finder:
    def __init__(self, played: Played, offset: float) -> None:
        self.p, self.offset = played, offset
        self.t = played.time_s
        self.stop_s = played.release_s if played.release_s is not None else played.end_s
        self.live = (self.t > 0.0) & (self.t <= self.stop_s)
        self.eligible = [i for i, q in enumerate(played.people) if q.side == "offense" and q.eligible]
        self.velocity = np.gradient(played.xy, STEP_S, axis=1)
        self.out: list[dict[str, Any]] = []

    def add(
        self, kind: str, man: int | None, against: int | None, start: float, end: float, margin: float | None, **more: Any
    ) -> None:
        name = self.p.people
        self.out.append(
            {
                "kind": kind,
                "player_id": None if man is None else name[man].player_id,
                "against": None if against is None else name[against].player_id,
                "start_s": round(start + self.offset, 3),
                "end_s": round(end + self.offset, 3),
                "margin_yd": None if margin is None else round(float(margin), 3),
                **more,
            }
        )

    def while_in(self, start: float, end: float) -> Bool:
        return self.live & (self.t >= start) & (self.t < end)

    def inside(self, r: int, bounds: tuple[float, float]) -> Bool:
        y = self.p.xy[r, :, 1]
        soon = y + 0.5 * self.velocity[r, :, 1]
        return ((y > bounds[0]) & (y < bounds[1])) | ((soon > bounds[0]) & (soon < bounds[1]))

    def deep_man(self, i: int, job: Job, span: Bool) -> None:
        bounds = _bounds(self.p, job)
        x, y = self.p.xy[i, :, 0], self.p.xy[i, :, 1]
        outward = -1.0 if "left" in (job.area or "") else 1.0 if "right" in (job.area or "") else 0.0
        protects = outward if job.word == "deep-half" else -outward
        for r in self.eligible:
            rx, ry = self.p.xy[r, :, 0], self.p.xy[r, :, 1]
            mine = span & self.inside(r, bounds) & (rx > DEEP_ROUTE_YD)
            for a, b in _runs(mine & (rx > x + OVER_TOP_YD), OVER_TOP_S):
                self.add("leverage-lost-over-top", i, r, self.t[a], self.t[b - 1], float(np.min(x[a:b] - rx[a:b])))
            if protects:
                near = np.hypot(rx - x, ry - y) < CROSS_NEAR_YD
                past = protects * (ry - y) > CROSS_YD
                before = np.maximum.accumulate(near & mine & (protects * (ry - y) < 0.0))
                for a, b in _runs(mine & near & past & before, CROSS_S):
                    side = "outside" if protects == outward else "inside"
                    self.add(
                        f"leverage-lost-{side}", i, r, self.t[a], self.t[b - 1], -float(np.max(protects * (ry[a:b] - y[a:b])))
                    )
        count = sum((self.inside(r, bounds) & (self.p.xy[r, :, 0] > VERTICAL_YD) & span).astype(int) for r in self.eligible)
        for a, b in _runs(np.asarray(count) >= 2, 0.3)[:1]:
            self.add("vertical-stress", i, None, self.t[a], self.t[b - 1], None)

    def under_man(self, i: int, job: Job, span: Bool) -> None:
        if job.word not in ("curl-flat", "flat"):
            return
        bounds = _bounds(self.p, job)
        x, y = self.p.xy[i, :, 0], self.p.xy[i, :, 1]
        late = span & (self.t > 1.2)
        for low in self.eligible:
            for high in self.eligible:
                if low == high:
                    continue
                lx, hx = self.p.xy[low, :, 0], self.p.xy[high, :, 0]
                both = self.inside(low, bounds) & self.inside(high, bounds)
                wide = (np.abs(self.p.xy[low, :, 1] - y) < 8.0) & (np.abs(self.p.xy[high, :, 1] - y) < 8.0)
                for a, b in _runs(late & both & wide & (lx < x - 1.0) & (lx > -1.0) & (hx > x + 1.5) & (hx < x + 14.0), 0.4)[:1]:
                    moved = x[min(b, len(x) - 1)] - x[a]
                    self.add(
                        "high-low-stress",
                        i,
                        high,
                        self.t[a],
                        self.t[b - 1],
                        None,
                        low=self.p.people[low].player_id,
                        choice="sank" if moved > 0.5 else "bit" if moved < -0.5 else "held",
                    )

    def carries(self) -> None:
        """He runs downfield with a receiver past the underneath landmarks; passed off where he lets go of one who runs on."""
        for i, words in self.p.words.items():
            for r in self.eligible:
                gap = np.hypot(*(self.p.xy[i] - self.p.xy[r]).T)
                runs = self.velocity[i, :, 0] > DOWNFIELD_YD_S
                vertical = (self.velocity[r, :, 0] > DOWNFIELD_YD_S) & (self.p.xy[r, :, 0] > CARRY_FROM_YD)
                with_him = self.live & self.in_zone(words) & runs & vertical & (gap < WITH_HIM_YD)
                stretches = _runs(with_him, CARRY_S)
                if not stretches:
                    continue
                a, b = stretches[0][0], stretches[-1][1] - 1
                self.add("carried", i, r, self.t[a], self.t[b], float(gap[a : b + 1].min()))
                later = min(b + round(0.2 / STEP_S), len(self.t) - 1)
                if words[-1][1].word not in DEEP_WORDS and self.t[b] < self.stop_s - 0.3 and not runs[later] and \
                        self.velocity[r, later, 0] > RUNS_ON_YD_S:
                    self.add("passed-off", i, r, self.t[b], self.t[b], None)

    def in_zone(self, words: list[tuple[float, Job]]) -> Bool:
        """While he plays a zone."""
        mask = np.zeros(len(self.t), bool)
        for k, (start, job) in enumerate(words):
            end = words[k + 1][0] if k + 1 < len(words) else np.inf
            mask |= (self.t >= start) & (self.t < end) & (job.area is not None)
        return mask

    def breaks(self) -> None:
        """Everybody in coverage who turns and speeds up toward the ball's area once it is out."""
        if self.p.release_s is None or self.p.arrive_s is None or self.p.target is None:
            return
        k1 = int(np.searchsorted(self.t, self.p.arrive_s).clip(0, len(self.t) - 1))
        goal = self.p.ball[k1, :2]
        for i in self.p.words:
            start = self.p.release_s + self.p.react_s[i]
            k0 = int(np.searchsorted(self.t, start).clip(0, len(self.t) - 1))
            if k0 >= k1 or any(job.word == "rush" for _, job in self.p.words[i]):
                continue
            way = goal - self.p.xy[i]
            gap = np.hypot(*way.T)
            closing = (self.velocity[i] * way).sum(axis=1) / (gap + 1e-6)
            speeds_up = closing[k0 : k1 + 1].max() - closing[k0] > BREAK_SPEED_UP_YD_S
            if speeds_up and gap[k0] - gap[k1] > BREAK_GAIN_YD and gap[k0] < BREAK_REACH_YD:
                self.add("break", i, self.p.target, start, self.p.arrive_s, gap[k1], delay_s=round(self.p.react_s[i], 3))

    def landmarks(self, rotators: list[int]) -> None:
        """Who is still well short of his landmark when everybody should be there, and has no receiver to run with."""
        k = int(np.argmin(np.abs(self.t - LANDMARK_S)))
        for i, words in self.p.words.items():
            job = next((job for start, job in reversed(words) if start <= LANDMARK_S), None)
            if job is None or job.word not in LANDMARKS or self.stop_s <= LANDMARK_S:
                continue
            short = self.short_of(i, job)
            nearest = min(float(np.hypot(*(self.p.xy[i, k] - self.p.xy[r, k]))) for r in self.eligible)
            if short[k] > SHORT_YD and nearest > WITH_HIM_YD:
                there = np.flatnonzero((short < 1.0) & (self.t > LANDMARK_S))
                end = min(self.t[there[0]] if len(there) else self.stop_s, self.stop_s)
                self.add("late-rotation" if i in rotators else "late-to-landmark", i, None, LANDMARK_S, float(end), None)

    def short_of(self, i: int, job: Job) -> npt.NDArray[np.float64]:
        """Yards from the nearest spot of his landmark's area."""
        deep, low, high = LANDMARKS[job.word]
        area = job.area or "middle"
        out = self.p.xy[i, :, 1] - MIDDLE_YD
        if area == "middle":
            low, high = -9.0, 9.0
        elif job.word == "deep-quarter":
            low, high = (13.0, 27.0) if area.endswith("outside") else (0.0, 13.5)
        out = -out if area.startswith("left") else out
        across = np.maximum(0.0, np.maximum(low - out, out - high))
        return np.asarray(np.hypot(np.maximum(0.0, deep - self.p.xy[i, :, 0]), across))

    def disguises(self) -> list[int]:
        """Every safety who gives up his place in the shell shown, if it is not the one of the coverage played; who they are."""
        plan, first = self.p.plan, len(self.p.plan.formation.people)
        begins = min(plan.rotate_s, 0.0) if plan.disguised else 0.0
        if shell_at(self.p, begins - 0.15) == HIGH.get(plan.coverage.family, "two-high"):
            return []
        a, b = (int(np.argmin(np.abs(self.t - at))) for at in (begins - 0.15, GONE_BY_S))
        found = []
        for i in (first + d for d, p in enumerate(plan.defenders) if p.role == "safety"):
            back, across = self.p.xy[i, b] - self.p.xy[i, a]
            if np.hypot(min(back, 0.0) + max(back - BACKPEDAL_YD, 0.0), across) >= GIVES_UP_YD:
                found.append(i)
                self.add("disguise", i, None, max(plan.rotate_s if plan.disguised else 0.0, plan.start_s), 1.0, None)
        return found

    def busts(self) -> None:
        for i, done in self.p.mistakes.items():
            called = self.p.plan.coverage.jobs[i - len(self.p.plan.formation.people)]
            for m in done:
                if m["kind"] not in ("wrong-zone", "locks-on", "lost-man"):
                    continue
                self.add("bust-called", i, called.receiver, m["start_s"], self.p.end_s, None)
                if called.word != "man":
                    self.empty_zone(i, called)
        jobs = {i: w[-1][1] for i, w in self.p.words.items()}
        zones = [(i, (j.word, j.area)) for i, j in jobs.items() if j.area is not None and j.style != "hole"]
        for k, (i, zone) in enumerate(zones):
            for other, same in zones[k + 1 :]:
                if same == zone and zone[0] not in ("middle-hook", "robber"):
                    self.add("bust-two-in-zone", i if i in self.p.mistakes else other, None, 0.0, self.p.end_s, None)

    def empty_zone(self, i: int, called: Job) -> None:
        bounds = _bounds(self.p, called)
        deep = called.word.startswith("deep")
        for r in self.eligible:
            rx = self.p.xy[r, :, 0]
            there = self.live & self.inside(r, bounds) & ((rx > VERTICAL_YD) if deep else (rx > 3.0) & (rx < 14.0))
            for a, b in _runs(there, 0.5)[:1]:
                self.add("bust-empty-zone", i, r, self.t[a], self.t[b - 1], None)
                return


def find_events(played: Played, offset: float) -> list[dict[str, Any]]:
    """All events of a pass rep (others have no coverage to grade, so nothing was disguised either), sorted by time. `offset`
    turns snap time into clip time."""
    f = _Finder(played, offset)
    if played.plan.call.kind != "pass":
        return []
    rotators = f.disguises()
    for i, words in played.words.items():
        for k, (start, job) in enumerate(words):
            end = words[k + 1][0] if k + 1 < len(words) else played.end_s
            if job.word in DEEP_WORDS:
                f.deep_man(i, job, f.while_in(start, end))
            else:
                f.under_man(i, job, f.while_in(start, end))
    f.carries()
    f.breaks()
    f.landmarks(rotators)
    f.busts()
    return sorted(f.out, key=lambda e: (e["start_s"], e["kind"], e["player_id"] or ""))
