"""Plays one planned rep out, step by step, and keeps what happened."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sin
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_clips.ballplay import break_on_ball, carry, go_to_ball, is_down, pursue, settle_catch, slow_down
from demo_clips.bodies import STEP_S, Bodies
from demo_clips.coverages import Job
from demo_clips.man import ManCover, Rush
from demo_clips.mistakes import make_mistakes
from demo_clips.motion import POSES
from demo_clips.offense import PassBlock, Passer, RunRoute, StalkBlock, facing_of
from demo_clips.people import LINE, Person
from demo_clips.plan import Plan
from demo_clips.presnap import GoesInMotion, Waits
from demo_clips.world import Want, World, as_array
from demo_clips.deep import DeepZone
from demo_clips.under import UnderZone
from demo_clips.zones import Zone

MAX_AFTER_SNAP_S = 5.6
MAX_RUN_S = 2.2  # then the whistle, as in practice
TURN_RAD_S = {"corner": 7.0, "safety": 6.5, "nickel": 7.0, "linebacker": 5.5}
MASS = {"wr": 0.9, "corner": 0.9, "safety": 1.0, "nickel": 0.95, "linebacker": 1.2, "te": 1.25, "edge": 1.35, "tackle": 1.7, "qb": 1.1, "rb": 1.1}


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
        start += rng.normal(0.0, 0.12, start.shape) * np.array([[0.0 if p.role in (*LINE, "qb", "edge", "tackle") else 1.0] for p in self.people])
        face = np.array([0.0] * self.shift + [np.pi] * len(plan.defenders))
        back = np.array([0.82 if p.role in LINE else 0.62 if p.role in ("corner", "safety", "nickel") else 0.58 for p in self.people])
        turn = np.array([TURN_RAD_S.get(p.role, 6.0) for p in self.people])
        mass = np.array([MASS.get(p.role, 1.7) for p in self.people])
        bodies = Bodies(start, face, as_array(self.people, "top_yd_s"), as_array(self.people, "accel_yd_s2"), back, turn, mass)
        self.world = World(plan.setting, self.people, bodies, plan.start_s)
        w = self.world
        w.blockers = set(plan.call.protect) | {i for i, r in plan.call.routes.items() if r.ending == "block"}
        self.words: dict[int, list[tuple[float, Job]]] = {}
        self.brains: dict[int, Any] = {}
        self.before: dict[int, Any] = {}
        self.react = {i: p.react_s for i, p in enumerate(self.people)}
        self.throw_react: dict[int, float] = {}
        self.contain: dict[int, float] = {}
        self.twist: dict[int, tuple[float, float]] = {}
        self.held: dict[str, float] = {}
        self.carried: list[tuple[float, int, int]] = []
        self._offense_brains()
        self._defense_brains()
        self.passer.runners = {i: b for i, b in self.brains.items() if isinstance(b, RunRoute)}
        rotators = [d + self.shift for d, p in enumerate(plan.defenders) if plan.disguised and p.role == "safety"]
        self.mistakes = make_mistakes(rng, self.brains, self.words, self.throw_react, rotators)
        self._presnap()

    def _offense_brains(self) -> None:
        rng, call, ball = self.rng, self.plan.call, self.plan.setting.ball_y_yd
        for i, p in enumerate(self.plan.formation.people):
            react = float(np.clip(rng.normal(0.15, 0.06), 0.03, 0.35))
            if p.role == "qb":
                self.passer = Passer(i, call, rng, react)
                self.brains[i] = self.passer
            elif p.role in LINE:
                self.brains[i] = PassBlock(i, p.y, LINE.index(p.role) - 2, react)
            elif i in call.routes and call.routes[i].ending != "block":
                pressed = any(abs(x - p.x) < 3.6 and abs(y - p.y) < 1.8 for x, y in self.plan.final.values())
                brain = RunRoute(i, call.routes[i], react, float(rng.uniform(0.1, 0.45)) if pressed else 0.0, 0.93 + 0.04 * float(rng.random()))
                brain.release_side = float(rng.choice([-1.0, 1.0]))
                self.brains[i] = brain
            else:
                self.brains[i] = StalkBlock(i, react, i in call.protect, float(rng.uniform(1.2, 3.0)) * float(rng.choice([-1.0, 1.0])))

    def _defense_brains(self) -> None:
        rng, coverage, ball = self.rng, self.plan.coverage, self.plan.setting.ball_y_yd
        deeper = float(rng.normal(0.0, 1.1))  # how this defense is taught its depths
        for d, p in enumerate(self.plan.defenders):
            i, job = d + self.shift, coverage.jobs[d]
            self.words[i] = [(0.0, job)]
            x, y = self.plan.final[d]
            self.throw_react[i] = float(np.clip(rng.normal(0.33 - 0.04 * p.skill, 0.08), 0.16, 0.7))
            self.contain[i] = float(np.sign(y - ball)) * (1.6 if abs(y - ball) > 7 else 0.3)
            self.twist[i] = float(rng.normal(0.0, 0.22)), float(rng.uniform(0, 6.28))
            wander = deeper + float(rng.normal(0.0, 1.3)), float(rng.normal(0.0, 1.3))
            if job.word == "rush":
                inside = p.role in ("tackle", "linebacker", "nickel", "safety") and abs(y - ball) < 3.6
                win = float(rng.exponential(3.2)) + 1.9
                delay = float(np.clip(rng.normal(0.18, 0.05), 0.08, 0.35))
                self.brains[i] = Rush(i, p.skill, win, delay, y - ball, not inside)
                self.world.rushing.add(i)
            elif job.word == "man":
                self.brains[i] = ManCover(i, job, p.react_s, p.skill)
            elif job.word in ("deep-third", "deep-half", "deep-quarter"):
                zone = DeepZone(i, job, p.react_s, p.skill, wander, p.role == "corner")
                zone.pace = float(np.clip(rng.normal(1.0, 0.2), 0.55, 1.5))
                self.brains[i] = zone
            else:
                zone = UnderZone(i, job, p.react_s, p.skill, wander, p.role == "corner")
                zone.read_s = float(np.clip(rng.normal(0.95 if p.role == "linebacker" else 0.65, 0.22), 0.25, 1.5))
                zone.pace = float(np.clip(rng.normal(4.4, 0.7), 2.8, 6.2))
                if self.plan.call.play_action and p.role in ("linebacker", "nickel"):
                    zone.bite_s = float(np.clip(rng.normal(0.85, 0.25), 0.3, 1.4))
                self.brains[i] = zone

    def _presnap(self) -> None:
        rng, plan = self.rng, self.plan
        for i, p in enumerate(plan.formation.people):
            move = next((m for m in plan.formation.moves if m.person == i), None)
            if move is not None:
                self.before[i] = GoesInMotion(i, move.path, move.kind in ("jet", "orbit"))
            else:
                sway = 0.0 if p.role in (*LINE, "qb") else 0.03
                self.before[i] = Waits(i, [(-99.0, p.x, p.y, 3.0)], sway, float(rng.uniform(0, 6)))
        move = plan.formation.moves[0] if plan.formation.moves else None
        for d, p in enumerate(plan.defenders):
            i = d + self.shift
            spots = [(-99.0, *plan.shown[d], 4.0)]
            if move is not None:
                when = 0.5 * (move.path[0][0] + move.path[-1][0]) + float(rng.uniform(-0.1, 0.35))
                spots.append((when, *plan.shown_after_move[d], 4.2))
            spots.append((plan.rotate_s + float(rng.uniform(-0.15, 0.25)), *plan.final[d], 4.8))
            spots.sort(key=lambda s: s[0])
            line = p.role in ("edge", "tackle")
            self.before[i] = Waits(i, spots, 0.02 if line else 0.22 if p.role == "linebacker" else 0.12, float(rng.uniform(0, 6)))
        if move is not None:
            self._answer(move)

    def _answer(self, move: Any) -> None:
        """How the defense answers the first man in motion: run with him, bump, or stay."""
        rng, plan = self.rng, self.plan
        answer: str | None
        mine = next((d for d, j in plan.coverage.jobs.items() if j.word == "man" and j.receiver == move.person), None)
        far = abs(move.path[0][2] - move.path[-1][2])
        if mine is not None:
            follow = rng.random() < 0.85 or far < 5
            answer = "ran-with" if follow else "bumped"
            follower = mine if follow else None
        else:
            near = [d for d, p in enumerate(plan.defenders) if p.role in ("nickel", "corner", "linebacker", "safety") and plan.shown[d][0] < 9.0
                    and abs(plan.shown[d][1] - move.path[0][2]) < 4.0]
            fake = bool(near) and rng.random() < 0.13 and move.kind in ("across", "jet", "short")
            follower = min(near, key=lambda d: abs(plan.shown[d][1] - move.path[0][2])) if fake else None
            answer = "ran-with" if fake else "bumped" if rng.random() < 0.7 else "stayed"
        if far < 2.0:
            answer = "stayed" if follower is None else answer
        if follower is not None:
            x, y = plan.shown_after_move[follower]
            shade = float(np.clip(y - move.path[-1][2], -1.5, 1.5))
            self.before[follower + self.shift].follow = (move.person, min(max(x, 1.6), 6.0), shade, move.path[0][0] + 0.25)
        elif answer == "stayed":
            for d in range(len(plan.defenders)):
                if plan.rotate_s < -1.0 and not plan.disguised:
                    self.before[d + self.shift].spots = self.before[d + self.shift].spots[:1]
        plan.answers = [answer]

    # One step -------------------------------------------------------------------------------------------------------

    def _want(self, i: int) -> Want:
        w = self.world
        person = self.people[i]
        if w.t < 0.0:
            return self.before[i].act(w)
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
        if w.run_shown_until is not None and defender and w.t > 0.25 + 1.2 * self.react[i] and w.carrier is None:
            pass
        return self.brains[i].act(w)

    def _after_catch(self, i: int, defender: bool) -> Want:
        w = self.world
        if i == w.carrier:
            return carry(w, i, self.run_aim if self.plan.call.kind == "run" and w.caught_s is None else None)
        since = w.t - (w.caught_s if w.caught_s is not None else self.handoff_s)
        hunter = defender == (w.carrier in w.offense)
        if hunter:
            if since < (0.35 + self.react[i] if self.plan.call.kind == "run" and w.caught_s is None else 0.1):
                return self.brains[i].act(w)
            return pursue(w, i, self.contain.get(i, 0.0))
        if self.plan.call.kind == "run" or i in w.line:
            return self.brains[i].act(w)
        vx, vy = w.velocity(i)
        return vx * 0.93, vy * 0.93, None

    handoff_s = 0.0
    run_aim = 0.0

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
        wait = 1.35 if call.name == "draw" else 0.55
        if w.t > wait and (abs(rx - qx) + abs(ry - qy) < 2.6 or w.t > wait + 0.5):
            w.phase, w.carrier, self.handoff_s = "carried", runner, w.t
            reach = {"inside-zone": 1.5, "outside-zone": 5.5, "power": 2.5, "counter": 3.0, "sweep": 8.0, "draw": 0.8}[call.name]
            self.run_aim = self.plan.setting.ball_y_yd + call.run_side * reach

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
            w.catch_xy = cx, cy
            w.release_s, w.arrive_s, w.phase = w.t, w.t + flight, "air"
            w.result = "thrown"

    def play(self) -> Played:
        """Run to about a second and a half after the end of the play."""
        w, n = self.world, len(self.people)
        faces, poses, balls, times = [w.bodies.face.copy()], [self._poses()], [self._ball()], [w.t]
        tail = float(self.rng.uniform(1.0, 1.4))
        while True:
            wants = [self._want(i) for i in range(n)]
            face = [(f + self._wobble(i) if w.t > 0 else f) if f is not None else facing_of(vx, vy, float(w.bodies.face[i]))
                    for i, (vx, vy, f) in enumerate(wants)]
            w.bodies.step(np.array([(vx, vy) for vx, vy, _ in wants]), np.array(face))
            w.t += STEP_S
            w.remember()
            self._ball_logic()
            self._note_carries()
            faces.append(w.bodies.face.copy())
            poses.append(self._poses())
            balls.append(self._ball())
            times.append(w.t)
            if w.end_s is None and w.t > MAX_AFTER_SNAP_S and w.phase != "air":
                w.phase, w.end_s = "dead", w.t
                w.result = w.result or "whistle"
            if w.end_s is not None and w.t > w.end_s + tail:
                break
        xy = np.array([p for p, _ in w.past]).transpose(1, 0, 2)
        return Played(self.plan, self.people, np.array(times), xy, np.array(faces).T, np.array(poses).T, np.array(balls), w.release_s, w.arrive_s,
                      float(w.end_s or w.t), w.result, w.target, self.words, self.throw_react,
                      {i: b.reached_s for i, b in self.brains.items() if isinstance(b, Zone)}, self.mistakes, self.carried)

    def _wobble(self, i: int) -> float:
        """Nobody squares up exactly."""
        lean, phase = self.twist.get(i, (0.0, 0.0))
        return lean + 0.2 * sin(2.3 * self.world.t + phase) if i in self.twist else 0.0

    def _note_carries(self) -> None:
        for i in self.world.defense:
            r = getattr(self.brains[i], "carrying", None)
            if r is not None and self.world.t > 0 and self.world.phase == "held":
                self.carried.append((self.world.t, i, r))

    def _poses(self) -> list[int]:
        w = self.world
        vel, face = w.bodies.vel, w.bodies.face
        speed = np.hypot(vel[:, 0], vel[:, 1])
        back = np.cos(np.arctan2(vel[:, 1], vel[:, 0]) - face)
        out = []
        for i, p in enumerate(self.people):
            name = "run" if speed[i] > 3.2 else "walk" if speed[i] > 0.6 else "stand"
            if p.side == "defense" and speed[i] > 0.8 and back[i] < -0.6:
                name = "backpedal"
            elif p.side == "defense" and 0.8 < speed[i] < 4 and abs(back[i]) <= 0.6:
                name = "shuffle"
            if w.t < 0.05 and speed[i] < 0.6:
                name = {"qb": "under-center" if self.plan.formation.passer_depth < 2 else "stand", "tackle": "three-point", "edge": "three-point",
                        "c": "three-point", "lg": "three-point", "rg": "three-point", "wr": "two-point"}.get(p.role, "two-point")
            elif w.t >= 0 and w.phase in ("held", "carried", "air") and (p.role in LINE or i in w.rushing or i in w.blockers) and speed[i] < 3:
                name = "block"
            if w.release_s is not None and i == w.qb and -0.1 < w.t - w.release_s < 0.3:
                name = "throw"
            if w.phase == "air" and i == w.target and w.arrive_s is not None and w.arrive_s - w.t < 0.25:
                name = "catch"
            if w.end_s is not None and w.t > w.end_s and (i == w.carrier or (w.result == "sack" and i == w.qb)) and speed[i] < 2.5:
                name = "ground"
            out.append(POSES.index(name))
        return out

    def _ball(self) -> tuple[float, float, float]:
        w = self.world
        spot = (0.0, self.plan.setting.ball_y_yd, 0.15)
        if w.t < 0.0:
            return spot
        qx, qy = w.at(w.qb)
        if w.t < 0.28:
            share = w.t / 0.28
            return qx * share, spot[1] + (qy - spot[1]) * share, 0.15 + 1.0 * share
        if w.phase == "air" and w.release_s is not None and w.arrive_s is not None:
            share = min((w.t - w.release_s) / (w.arrive_s - w.release_s), 1.0)
            flight = w.arrive_s - w.release_s
            cx, cy = w.catch_xy
            return qx + (cx - qx) * share, qy + (cy - qy) * share, 2.0 - 0.6 * share + 1.34 * flight**2 * 4 * share * (1 - share)
        if w.carrier is not None:
            return (*w.at(w.carrier), 1.0 if w.phase == "carried" else 0.3)  # type: ignore[return-value]
        if w.phase == "dead" and w.result == "incomplete":
            return (*w.catch_xy, 0.15)
        return qx, qy, 1.3
