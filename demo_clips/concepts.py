"""What the offense calls: who runs what, who protects, and when the ball should come out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from demo_clips.formations import Formation
from demo_clips.routes import Route, make_route
from demo_clips.setting import Setting

# Routes of one side from #1 inward, by how many receivers it has. Common practice, no source.
DROPBACK: dict[int, dict[str, tuple[str, ...]]] = {
    1: {
        "go": ("go",),
        "post": ("post",),
        "dig": ("dig",),
        "comeback": ("comeback",),
        "curl": ("curl",),
        "out": ("out",),
        "fade": ("fade",),
        "shallow": ("shallow",),
        "over": ("over",),
        "corner": ("corner",),
    },
    2: {
        "verticals": ("go", "seam"),
        "smash": ("hitch", "corner"),
        "curl-flat": ("curl", "flat"),
        "dagger": ("dig", "seam"),
        "levels": ("in", "shallow"),
        "scissors": ("post", "corner"),
        "post-wheel": ("post", "wheel"),
        "drive": ("shallow", "dig"),
        "out-seam": ("comeback", "seam"),
        "sail": ("go", "sail"),
        "post-over": ("post", "over"),
        "post-cross": ("post", "drag"),
        "dig-out": ("dig", "quick-out"),
        "bender": ("go", "bender"),
        "go-option": ("go", "option"),
        "curl-seam": ("curl", "seam"),
        "whip-dig": ("whip", "dig"),
        "pivot-corner": ("whip", "post-corner"),
    },
    3: {
        "flood": ("go", "sail", "flat"),
        "verticals": ("go", "seam", "over"),
        "snag": ("snag", "corner", "flat"),
        "smash-seam": ("hitch", "corner", "seam"),
        "dagger": ("dig", "seam", "shallow"),
        "levels": ("in", "in", "shallow"),
        "curl-flat": ("curl", "flat", "seam"),
        "mills": ("post", "dig", "flat"),
        "drive": ("shallow", "dig", "corner"),
        "stick-go": ("go", "arrow", "stick"),
        "post-wheel-drag": ("post", "wheel", "drag"),
        "cross": ("post", "over", "sit"),
    },
    4: {
        "flood": ("go", "sail", "flat", "sit"),
        "verticals": ("go", "seam", "bender", "sit"),
        "levels": ("in", "dig", "shallow", "sit"),
        "stick": ("go", "out", "stick", "flat"),
    },
}
QUICK: dict[int, dict[str, tuple[str, ...]]] = {
    1: {"slant": ("slant",), "hitch": ("hitch",), "smoke": ("smoke",), "quick-out": ("quick-out",)},
    2: {
        "slants": ("slant", "slant"),
        "hitches": ("hitch", "hitch"),
        "slant-flat": ("slant", "flat"),
        "quick-outs": ("quick-out", "seam"),
    },
    3: {"stick": ("go", "flat", "stick"), "slants": ("slant", "slant", "flat"), "hitches": ("hitch", "seam", "hitch")},
    4: {"stick": ("go", "quick-out", "stick", "flat")},
}
CROSSERS = ("shallow", "over", "drag", "slant", "in", "post", "whip", "corner", "snag", "sail")  # called more often than the rest
BACK_ROUTES = ("check", "flat", "swing", "angle", "option", "wheel")
RUNS = ("inside-zone", "outside-zone", "power", "counter", "sweep", "draw")


@dataclass
class Call:
    """The offense's call. `routes` by offense index; `protect` the eligibles who stay in."""

    kind: str  # pass, run, screen, quick
    name: str
    routes: dict[int, Route] = field(default_factory=dict)
    protect: list[int] = field(default_factory=list)
    runner: int | None = None
    run_side: int = 1
    play_action: bool = False
    boot: int = 0
    drop_s: float = 1.9
    drop_depth: float = 8.0
    order: list[int] = field(default_factory=list)
    forced_s: float = 3.4


