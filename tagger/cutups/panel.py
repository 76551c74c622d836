"""One moment of a rep drawn on a matplotlib panel: the field, the men, their ways, areas and labels.

The offense goes up the page. Offense: open circles; defense: triangles with their number or their slot's letters. Each
assignment has a colour, a hatch and a line pattern, so that the page reads in black and white and without colour vision.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon as PolygonPatch
from matplotlib.patheffects import withStroke

from homography.field import LEVELS, WIDTH_YD
from tagger.cutups.overlay import LOUD_EVENTS, interval_at
from tagger.cutups.palette import BLACK, VERMILLION, label_of, look_of, receiver_words
from tagger.cutups.zones import zone_polygon
from tagger.football.types import Event, Interval, PlayTracks, Reading
from vision.types import FloatArray

PARTS = ("alignment", "areas", "drops", "routes", "labels", "events")
BACKFIELD_YD, LEAST_DEPTH_YD, MOST_DEPTH_YD = -9.0, 28.0, 45.0
LINE_EVERY_YD = 5.0
LETTER_YD = 0.4
"""Width of a label's letter on a page 9 inches wide; a label is about four letters high with its frame."""
DASHES: dict[str, tuple[float, ...]] = {"deep": (6, 2), "under": (2, 1.2), "man": (6, 2, 1, 2), "rush": ()}


@dataclass(frozen=True)
class Drawn:
    """What a diagram is made of: the rep's tracks in the play frame, its reading and the shirt numbers by player."""

    play: PlayTracks
    reading: Reading
    title: str = ""
    numbers: Mapping[str, str] = field(default_factory=dict)

    @property
    def snap_s(self) -> float:
        """The snap, or the first moment where it is not known."""
        return self.reading.snap_s if self.reading.snap_s is not None else float(self.play.time_s[0])

    @property
    def end_s(self) -> float:
        """The end of the play, or the last moment."""
        return min(self.reading.end_s or np.inf, float(self.play.time_s[-1]))

    def at(self, time_s: float) -> FloatArray:
        """(N, 2) everybody's place at the nearest moment to a time; NaN where not seen."""
        places: FloatArray = self.play.xy_yd[:, int(np.abs(self.play.time_s - time_s).argmin())]
        return places

    def path(self, player_id: str, start_s: float, end_s: float) -> FloatArray:
        """(K, 2) a player's way between two times, without the moments where he is not seen."""
        if player_id not in self.play.player_id:
            return np.zeros((0, 2))
        row = self.play.xy_yd[self.play.player_id.index(player_id)]
        during: FloatArray = row[(self.play.time_s >= start_s) & (self.play.time_s <= end_s)]
        return during[np.isfinite(during).all(axis=1)]


def check_parts(parts: Sequence[str]) -> None:
    """Raise ValueError unless all are PARTS."""
    for part in parts:
        if part not in PARTS:
            raise ValueError(f"{part!r}: no such part of a diagram; use {', '.join(PARTS)}")


def draw_panel(axes: Axes, drawn: Drawn, until_s: float, parts: Sequence[str]) -> None:
    """One moment: alignment at the snap (or then, before it), the ways until then, and the assignments then."""
    _field(axes, drawn)
    start_s = min(drawn.snap_s, until_s)
    reading = drawn.reading
    held = {d.player_id: interval_at(d, min(until_s, drawn.end_s)) for d in reading.defenders}
    if "areas" in parts and drawn.play.across_known:
        for assignment, area in sorted({(i.assignment, i.area) for i in held.values() if i}, key=str):
            _area(axes, drawn, assignment, area)
    if "routes" in parts:
        for player, side in zip(drawn.play.player_id, drawn.play.side, strict=True):
            if side == "offense":
                _way(axes, drawn.path(player, start_s, until_s), BLACK, (), 1.6)
    for defender in reading.defenders:
        interval = held[defender.player_id]
        if interval and "drops" in parts:
            look = look_of(interval.assignment)
            _way(axes, drawn.path(defender.player_id, start_s, until_s), look.colour, DASHES[_group(interval.assignment)], 1.8)
    if "alignment" in parts:
        _men(axes, drawn, start_s)
    if "labels" in parts and until_s > start_s:
        _labels(axes, drawn, held, until_s)
    if "events" in parts:
        for event in reading.events:
            if event.kind.startswith(LOUD_EVENTS) and start_s < until_s and event.start_s <= until_s:
                _event(axes, drawn, event)


