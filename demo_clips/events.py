"""Events of a rep, found on its exact tracks: who lost leverage, who was stressed, who carried, who broke when."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.bodies import STEP_S
from demo_clips.coverages import Job
from demo_clips.rep import Played
from demo_clips.setting import MIDDLE_YD
from demo_clips.zones import DEEP_BOUNDS, UNDER_BOUNDS
from homography.field import WIDTH_YD

Bool = npt.NDArray[np.bool_]
OVER_TOP_YD, OVER_TOP_S = 0.5, 0.3
CROSS_YD, CROSS_NEAR_YD, CROSS_S = 1.0, 5.0, 0.2
DEEP_ROUTE_YD = 8.0  # a receiver nearer than this threatens no deep man
VERTICAL_YD = 12.0


def _bounds(played: Played, job: Job) -> tuple[float, float]:
    low, high = (DEEP_BOUNDS | UNDER_BOUNDS)[(job.word, job.area or "middle")]
    lean = 0.33 * (played.plan.setting.ball_y_yd - MIDDLE_YD)
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
            for a, b in _runs(mine & (rx > x + OVER_TOP_YD) & (np.abs(ry - y) < 9.0), OVER_TOP_S):
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
        """Runs of the same match pair; one that ends before the throw while the receiver runs on was passed off."""
        pairs: dict[tuple[int, int], list[float]] = {}
        for t, i, r in self.p.carried:
            pairs.setdefault((i, r), []).append(t)
        for (i, r), times in pairs.items():
            start, end = times[0], times[-1]
            if end - start < 0.5:
                continue
            k0, k1 = np.searchsorted(self.t, start), min(int(np.searchsorted(self.t, end)), len(self.t) - 1)
            gap = np.hypot(*(self.p.xy[i, k0 : k1 + 1] - self.p.xy[r, k0 : k1 + 1]).T)
            self.add("carried", i, r, start, end, float(gap.min()))
            if end < self.stop_s - 0.3 and self.velocity[r, k1, 0] > 3.0:
                self.add("passed-off", i, r, end, end, None)

    def breaks(self) -> None:
        if self.p.release_s is None or self.p.arrive_s is None or self.p.target is None:
            return
        k1 = int(np.searchsorted(self.t, self.p.arrive_s).clip(0, len(self.t) - 1))
        goal = self.p.ball[k1, :2]
        for i in self.p.words:
            start = self.p.release_s + self.p.react_s[i]
            k0 = int(np.searchsorted(self.t, start).clip(0, len(self.t) - 1))
            if k0 >= k1 or any(job.word == "rush" for _, job in self.p.words[i]):
                continue
            gap0, gap1 = np.hypot(*(self.p.xy[i, k0] - goal)), np.hypot(*(self.p.xy[i, k1] - goal))
            if gap0 - gap1 > 1.0 and gap0 < 22.0:
                self.add("break", i, self.p.target, start, self.p.arrive_s, gap1, delay_s=round(self.p.react_s[i], 3))

    def landmarks(self, rotator: str | None) -> None:
        for i, reached in self.p.reached_s.items():
            if self.stop_s > 2.6 and (reached is None or reached > 2.6):
                kind = "late-rotation" if self.p.people[i].player_id == rotator else "late-to-landmark"
                self.add(kind, i, None, 2.6, min(reached or self.stop_s, self.stop_s), None)

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


def find_events(played: Played, offset: float, rotation: dict[str, Any] | None) -> list[dict[str, Any]]:
    """All events of a pass rep (others have no coverage grade), sorted by time. `offset` turns snap time into clip time."""
    f = _Finder(played, offset)
    if rotation is not None:
        f.out.append(
            {
                "kind": "disguise",
                "player_id": rotation["player_id"],
                "against": None,
                "start_s": rotation["start_s"],
                "end_s": round(offset + 1.0, 3),
                "margin_yd": None,
            }
        )
    if played.plan.call.kind == "pass":
        for i, words in played.words.items():
            for k, (start, job) in enumerate(words):
                end = words[k + 1][0] if k + 1 < len(words) else played.end_s
                if job.word in ("deep-third", "deep-half", "deep-quarter"):
                    f.deep_man(i, job, f.while_in(start, end))
                else:
                    f.under_man(i, job, f.while_in(start, end))
        f.carries()
        f.breaks()
        f.landmarks(rotation["player_id"] if rotation else None)
        f.busts()
    return sorted(f.out, key=lambda e: (e["start_s"], e["kind"], e["player_id"] or ""))
