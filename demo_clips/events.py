"""Events of a rep, from what the simulator knows: whom a man carried in his mind, when he saw the throw, where he wanted to
be and when he was there, whose part in the coverage is another than the one he showed; margins by exact geometry.

Where the trade has a number (how deep, how long, how near leverage is lost) it is that number; elsewhere what he intended
counts, not a threshold on his path. Common practice, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.bodies import STEP_S
from demo_clips.coverages import Job
from demo_clips.facts import is_high, shell_at
from demo_clips.rep import Played
from demo_clips.setting import MIDDLE_YD
from demo_clips.zones import DEEP_BOUNDS, UNDER_BOUNDS
from homography.field import WIDTH_YD

Bool = npt.NDArray[np.bool_]
OVER_TOP_YD, OVER_TOP_S = 0.5, 0.3
CROSS_YD, NEAR_YD, CROSS_S = 1.0, 5.0, 0.15
THREAT_YD = 5.5  # a receiver nearer than this threatens no deep man
VERTICAL_YD, VERTICAL_YD_S = 12.0, 4.0
OVER_HIM_YD = 3.0  # a deep man so near above a vertical route runs at its pace (deep.DeepZone)
CARRY_S, STRESS_S = 0.4, 0.5
STRIDE_YD = 2.0  # step for step
SEES_THROW_YD = 22.0  # who is farther from the catch keeps to his job (rep.Rep)
PLANT_RAD, PLANT_SHARE = 0.5, 0.5  # who already runs there, at this share of his speed, need not plant
LEAST_DRIVE_S = 0.25
LEVELS_YD = 5.0  # a high and a low receiver are so far apart in depth: one man can be with both of nearer ones
DROPPED_S = 2.5  # a drop is over by then
SHORT_YD, LATE_S = 1.0, 0.2  # a step, and a few frames of film: nobody sees that somebody was less late
LEAST_DEPTH_YD = {"deep-third": 12.0, "deep-half": 12.0, "deep-quarter": 12.0, "flat": 2.0}
UNDER_DEPTH_YD = 5.0  # of 8 to 12 yd that he is to have
DEEP_WORDS = ("deep-third", "deep-half", "deep-quarter")
HIGH = {"cover-0": "zero-high", "cover-1": "one-high", "cover-3": "one-high"}  # the others keep two high


def _bounds(played: Played, job: Job) -> tuple[float, float]:
    """Deep areas are equal parts of the field; underneath ones lean to the ball's spot."""
    word = (job.word, job.area or "middle")
    low, high = (DEEP_BOUNDS | UNDER_BOUNDS)[word]
    lean = 0.0 if word in DEEP_BOUNDS else 0.33 * (played.plan.setting.ball_y_yd - MIDDLE_YD)
    return (low + lean if low > 0.5 else -1.0), (high + lean if high < WIDTH_YD - 0.5 else WIDTH_YD + 1.0)


