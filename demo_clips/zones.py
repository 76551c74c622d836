"""What every zone defender shares: the bounds of his area, what he sees of the receivers, when he is there."""

from __future__ import annotations

from demo_clips.coverages import Job
from demo_clips.setting import MIDDLE_YD
from demo_clips.world import World, angle_to
from homography.field import WIDTH_YD

# Lateral bounds of each area on a field with the ball in the middle, yards from the offense's left sideline.
DEEP_BOUNDS = {
    ("deep-third", "left"): (0.0, 17.8),
    ("deep-third", "middle"): (17.8, 35.5),
    ("deep-third", "right"): (35.5, WIDTH_YD),
    ("deep-half", "left"): (0.0, MIDDLE_YD),
    ("deep-half", "right"): (MIDDLE_YD, WIDTH_YD),
    ("deep-quarter", "left-outside"): (0.0, 13.3),
    ("deep-quarter", "left-inside"): (13.3, MIDDLE_YD),
    ("deep-quarter", "right-inside"): (MIDDLE_YD, 40.0),
    ("deep-quarter", "right-outside"): (40.0, WIDTH_YD),
}
UNDER_BOUNDS = {
    ("curl-flat", "left"): (0.0, 17.5),
    ("curl-flat", "right"): (35.8, WIDTH_YD),
    ("hook-curl", "left"): (13.5, 27.0),
    ("hook-curl", "right"): (26.3, 39.8),
    ("middle-hook", "middle"): (19.0, 34.3),
    ("robber", "middle"): (17.0, 36.3),
    ("flat", "left"): (0.0, 14.5),
    ("flat", "right"): (38.8, WIDTH_YD),
}
Bounds = tuple[float, float]


def bounds_of(world: World, job: Job) -> Bounds:
    """The area's lateral bounds, leaning a third of the way to the ball's spot."""
    low, high = (DEEP_BOUNDS | UNDER_BOUNDS)[(job.word, job.area or "middle")]
    lean = 0.33 * (world.setting.ball_y_yd - MIDDLE_YD)
    return (low + lean if low > 0.5 else -5.0), (high + lean if high < WIDTH_YD - 0.5 else WIDTH_YD + 5.0)


class Zone:
    """Shared by deep and underneath men: what they see of the receivers and of the passer."""

    def __init__(self, me: int, job: Job, delay_s: float, skill: float, wander: tuple[float, float]) -> None:
        self.me, self.job, self.delay_s, self.skill = me, job, delay_s, skill
        self.wander = wander  # this man's own idea of the landmark, yards off
        self.carrying: int | None = None
        self.side = -1 if "left" in (job.area or "") else 1 if "right" in (job.area or "") else 0
        self.slow_start_s = 0.0
        self.landmark_shift = (0.0, 0.0)
        self.reached_s: float | None = None  # when he first was at his landmark
        self.blind_to: int | None = None  # a bust: the man he never sees

    def threats(self, world: World) -> list[tuple[int, float, float, float, float]]:
        out = []
        for r in world.eligible:
            if r != self.blind_to and r not in world.blockers:
                out.append((r, *world.seen(r, self.delay_s)))
        return out

    def note_reached(self, world: World, x: float, y: float, tx: float, ty: float) -> None:
        """He is there when he is within 3 yd across and deep enough, or within 3 yd."""
        if self.reached_s is None and abs(y - ty) < 3.5 and x > tx - 2.5:
            self.reached_s = world.t

    def look(self, world: World) -> float:
        x, y = world.at(self.me)
        qx, qy = world.at(world.qb)
        return angle_to(x, y, qx, qy)