def _side_of(formation: Formation, i: int, setting: Setting) -> int:
    return -1 if formation.people[i].y < setting.ball_y_yd else 1


def _add(
    rng: np.random.Generator, call: Call, formation: Formation, i: int, name: str, setting: Setting, delay_s: float = 0.0
) -> None:
    p = formation.people[i]
    out = _side_of(formation, i, setting)
    move = next((m for m in formation.moves if m.person == i and m.kind in ("jet", "orbit")), None)
    if move is not None:  # he crosses the formation at the snap and goes on that way
        out = -out
        name = str(rng.choice(["flat", "wheel", "swing"])) if name not in ("bubble", "swing") else name
        route = make_route(rng, name, p.x, p.y, out, setting, p.skill, delay_s)
        route.points = [(x, float(np.clip(y + out * 5.5, 1.2, 52.1)), v) for x, y, v in route.points]
        call.routes[i] = route
        return
    call.routes[i] = make_route(rng, name, p.x, p.y, out, setting, p.skill, delay_s)


def _mesh(formation: Formation) -> dict[int, str]:
    """Two shallow crossers under a corner and a sit."""
    out = {}
    for side in (-1, 1):
        men = formation.sides[side]
        names = {
            1: ("shallow",),
            2: ("corner", "shallow"),
            3: ("corner", "sit", "shallow"),
            4: ("corner", "sit", "shallow", "flat"),
        }
        out.update(dict(zip(men, names.get(len(men), ()), strict=False)))
    return out


def _backs(rng: np.random.Generator, call: Call, formation: Formation, setting: Setting) -> None:
    """Send the backs out or keep them in (five, six or seven in protection)."""
    for i in formation.backs:
        roll = rng.random()
        if setting.period == "team" and (roll < 0.25 or (call.play_action and roll < 0.55)):
            call.protect.append(i)
            continue
        name = (
            "check"
            if roll < 0.5 and setting.period == "team"
            else str(rng.choice(BACK_ROUTES, p=[0.2, 0.24, 0.18, 0.14, 0.14, 0.1]))
        )
        delay = float(rng.uniform(0.9, 1.7)) if name == "check" else 0.9 if call.play_action else float(rng.uniform(0.05, 0.4))
        _add(rng, call, formation, i, name, setting, delay)
    tight = [i for i in range(len(formation.people)) if formation.people[i].role == "te" and i in call.routes]
    if tight and len(call.routes) > 3 and rng.random() < (0.5 if call.play_action else 0.24) and setting.period == "team":
        i = int(rng.choice(tight))
        call.protect.append(i)
        del call.routes[i]


def _dropback(rng: np.random.Generator, formation: Formation, setting: Setting, quick: bool) -> Call:
    call = Call("quick" if quick else "pass", "")
    book = QUICK if quick else DROPBACK
    names = []
    if not quick and rng.random() < 0.08 and min(len(formation.sides[-1]), len(formation.sides[1])) >= 1:
        assigned = _mesh(formation)
        names = ["mesh"]
    elif not quick and rng.random() < 0.1:
        assigned = {}
        for side in (-1, 1):
            men = formation.sides[side]
            if men:
                assigned.update(
                    dict(zip(men, {1: ("go",), **{n: DROPBACK[n]["verticals"] for n in (2, 3, 4)}}[len(men)], strict=True))
                )
        names = ["four-verticals"]
    else:
        assigned = {}
        for side in (formation.strong, -formation.strong):
            men = formation.sides[side]
            if men:
                table = book[len(men)]
                weights = np.array([1.0 + 1.3 * sum(r in CROSSERS for r in routes) for routes in table.values()])
                concept = str(rng.choice(list(table), p=weights / weights.sum()))
                names.append(concept)
                assigned.update(dict(zip(men, book[len(men)][concept], strict=True)))
    shotgun = formation.passer_depth > 3
    call.play_action = bool(not quick and formation.backs and setting.period == "team" and rng.random() < 0.24)
    call.boot = int(rng.choice([-1, 1])) if call.play_action and rng.random() < 0.35 else 0
    for i, name in assigned.items():
        _add(rng, call, formation, i, name, setting)
    _backs(rng, call, formation, setting)
    call.name = " / ".join(names) + (" boot" if call.boot else " play action" if call.play_action else "")
    if quick:
        call.drop_s, call.drop_depth, call.forced_s = (0.55, formation.passer_depth + 0.9, 1.45) if shotgun else (0.9, 4.2, 1.48)
    else:
        call.drop_s = float(rng.normal(1.75 if shotgun else 2.15, 0.15)) + (0.5 if call.play_action else 0.0)
        for route in call.routes.values():  # outlets come late in the order
            if route.open_s < 2.1:
                route.open_s += 0.8
            route.open_s += float(rng.normal(0.1, 0.25))
        call.drop_depth = float(rng.normal(8.7, 0.7)) if shotgun else float(rng.normal(8.2, 0.7))
        call.forced_s = float(rng.normal(4.1, 0.7)) + (0.4 if call.play_action else 0.0)
    return call