def _top_yd(drawn: Drawn) -> float:
    """How far downfield the page reaches: all that was run during the play, and the end line at most."""
    during = (drawn.play.time_s >= drawn.snap_s - 1.0) & (drawn.play.time_s <= drawn.end_s)
    spots = drawn.play.xy_yd[:, during, 0]
    spots = spots[np.isfinite(spots)]
    top = float(np.clip(spots.max() + 3.0 if len(spots) else 0.0, LEAST_DEPTH_YD, MOST_DEPTH_YD))
    goal = drawn.play.situation.yards_to_goal
    return top if goal is None else min(top, goal + 10.0)


def height_share(drawn: Drawn) -> float:
    return (_top_yd(drawn) - BACKFIELD_YD) / (WIDTH_YD + 3.0)


def _field(axes: Axes, drawn: Drawn) -> None:
    """Lines, inbounds marks, line of scrimmage and line to gain; the end zone where its place is known."""
    top = _top_yd(drawn)
    situation = drawn.play.situation
    goal = situation.yards_to_goal
    if goal is not None and goal < top:
        axes.axhspan(goal, goal + 10.0, facecolor="#EEEEEE", zorder=0)
    phase = (goal % LINE_EVERY_YD) if goal is not None else 0.0
    for line in np.arange(BACKFIELD_YD - BACKFIELD_YD % LINE_EVERY_YD - LINE_EVERY_YD + phase, top + 0.1, LINE_EVERY_YD):
        axes.axhline(line, color="#C8C8C8", lw=0.7, zorder=0.5)
    axes.axhline(0.0, color=BLACK, lw=1.6, zorder=0.6)
    if situation.distance_yd:
        axes.axhline(situation.distance_yd, color=BLACK, lw=1.2, ls=(0, (1, 2)), zorder=0.6)
    if drawn.play.across_known:
        hash_yd = drawn.play.hash_yd or LEVELS["college"].hash_yd
        marks = np.arange(np.ceil(BACKFIELD_YD), top)
        for across in (hash_yd, WIDTH_YD - hash_yd):
            axes.plot(np.full(len(marks), across), marks, ls="", marker="_", ms=5, color="#B0B0B0", zorder=0.5)
        for across in (0.0, WIDTH_YD):
            axes.axvline(across, color=BLACK, lw=1.4, zorder=0.6)
        axes.set_xlim(-1.5, WIDTH_YD + 1.5)
    axes.set_ylim(BACKFIELD_YD, top)
    axes.set_aspect("equal")
    axes.set_axis_off()


def _group(assignment: str) -> str:
    if assignment.startswith("deep"):
        return "deep"
    return assignment if assignment in DASHES else "under"


def _area(axes: Axes, drawn: Drawn, assignment: str, area: str | None) -> None:
    goal = drawn.play.situation.yards_to_goal
    polygon = zone_polygon(assignment, area, drawn.play.hash_yd, goal + 10.0 if goal is not None else 60.0)
    if polygon is None:
        return
    look = look_of(assignment)
    outline = np.array(polygon.exterior.coords)[:, ::-1]
    axes.add_patch(PolygonPatch(outline, facecolor=look.colour, alpha=0.16, zorder=1))
    axes.add_patch(PolygonPatch(outline, fill=False, hatch=look.hatch, edgecolor=look.colour, alpha=0.35, lw=0.0, zorder=1.1))
    axes.add_patch(PolygonPatch(outline, fill=False, edgecolor=look.colour, lw=1.0, zorder=1.2))


