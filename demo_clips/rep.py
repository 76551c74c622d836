"""Plays one planned rep out, step by step, and keeps what happened."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sin
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.attitudes import ball_xyz, poses
from demo_clips.ballplay import break_on_ball, carry, go_to_ball, is_down, pursue, settle_catch, slow_down
from demo_clips.bodies import STEP_S, Bodies
from demo_clips.coverages import Job
from demo_clips.defense import answer_motion, defense_before, defense_brains
from demo_clips.ground import HANDOFF_S
from demo_clips.mistakes import make_mistakes
from demo_clips.offense import offense_before, offense_brains, run_aim_y
from demo_clips.people import LINE, Person
from demo_clips.plan import Plan
from demo_clips.world import Want, World, as_array, facing_of
from demo_clips.zones import Zone
from homography.field import WIDTH_YD

MAX_AFTER_SNAP_S = 5.6
MAX_RUN_S = 2.2  # then the whistle, as in practice
TURN_RAD_S = {"corner": 7.0, "safety": 6.5, "nickel": 7.0, "linebacker": 5.5}
MASS = {
    "wr": 0.9,
    "corner": 0.9,
    "safety": 1.0,
    "nickel": 0.95,
    "linebacker": 1.2,
    "te": 1.25,
    "edge": 1.35,
    "tackle": 1.7,
    "qb": 1.1,
    "rb": 1.1,
}


@dataclass
class Played:
    """The rep as it happened, play frame: `time_s` after the snap (T,), `xy` (N, T, 2), `face` (N, T), `pose` (N, T),
    `ball` (T, 3) as (x, y, z). `words` (defender index in people -> list of (from_s, Job))."""

    plan: Plan
    people: list[Person]
    time_s: npt.NDArray[np.float64]
    xy: npt.NDArray[np.float64]
    face: npt.NDArray[np.float64]
    pose: npt.NDArray[np.int64]
    ball: npt.NDArray[np.float64]
    release_s: float | None
    arrive_s: float | None
    end_s: float
    result: str
    target: int | None
    words: dict[int, list[tuple[float, Job]]]
    react_s: dict[int, float]
    reached_s: dict[int, float | None]
    mistakes: dict[int, list[dict[str, Any]]] = field(default_factory=dict)
    carried: list[tuple[float, int, int]] = field(default_factory=list)


class Rep:
    """Holds the brains of all and steps the world."""

    def __init__(self, plan: Plan, rng: np.random.Generator) -> None:
        self.plan, self.rng = plan, rng
        self.people = [*plan.formation.people, *plan.defenders]
        self.shift = len(plan.formation.people)
        xy_before = [(p.x, p.y) for p in plan.formation.people]
        for m in plan.formation.moves:
            xy_before[m.person] = m.path[0][1:]
        start = np.array(xy_before + [plan.shown[d] for d in range(len(plan.defenders))])
        loose = np.array([0.0 if p.role in (*LINE, "qb", "edge", "tackle") else 1.0 for p in self.people])
        start += rng.normal(0.0, 0.12, start.shape) * loose[:, None]
        bodies = self._bodies(start)
        self.world = World(plan.setting, self.people, bodies, plan.start_s)
        w = self.world
        w.blockers = set(plan.call.protect) | {i for i, r in plan.call.routes.items() if r.ending == "block"}
        self.react = {i: p.react_s for i, p in enumerate(self.people)}
        self._temperaments()
        self.held: dict[str, float] = {}
        self.fitting: set[int] = set()
        self.handoff_s, self.run_aim = 0.0, run_aim_y(plan)
        self.carried: list[tuple[float, int, int]] = []
        self.brains = offense_brains(plan, rng) | defense_brains(plan, rng)
        self.passer = self.brains[w.qb]
        self.words: dict[int, list[tuple[float, Job]]] = {i: [(0.0, plan.coverage.jobs[i - self.shift])] for i in w.defense}
        w.rushing = {i for i in w.defense if self.words[i][0][1].word == "rush"}
        rotators = [i for i in w.defense if plan.disguised and self.people[i].role == "safety"]
        self.mistakes = make_mistakes(rng, self.brains, self.words, self.throw_react, rotators)
        self.before = offense_before(plan, rng) | defense_before(plan, rng)
        if plan.formation.moves:
            answer, missed = answer_motion(plan, rng, plan.formation.moves[0], self.before)
            plan.answers = [answer]
            if missed is not None:
                self.mistakes.setdefault(missed + self.shift, []).append(
                    {"kind": "missed-motion", "start_s": plan.formation.moves[0].path[0][0]}
                )

    def _bodies(self, start: npt.NDArray[np.float64]) -> Bodies:
        face = np.array([0.0] * self.shift + [np.pi] * (len(self.people) - self.shift))
        back = np.array(
            [0.82 if p.role in LINE else 0.62 if p.role in ("corner", "safety", "nickel") else 0.58 for p in self.people]
        )
        turn = np.array([TURN_RAD_S.get(p.role, 6.0) for p in self.people])
        mass = np.array([MASS.get(p.role, 1.7) for p in self.people])
        return Bodies(start, face, as_array(self.people, "top_yd_s"), as_array(self.people, "accel_yd_s2"), back, turn, mass)

    def _temperaments(self) -> None:
        """Per defender: how late he sees a throw, which side he keeps the runner on, how square he stands, how he sheds."""
        rng, ball = self.rng, self.plan.setting.ball_y_yd
        self.throw_react: dict[int, float] = {}
        self.contain: dict[int, float] = {}
        self.twist: dict[int, tuple[float, float]] = {}
        self.shed_s: dict[int, float] = {}
        self.engaged: dict[int, float] = {}  # seconds that a blocker has held him
        for i in self.world.defense:
            p, y = self.people[i], self.plan.final[i - self.shift][1]
            self.throw_react[i] = float(np.clip(rng.normal(0.33 - 0.04 * p.skill, 0.08), 0.16, 0.7))
            self.contain[i] = float(np.sign(y - ball)) * (1.6 if abs(y - ball) > 7 else 0.3)
            self.twist[i] = float(rng.normal(0.0, 0.22)), float(rng.uniform(0, 6.28))
            self.shed_s[i] = float(rng.exponential(0.9)) + 0.25

    # One step -------------------------------------------------------------------------------------------------------

    def _want(self, i: int) -> Want:
        w = self.world
        person = self.people[i]
        if w.t < 0.0:
            return self._act(self.before, i)
        if w.phase == "dead":
            return slow_down(w, i)
        defender = person.side == "defense"
        if w.phase == "carried":
            return self._after_catch(i, defender)
        if w.phase == "air":
            if i == w.target:
                return go_to_ball(w, i)
            if defender and i not in w.rushing and w.release_s is not None and w.t > w.release_s + self.throw_react[i]:
                back = break_on_ball(w, i, 22.0)
                if back is not None:
                    return back
            if i == w.qb:
                return 0.0, 0.0, None
        return self._act(self.brains, i)

    def _fenced(self, i: int, want: Want) -> Want:
        """Nobody but the ball carrier and who chases the ball runs off the field."""
        w = self.world
        vx, vy, face = want
        if i in (w.carrier, w.target):
            return want
        x, y = w.at(i)
        vy = min(max(vy, 2.2 * (0.6 - y)), 2.2 * (WIDTH_YD - 0.6 - y))
        return min(vx, 2.2 * (w.setting.back_line_x - 0.2 - x)), vy, face

    def _act(self, brains: dict[int, Any], i: int) -> Want:
        want: Want = brains[i].act(self.world)
        return want

    def _after_catch(self, i: int, defender: bool) -> Want:
        w = self.world
        if i == w.carrier:
            return carry(w, i, self.run_aim if self.plan.call.kind == "run" and w.caught_s is None else None)
        since = w.t - (w.caught_s if w.caught_s is not None else self.handoff_s)
        hunter = defender == (w.carrier in w.offense)
        if hunter:
            run = self.plan.call.kind == "run" and w.caught_s is None
            if since < (1.3 * self.react[i] - 0.1 if run else 0.1):
                return self._act(self.brains, i)
            if run and defender and i not in self.fitting:
                self.fitting.add(i)
                w.changes.append((w.t, i, Job("run-fit")))
            free = self.engaged.get(i, 0.0) > self.shed_s.get(i, 9.0)
            want, blocked = pursue(w, i, self.contain.get(i, 0.0), free)
            self.engaged[i] = self.engaged.get(i, 0.0) + STEP_S * blocked
            return want
        if self.plan.call.kind == "run" or i in w.line:
            return self._act(self.brains, i)
        vx, vy = w.velocity(i)
        return vx * 0.93, vy * 0.93, None

    def _ball_logic(self) -> None:
        w, call = self.world, self.plan.call
        if w.t < 0.0 or w.phase == "dead":
            return
        if w.phase == "held":
            if call.kind == "run":
                self._handoff()
            else:
                self._maybe_throw()
        elif w.phase == "air" and w.arrive_s is not None and w.t >= w.arrive_s:
            settle_catch(w, self.rng)
        elif w.phase == "carried" and (is_down(w, self.held, STEP_S) or w.t > (w.caught_s or self.handoff_s + 0.8) + MAX_RUN_S):
            w.phase, w.end_s = "dead", w.t

    def _handoff(self) -> None:
        w, call = self.world, self.plan.call
        runner = call.runner if call.runner is not None else w.qb
        rx, ry = w.at(runner)
        qx, qy = w.at(w.qb)
        wait = HANDOFF_S[call.name]
        if w.t > wait and (abs(rx - qx) + abs(ry - qy) < 2.2 or w.t > wait + 0.5):
            w.phase, w.carrier, self.handoff_s = "carried", runner, w.t

    def _maybe_throw(self) -> None:
        w = self.world
        x, y = w.at(w.qb)
        close = [d for d in w.rushing if abs(w.at(d)[0] - x) < 1.0 and abs(w.at(d)[1] - y) < 1.0]
        if close and w.t > 1.0:
            self.held["sack"] = self.held.get("sack", 0.0) + STEP_S
            if self.held["sack"] > 0.22:
                w.phase, w.end_s, w.result = "dead", w.t, "sack"
                return
        if self.passer.scrambling and x > -0.3:
            w.phase, w.carrier, w.result, w.caught_s = "carried", w.qb, "scramble", w.t
            return
        throw = self.passer.decide(w)
        if throw is not None:
            w.target, cx, cy, flight = throw
            w.catch_xy, w.release_xy = (cx, cy), (x, y)
            w.release_s, w.arrive_s, w.phase = w.t, w.t + flight, "air"
            w.result = "thrown"

    def play(self) -> Played:
        """Run to about a second and a half after the end of the play."""
        w, n = self.world, len(self.people)
        crouch = self.plan.formation.passer_depth < 2
        faces, attitudes, balls, times = [w.bodies.face.copy()], [poses(w, crouch)], [ball_xyz(w)], [w.t]
        tail = float(self.rng.uniform(1.0, 1.4))
        while True:
            wants = [self._fenced(i, self._want(i)) for i in range(n)]
            face = [
                (f + self._wobble(i) if w.t > 0 else f) if f is not None else facing_of(vx, vy, float(w.bodies.face[i]))
                for i, (vx, vy, f) in enumerate(wants)
            ]
            w.bodies.step(np.array([(vx, vy) for vx, vy, _ in wants]), np.array(face))
            w.t += STEP_S
            w.remember()
            self._ball_logic()
            self._note_carries()
            faces.append(w.bodies.face.copy())
            attitudes.append(poses(w, crouch))
            balls.append(ball_xyz(w))
            times.append(w.t)
            if w.end_s is None and w.t > MAX_AFTER_SNAP_S and w.phase != "air":
                w.phase, w.end_s = "dead", w.t
                w.result = w.result or "whistle"
            if w.end_s is not None and w.t > w.end_s + tail:
                break
        xy = np.array([p for p, _ in w.past]).transpose(1, 0, 2)
        for t, i, job in w.changes:
            self.words[i].append((t, job))
        reached = {i: b.reached_s for i, b in self.brains.items() if isinstance(b, Zone)}
        return Played(
            self.plan,
            self.people,
            np.array(times),
            xy,
            np.array(faces).T,
            np.array(attitudes).T,
            np.array(balls),
            w.release_s,
            w.arrive_s,
            float(w.end_s or w.t),
            w.result,
            w.target,
            self.words,
            self.throw_react,
            reached,
            self.mistakes,
            self.carried,
        )

    def _wobble(self, i: int) -> float:
        """Nobody squares up exactly."""
        lean, phase = self.twist.get(i, (0.0, 0.0))
        return lean + 0.2 * sin(2.3 * self.world.t + phase) if i in self.twist else 0.0

    def _note_carries(self) -> None:
        for i in self.world.defense:
            r = getattr(self.brains[i], "carrying", None)
            if r is not None and self.world.t > 0 and self.world.phase == "held":
                self.carried.append((self.world.t, i, r))