def part_of(job: Job, shell: str) -> str:
    """The shell of which his job makes him one of the high men, or low."""
    inside = job.word in DEEP_WORDS and job.style != "runner" and not (job.area or "").endswith("outside")
    return "low" if not inside else "two-high" if job.word == "deep-third" and job.area != "middle" else shell


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
            mine = span & self.inside(r, bounds) & (rx > THREAT_YD)
            for a, b in _runs(mine & (rx > x + OVER_TOP_YD), OVER_TOP_S):
                self.add("leverage-lost-over-top", i, r, self.t[a], self.t[b - 1], float(np.min(x[a:b] - rx[a:b])))
            if protects:
                near = np.hypot(rx - x, ry - y) < NEAR_YD
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
        x = self.p.xy[i, :, 0]
        inside = {r: self.inside(r, _bounds(self.p, job)) & self.nearest_zone(i, r) for r in self.eligible}
        longest = (0, 0, 0, 0)
        for low in self.eligible:
            for high in self.eligible:
                low_x, high_x = self.p.xy[low, :, 0], self.p.xy[high, :, 0]
                between = (low_x < x) & (low_x > 0.0) & (high_x > x) & (high_x - low_x > LEVELS_YD)
                for a, b in _runs(span & inside[low] & inside[high] & between, STRESS_S):
                    longest = max(longest, (b - a, a, high, low))
        length, a, high, low = longest
        if length:
            b = a + length
            moved = x[min(b, len(x) - 1)] - x[a]
            choice = "sank" if moved > 0.5 else "bit" if moved < -0.5 else "held"
            name = self.p.people[low].player_id
            self.add("high-low-stress", i, high, self.t[a], self.t[b - 1], None, low=name, choice=choice)

    def nearest_zone(self, i: int, r: int) -> Bool:
        """While of all underneath men in zone he is the nearest to a receiver across."""
        others = [k for k, words in self.p.words.items() if words[-1][1].area is not None and words[-1][1].word not in DEEP_WORDS]
        across = np.abs(self.p.xy[others, :, 1] - self.p.xy[r, :, 1])
        return np.asarray(np.abs(self.p.xy[i, :, 1] - self.p.xy[r, :, 1]) <= across.min(axis=0))

    def carries(self) -> None:
        """Whom a zone man had as his man in mind, near enough to be with him, once he is deep enough to matter to a deep man; who
        lets go of one who runs on before the throw has passed him off."""
        for i, words in self.p.words.items():
            for r in self.eligible:
                gap = np.hypot(*(self.p.xy[i] - self.p.xy[r]).T)
                with_him = (self.minds(i, r) | self.over_him(i, r, words) | self.beside(i, r, gap)) & (gap < NEAR_YD)
                with_him &= self.p.xy[r, :, 0] > THREAT_YD
                stretches = _runs(with_him & self.live & self.in_zone(words), CARRY_S)
                if not stretches:
                    continue
                a, b = stretches[0][0], stretches[-1][1] - 1
                self.add("carried", i, r, self.t[a], self.t[b], float(gap[a : b + 1].min()))
                lets_go = self.t[b] < self.stop_s - CARRY_S and self.velocity[r, b, 0] > VERTICAL_YD_S
                if words[-1][1].word not in DEEP_WORDS and lets_go:
                    self.add("passed-off", i, r, self.t[b], self.t[b], None)

    def minds(self, i: int, r: int) -> Bool:
        """While receiver `r` is the man whom he carries."""
        mask = np.zeros(len(self.t), bool)
        mask[[int(np.argmin(np.abs(self.t - at))) for at, man, receiver in self.p.carried if (man, receiver) == (i, r)]] = True
        return mask

    def over_him(self, i: int, r: int, words: list[tuple[float, Job]]) -> Bool:
        """While a deep man who plays his spot has a vertical route in his area so near below him that he runs with it."""
        job = words[-1][1]
        if job.word not in DEEP_WORDS or job.style == "match":
            return np.zeros(len(self.t), bool)
        cushion = self.p.xy[i, :, 0] - self.p.xy[r, :, 0]
        vertical = (self.velocity[r, :, 0] > VERTICAL_YD_S) & (self.p.xy[r, :, 0] > THREAT_YD)
        return np.asarray(self.inside(r, _bounds(self.p, job)) & vertical & (np.abs(cushion) < OVER_HIM_YD))

    def beside(self, i: int, r: int, gap: npt.NDArray[np.float64]) -> Bool:
        """While he runs downfield step for step with a receiver: on film that is carrying him, whatever he had in mind."""
        both = (self.velocity[[i, r], :, 0] > VERTICAL_YD_S).all(axis=0) & (gap < STRIDE_YD)
        mask = np.zeros(len(self.t), bool)
        for a, b in _runs(both, STRESS_S):
            mask[a:b] = True
        return mask

    def in_zone(self, words: list[tuple[float, Job]]) -> Bool:
        """While he plays a zone."""
        mask = np.zeros(len(self.t), bool)
        for k, (start, job) in enumerate(words):
            end = words[k + 1][0] if k + 1 < len(words) else np.inf
            mask |= (self.t >= start) & (self.t < end) & (job.area is not None)
        return mask

    def breaks(self) -> None:
        """Everybody in coverage who saw the throw and was nearer when the ball came, but for who already ran there."""
        if self.p.release_s is None or self.p.arrive_s is None or self.p.target is None:
            return
        k1 = int(np.searchsorted(self.t, self.p.arrive_s).clip(0, len(self.t) - 1))
        goal = self.p.ball[k1, :2]
        for i in self.p.words:
            start = self.p.release_s + self.p.react_s[i]
            k0 = int(np.searchsorted(self.t, start).clip(0, len(self.t) - 1))
            if self.p.arrive_s - start < LEAST_DRIVE_S or any(job.word in ("rush", "spy") for _, job in self.p.words[i]):
                continue
            way, run = goal - self.p.xy[i, k0], self.velocity[i, k0]
            speed = float(np.hypot(*run))
            turn = np.arccos(np.clip(way @ run / (np.hypot(*way) * speed + 1e-6), -1.0, 1.0))
            plants = turn > PLANT_RAD or speed < PLANT_SHARE * self.p.people[i].top_yd_s
            gap = float(np.hypot(*(goal - self.p.xy[i, k1])))
            if plants and gap < np.hypot(*way) < SEES_THROW_YD:
                self.add("break", i, self.p.target, start, self.p.arrive_s, gap, delay_s=round(self.p.react_s[i], 3))

    def landmarks(self, rotators: list[int]) -> None:
        """Who was not yet where he wanted to be when a drop is over, nor with a man, and is plainly short of his area or beside
        it."""
        k = int(np.argmin(np.abs(self.t - DROPPED_S)))
        for i, reached in self.p.reached_s.items():
            job = next(job for start, job in reversed(self.p.words[i]) if start <= DROPPED_S)
            low, high = _bounds(self.p, job)
            x, y = self.p.xy[i, k]
            short = np.hypot(max(LEAST_DEPTH_YD.get(job.word, UNDER_DEPTH_YD) - x, 0.0), max(low - y, y - high, 0.0))
            until = min(reached or self.stop_s, self.stop_s)
            if short > SHORT_YD and until - DROPPED_S > LATE_S:
                kind = "late-rotation" if i in rotators else "late-to-landmark"
                self.add(kind, i, None, DROPPED_S, until, None)

    def disguises(self) -> list[int]:
        """Every safety whose part in the coverage is another than he showed, if the shell is; who they are."""
        plan, first = self.p.plan, len(self.p.plan.formation.people)
        begins = min(plan.rotate_s, 0.0) if plan.disguised else 0.0
        shown, played = shell_at(self.p, begins - 0.15), HIGH.get(plan.coverage.family, "two-high")
        found = []
        for d in (d for d, p in enumerate(plan.defenders) if p.role == "safety" and shown != played):
            high = is_high(self.p, first + d, begins - 0.15)
            if (shown if high else "low") != part_of(plan.coverage.jobs[d], played):
                found.append(first + d)
                self.add("disguise", first + d, None, max(plan.rotate_s if plan.disguised else 0.0, plan.start_s), 1.0, None)
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
