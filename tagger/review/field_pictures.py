"""Small pictures of the field for the guide: zones as shapes with their short words, drawn as SVG without inline style."""

from __future__ import annotations

from markupsafe import Markup, escape

from homography.field import LEVELS, WIDTH_YD
from tagger.cutups.palette import SIDE_LETTERS, look_of
from tagger.cutups.zones import zone_polygon
from tagger.review.words import ink_on

BEHIND_YD, DEEP_YD = 6.0, 30.0
HATCHES = {"//": "M0 4L4 0", "\\\\": "M0 0L4 4", "||": "M2 0V4", "--": "M0 2H4", "..": "M1 1h1", "xx": "M0 4L4 0M0 0L4 4",
           "++": "M2 0V4M0 2H4", "oo": "M2 1v2"}


def field_picture(zones: tuple[str, ...], label: str) -> Markup:
    """SVG of half a field seen from above, the offense below, with the named zones ("assignment:area")."""
    height = DEEP_YD + BEHIND_YD
    parts = [f'<svg class="field-picture" viewBox="0 0 {WIDTH_YD:.2f} {height:g}" role="img" aria-label="{escape(label)}">']
    parts.append(f'<rect class="turf" width="{WIDTH_YD:.2f}" height="{height:g}"/>')
    for depth in range(0, int(DEEP_YD) + 1, 5):
        line = "scrimmage" if depth == 0 else "yard-line"
        parts.append(f'<path class="{line}" d="M0 {DEEP_YD - depth:g}H{WIDTH_YD:.2f}"/>')
    for side in (LEVELS["college"].hash_yd, WIDTH_YD - LEVELS["college"].hash_yd):
        parts.append(f'<path class="hashes" d="M{side:.2f} 0V{DEEP_YD:g}"/>')
    for zone in zones:
        parts.append(_zone(zone))
    for across in (-3.4, -1.7, 0.0, 1.7, 3.4):
        parts.append(f'<rect class="lineman" x="{WIDTH_YD / 2 + across - 0.6:.2f}" y="{DEEP_YD + 0.4:g}" width="1.2" height="1.2"/>')
    parts.append("</svg>")
    return Markup("".join(parts))


def _zone(zone: str) -> str:
    assignment, _, area = zone.partition(":")
    polygon, look = zone_polygon(assignment, area, None), look_of(assignment)
    if polygon is None:
        return ""
    points = " ".join(f"{across:.2f},{DEEP_YD - downfield:.2f}" for downfield, across in polygon.exterior.coords[:-1])
    x, y = polygon.centroid.y, DEEP_YD - polygon.centroid.x
    hatch = f"h{list(HATCHES).index(look.hatch)}" if look.hatch in HATCHES else ""
    overlay = f'<polygon points="{points}" fill="url(#{hatch})"/>' if hatch else ""
    words = f'<text x="{x:.2f}" y="{y + 0.8:.2f}" fill="{ink_on(look.colour)}">{escape(look.short.split()[-1])} ' \
            f'{escape(SIDE_LETTERS.get(area, area))}</text>'
    return f'<polygon points="{points}" fill="{look.colour}"/>{overlay}{words}'


def hatch_patterns() -> Markup:
    """The hatches, once per page."""
    return Markup("".join(
        f'<pattern id="h{i}" width="4" height="4" patternUnits="userSpaceOnUse"><path class="hatch" d="{d}"/></pattern>'
        for i, d in enumerate(HATCHES.values())))
