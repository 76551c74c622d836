"""Small pictures of the field for the guide: zones as shapes with their short words, drawn as SVG without inline style."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup, escape

from homography.field import LEVELS, WIDTH_YD
from tagger.cutups.palette import SIDE_LETTERS, look_of
from tagger.cutups.zones import zone_polygon
from tagger.review.words import ink_on

BEHIND_YD, DEEP_YD = 6.0, 30.0
HATCHES = {
    "//": "M0 4L4 0",
    "\\\\": "M0 0L4 4",
    "||": "M2 0V4",
    "--": "M0 2H4",
    "..": "M1 1h1",
    "xx": "M0 4L4 0M0 0L4 4",
    "++": "M2 0V4M0 2H4",
    "oo": "M2 1v2",
}


@dataclass(frozen=True)
class Mark:
    """A man drawn beside the zones, at a spot of the play frame: a "defender" or a "receiver" who takes the way `to`, or where a
    defender "stood"; and in short "man" (on a receiver who runs), "rush", "spy", "fit" (into the run)."""

    kind: str
    downfield: float
    across: float
    to: tuple[tuple[float, float], ...] = ()


def field_picture(zones: tuple[str, ...], label: str, marks: tuple[Mark, ...] = ()) -> Markup:
    """SVG of half a field seen from above, the offense below, with the named zones ("assignment:area") and marks."""
    height = DEEP_YD + BEHIND_YD
    parts = [f'<svg class="field-picture" viewBox="0 0 {WIDTH_YD:.2f} {height:g}" role="img" aria-label="{escape(label)}">']
    parts.append(f'<rect class="turf" width="{WIDTH_YD:.2f}" height="{height:g}"/>')
    for depth in range(0, int(DEEP_YD) + 1, 5):
        line = "scrimmage" if depth == 0 else "yard-line"
        parts.append(f'<path class="{line}" d="M0 {DEEP_YD - depth:g}H{WIDTH_YD:.2f}"/>')
    for side in (LEVELS["college"].hash_yd, WIDTH_YD - LEVELS["college"].hash_yd):
        parts.append(f'<path class="hashes" d="M{side:.2f} 0V{DEEP_YD:g}"/>')
    beneath = any(mark.kind in ("defender", "receiver", "stood") for mark in marks)  # the men are what is to be seen
    parts.append(f'<g class="{"beneath" if beneath else "zones"}">')
    parts += [drawn(zone) for drawn in (_shape, _words) for zone in zones]  # no zone hides its neighbour's words
    parts.append("</g>")
    for across in (-3.4, -1.7, 0.0, 1.7, 3.4):
        parts.append(
            f'<rect class="lineman" x="{WIDTH_YD / 2 + across - 0.6:.2f}" y="{DEEP_YD + 0.4:g}" width="1.2" height="1.2"/>'
        )
    parts += [_mark(mark) for mark in marks]
    parts.append("</svg>")
    return Markup("".join(parts))


def _shape(zone: str) -> str:
    assignment, _, area = zone.partition(":")
    polygon, look = zone_polygon(assignment, area, None), look_of(assignment)
    if polygon is None:
        return ""
    points = " ".join(f"{across:.2f},{DEEP_YD - downfield:.2f}" for downfield, across in polygon.exterior.coords[:-1])
    hatch = f"h{list(HATCHES).index(look.hatch)}" if look.hatch in HATCHES else ""
    overlay = f'<polygon points="{points}" fill="url(#{hatch})"/>' if hatch else ""
    return f'<polygon points="{points}" fill="{look.colour}"/>{overlay}'


def _words(zone: str) -> str:
    """The zone's short word over its side; a word that names its side itself stands on two lines instead."""
    assignment, _, area = zone.partition(":")
    polygon, look = zone_polygon(assignment, area, None), look_of(assignment)
    if polygon is None:
        return ""
    x, y = polygon.centroid.y, DEEP_YD - polygon.centroid.x
    ink = f'fill="{ink_on(look.colour)}" stroke="{look.colour}"'
    first, second = look.short.split() if area in look.short.split() else (look.short, SIDE_LETTERS.get(area, area))
    return "".join(f'<text x="{x:.2f}" y="{line:.2f}" {ink}>{escape(word)}</text>'
                   for line, word in ((y - 0.2, first), (y + 2, second)))


def _mark(mark: Mark) -> str:
    x, y = mark.across, DEEP_YD - mark.downfield
    defender = f'<path class="{"stood" if mark.kind == "stood" else "defender"}" d="M{x:.2f} {y + 0.9:.2f}l-1 -1.7h2z"/>'
    if mark.kind in ("defender", "stood"):
        return _way(mark) + defender
    if mark.kind == "receiver":
        return f'{_way(mark)}<circle class="receiver" cx="{x:.2f}" cy="{y:.2f}" r="0.8"/>'
    if mark.kind == "man":
        receiver = f'<circle class="receiver" cx="{x:.2f}" cy="{DEEP_YD + 1:g}" r="0.8"/>'
        route = f'<path class="way" d="M{x:.2f} {DEEP_YD + 0.2:g}V{y + 5:.2f}"/>'
        return f'{receiver}{route}<path class="covers" d="M{x:.2f} {y + 1:.2f}V{y + 5:.2f}"/>{defender}'
    if mark.kind == "spy":
        return f'<path class="way" d="M{x - 4:.2f} {y:.2f}l1 -0.8m-1 0.8l1 0.8m-1 -0.8h8l-1 -0.8m1 0.8l-1 0.8"/>{defender}'
    to = DEEP_YD + (4 if mark.kind == "rush" else -0.4)
    return f'<path class="way" d="M{x:.2f} {y + 0.9:.2f}V{to:.2f}l-0.8 -1m0.8 1l0.8 -1"/>{defender}'


def _way(mark: Mark) -> str:
    """The way that a man takes, with its head."""
    if not mark.to:
        return ""
    spots = [(across, DEEP_YD - downfield) for downfield, across in ((mark.downfield, mark.across), *mark.to)]
    (x0, y0), (x1, y1) = spots[-2:]
    long = math.hypot(x1 - x0, y1 - y0) or 1.0
    ux, uy = (x1 - x0) / long, (y1 - y0) / long
    head = "".join(f"M{x1 - ux - side * 0.7 * uy:.2f} {y1 - uy + side * 0.7 * ux:.2f}L{x1:.2f} {y1:.2f}" for side in (-1, 1))
    way = f'd="M{"L".join(f"{x:.2f} {y:.2f}" for x, y in spots)}{head}"'
    return f'<path class="halo" {way}/><path class="way" {way}/>'


def hatch_patterns() -> Markup:
    """The hatches, once per page."""
    return Markup(
        "".join(
            f'<pattern id="h{i}" width="4" height="4" patternUnits="userSpaceOnUse"><path class="hatch" d="{d}"/></pattern>'
            for i, d in enumerate(HATCHES.values())
        )
    )