def _screen(rng: np.random.Generator, formation: Formation, setting: Setting) -> Call:
    kinds = (["back"] if formation.backs else []) + ["bubble", "tunnel", "smoke"]
    kind = str(rng.choice(kinds))
    call = Call("screen", f"{kind} screen", drop_s=1.0, drop_depth=formation.passer_depth + 2.5, forced_s=2.1)
    if kind == "back":
        target = formation.backs[0]
        side = int(rng.choice([-1, 1]))
        p = formation.people[target]
        call.routes[target] = Route("screen", [(-4.5, p.y + side * 3.5, 3.5), (-3.2, p.y + side * 5.5, 0.6)], "sit", 1.8, 0.7)
        call.run_side = side
    else:
        side = formation.strong if len(formation.sides[formation.strong]) > 1 else -formation.strong
        men = formation.sides[side] or formation.sides[-side]
        target = men[0] if kind in ("tunnel", "smoke") else men[min(1, len(men) - 1)]
        _add(rng, call, formation, target, kind, setting)
        call.run_side = _side_of(formation, target, setting)
        call.drop_s, call.drop_depth = 0.5, formation.passer_depth + 0.8
        call.forced_s = 1.5 if kind == "tunnel" else 1.1
    for side in (-1, 1):
        for i in formation.sides[side]:
            if i != target:
                name = "block" if side == call.run_side else str(rng.choice(["go", "in", "curl"]))
                _add(rng, call, formation, i, name, setting)
    for i in formation.backs:
        if i != target:
            call.protect.append(i)
    call.order = [target]
    return call


def _run(rng: np.random.Generator, formation: Formation, setting: Setting) -> Call:
    name = str(rng.choice(RUNS))
    call = Call("run", name, run_side=int(rng.choice([-1, 1])))
    call.runner = formation.backs[-1] if formation.backs else next(i for i, p in enumerate(formation.people) if p.role == "qb")
    for i, p in enumerate(formation.people):
        if p.role in ("wr", "te") or (p.role == "rb" and i != call.runner):
            _add(rng, call, formation, i, "block", setting)
    return call


def draw_call(rng: np.random.Generator, formation: Formation, setting: Setting, kind: str) -> Call:
    """Draw the call of this kind (pass, run, screen, quick)."""
    if kind == "run":
        return _run(rng, formation, setting)
    if kind == "screen":
        return _screen(rng, formation, setting)
    call = _dropback(rng, formation, setting, kind == "quick")
    if not call.order:
        reads = [i for i, r in call.routes.items() if r.name != "block"]
        first = sorted(reads, key=lambda i: call.routes[i].open_s + float(rng.normal(0.0, 0.6)))
        call.order = first
    return call