def _way(axes: Axes, way_yd: FloatArray, colour: str, dashes: tuple[float, ...], width: float) -> None:
    if len(way_yd) < 2 or np.abs(way_yd - way_yd[0]).max() < 0.7:
        return
    # A dark casing keeps yellow and orange readable on white paper and in grey.
    casing = [] if colour == BLACK else [withStroke(linewidth=width + 1.4, foreground=BLACK)]
    line = (0, dashes) if dashes else "-"
    axes.plot(way_yd[:, 1], way_yd[:, 0], color=colour, lw=width, ls=line, zorder=3, path_effects=casing)
    # The arrow points along the last yard, not along the jitter of the last two samples.
    far = np.flatnonzero(np.linalg.norm(way_yd - way_yd[-1], axis=1) > 0.9)
    tail = way_yd[far[-1]] if len(far) else way_yd[0]
    head = {"arrowstyle": "-|>", "fc": colour, "ec": BLACK, "lw": 0.7, "mutation_scale": 14, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", way_yd[-1][::-1], tail[::-1], zorder=3, arrowprops=head)


def slot_letters(slot: str) -> str:
    """A slot's short mark: "corner" as "C", "strong-safety" as "SS"."""
    return "".join(word[0] for word in slot.replace("_", "-").split("-") if word).upper()


def _men(axes: Axes, drawn: Drawn, time_s: float) -> None:
    places = drawn.at(time_s)
    slots = {d.player_id: d.slot for d in drawn.reading.defenders}
    receivers = drawn.reading.formation.receivers if drawn.reading.formation else {}
    for index, player in enumerate(drawn.play.player_id):
        down, across = places[index]
        if not np.isfinite(down + across):
            continue
        if drawn.play.side[index] == "offense":
            axes.plot(across, down, "o", ms=11, mfc="white", mec=BLACK, mew=1.4, zorder=4)
            words = receivers[player].partition("-")[2] if player in receivers else ""
            axes.text(across, down - 0.05, words, ha="center", va="center", fontsize=7.5, zorder=5)
        else:
            axes.plot(across, down, "v", ms=14, mfc="white", mec=BLACK, mew=1.4, zorder=4)
            words = drawn.numbers.get(player) or slot_letters(slots.get(player, ""))
            axes.text(across, down + 0.12, words, ha="center", va="center", fontsize=6.5, zorder=5)


def _labels(axes: Axes, drawn: Drawn, held: Mapping[str, Interval | None], until_s: float) -> None:
    """Each man's assignment where he is by then; who is not seen any more has his where he was seen last."""
    receivers = drawn.reading.formation.receivers if drawn.reading.formation else {}
    taken: list[tuple[float, float, float]] = []
    inches = axes.get_figure(root=True).get_figwidth() / len(axes.figure.axes)  # type: ignore[union-attr]
    letter_yd = LETTER_YD * 9.0 / inches
    for player, interval in held.items():
        way = drawn.path(player, float(drawn.play.time_s[0]), min(until_s, drawn.end_s))
        if interval is None or interval.assignment == "rush" or not len(way):
            continue
        receiver = receivers.get(interval.receiver or "")
        words = label_of(interval.assignment, interval.area, receiver and receiver_words(receiver))
        across, at_man = float(way[-1, 1]), float(way[-1, 0])
        down = at_man + 1.1
        half = letter_yd * (len(words) + 2) / 2
        while any(abs(across - a) < half + h and abs(down - d) < 4 * letter_yd for a, d, h in taken):
            down += letter_yd
        taken.append((across, down, half))
        if down > at_man + 1.1:
            axes.plot([across, across], [at_man + 0.3, down], color=BLACK, lw=0.6, zorder=5.5)
        axes.text(across, down, words, ha="center", va="bottom", fontsize=7.5, zorder=6, clip_on=True,
                  bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": look_of(interval.assignment).colour, "lw": 0.9})


def _event(axes: Axes, drawn: Drawn, event: Event) -> None:
    """The cushion between two men at the event's moment."""
    men = [player for player in (event.player_id, event.against) if player]
    ends = [drawn.path(player, event.start_s - 0.06, event.start_s + 0.06) for player in men]
    if len(ends) < 2 or not all(len(end) for end in ends):
        return
    first, second = ends[0][0], ends[1][0]
    axes.plot([first[1], second[1]], [first[0], second[0]], color=VERMILLION, lw=2.4, marker="x", ms=5, zorder=5)
    if event.margin_yd is not None:
        middle = (first + second) / 2
        axes.text(middle[1] + 0.6, middle[0], f"{abs(event.margin_yd):.1f} yd", fontsize=8, color=VERMILLION, fontweight="bold",
                  zorder=6, clip_on=True, path_effects=[withStroke(linewidth=2.5, foreground="white")])
