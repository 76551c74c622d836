"""Man coverage and the rush: mirroring a receiver with a human delay, and getting to the passer."""

from __future__ import annotations

from math import atan2, hypot

from demo_clips.coverages import Job
from demo_clips.world import Want, World, angle_to, open_hips, run_at, turn_between


class ManCover:
    """Mirror one receiver: press and run, off with a closing cushion, or trail inside underneath."""

    def __init__(self, me: int, job: Job, delay_s: float, skill: float) -> None:
        self.me, self.job, self.delay_s, self.skill = me, job, delay_s, skill
        self.receiver = job.receiver or 0
        self.cushion: float | None = None
        self.carrying: int | None = None
        self.slow_start_s = 0.0
        self.late_rush: Rush | None = None  # he comes if his man stays in to block
        self.rushes = False

    def act(self, world: World) -> Want:
        if self.rushes and self.late_rush is not None:
            return self.late_rush.act(world)
        x, y = world.at(self.me)
        rx, ry, rvx, rvy = world.seen(self.receiver, 0.62 * self.delay_s)  # a trained eye reads hips, not steps
        ball = world.setting.ball_y_yd
        if self.cushion is None:
            self.cushion = max(x - rx, 0.5)
        inside = 1.0 if ry < ball else -1.0
        to_man = angle_to(x, y, rx, ry)
        if world.t < max(self.slow_start_s, 0.12):
            return 0.0, 0.0, to_man
        if self.receiver in world.blockers or (rx < -2.0 and world.t < 2.5 and abs(ry - ball) < 5.0):
            return self._hug(world, x, y, rx, ry)
        lever = inside * self.job.leverage
        t = max(world.t, 0.0)
        if self.job.style == "trail":
            behind = max(min(self.cushion, 1.0) - 1.6 * t, -0.9)
            lever = inside * max(abs(self.job.leverage), 0.7)
        elif self.job.style == "press":
            behind = max(min(self.cushion, 1.6) - 0.9 * t, 0.1 - 0.25 * (rx > 12))
        else:
            behind = max(self.cushion - 2.1 * max(t - 0.3, 0.0), 0.9 - 0.05 * min(rx, 16.0))
        away = rvx < -1.0 or (abs(rvy) > 4.0 and abs(rvx) < 3.0)
        if away:  # he broke: close on him
            behind, lever = min(behind, 0.5), lever * 0.5
        behind = min(behind, world.setting.back_line_x - 1.0 - rx)
        gain = 2.7 + 0.2 * self.skill
        vx = rvx + gain * (rx + behind - x)
        vy = rvy + gain * (ry + lever - y)
        if self.job.style == "off" and world.t < 1.2:
            vx = max(vx, -1.0)
        speed = hypot(vx, vy)
        face = to_man
        if speed > 4.3 or x - rx < 1.8:
            face = open_hips(vx, vy, to_man if x - rx > 2.0 else atan2(rvy + 1e-3, rvx), 6.0)
        return vx, vy, face

    def _hug(self, world: World, x: float, y: float, rx: float, ry: float) -> Want:
        """His man stays in: creep to where he can take him if he leaks, or come yourself."""
        if self.late_rush is not None and self.receiver in world.blockers and world.t > 1.1 and world.phase == "held":
            self.rushes = True
            world.rushing.add(self.me)
            world.changes.append((world.t, self.me, Job("rush")))
        tx = max(3.5, rx + 5.0)
        ty = 0.6 * ry + 0.4 * y
        vx, vy = 1.2 * (tx - x), 1.2 * (ty - y)
        speed = hypot(vx, vy)
        if speed > 4.0:
            vx, vy = vx * 4.0 / speed, vy * 4.0 / speed
        qx, qy = world.at(world.qb)
        return vx, vy, angle_to(x, y, qx, qy)


class Rush:
    """Get to the passer: edges round the corner, inside men through a gap, a late or delayed man after a count."""

    def __init__(self, me: int, skill: float, win_s: float, delay_s: float, lane: float, edge: bool) -> None:
        self.me, self.skill, self.win_s, self.delay_s, self.lane, self.edge = me, skill, win_s, delay_s, lane, edge
        self.carrying: int | None = None

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        qx, qy = world.at(world.qb)
        look = angle_to(x, y, qx, qy)
        if world.t < self.delay_s:
            return 0.0, 0.0, look
        tx, ty = qx, qy
        if self.edge and x > qx + 1.5:
            side = 1.0 if self.lane > 0 else -1.0
            wide = max(0.0, min(4.2, 0.75 * (x - qx)))
            tx, ty = qx + 0.4 * (x - qx) - 0.5, qy + side * wide
            if x > -0.6:
                tx, ty = x - 3.0, max(min(y + side * 0.9, world.setting.ball_y_yd + 6.5), world.setting.ball_y_yd - 6.5)
        elif x > qx + 3.0:
            ty = qy + (world.setting.ball_y_yd + self.lane - qy) * min(1.0, (x - qx - 3.0) / 4.0)
            tx = qx
        speed = 6.6 if self.edge else 7.5
        if self.win_s > 9.0 and x < 0.5:  # a run key: squeeze the gap, do not run upfield
            speed = 3.0
        blocked = self._blocker(world, x, y, tx, ty)
        if blocked is not None and world.t > 0.25:
            free = world.t > self.win_s
            speed = (4.4 if free else 3.2 if self.edge else 2.4) + 0.15 * self.skill
        vx, vy = run_at(x, y, tx, ty, speed)
        return vx, vy, look

    def _blocker(self, world: World, x: float, y: float, tx: float, ty: float) -> int | None:
        """Somebody of the offense who stands between him and his goal."""
        heading = angle_to(x, y, tx, ty)
        for i in (*world.line, *world.blockers):
            bx, by = world.at(i)
            gap = hypot(bx - x, by - y)
            if gap < 1.45 and abs(turn_between(heading, angle_to(x, y, bx, by))) < 1.5:
                return i
        return None


class Spy:
    """Mirror the passer from a few yards deep, and go when he runs."""

    def __init__(self, me: int, delay_s: float) -> None:
        self.me, self.delay_s = me, delay_s

    def act(self, world: World) -> Want:
        x, y = world.at(self.me)
        qx, qy, _, qvy = world.seen(world.qb, self.delay_s)
        look = angle_to(x, y, qx, qy)
        if world.t < self.delay_s + 0.2:
            return 0.0, 0.0, look
        if qx > -2.5 and world.t > 1.0:
            return *run_at(x, y, qx, qy + 0.4 * qvy, 8.0), look
        vx, vy = 1.2 * (4.5 - x), 1.4 * (qy + 0.3 * qvy - y)
        size = max(hypot(vx, vy) / 4.0, 1.0)
        return vx / size, vy / size, look
