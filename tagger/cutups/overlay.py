"""What is drawn into a rep at one moment: zones, assignments, trails and cushion lines, as shapes on the field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from homography.types import FieldView
from tagger.cutups.palette import GREY, YELLOW, label_of, look_of, receiver_words
from tagger.cutups.turf import Area, Label, Shape, Stroke, TurfPainter, area_of, circle_yd
from tagger.cutups.zones import Placement, zone_polygon
from tagger.football.types import Defender, Event, Interval, Reading
from vision.types import FloatArray, Tracks

OVERLAYS = ("zones", "labels", "trails", "events")
TRAIL_S, TRAIL_STEP_S = 1.5, 0.1
EVENT_BEFORE_S, EVENT_AFTER_S = 0.4, 0.8
"""A cushion line stands this long around its event, so that the eye finds it."""
LOUD_EVENTS = ("leverage-lost", "bust", "high-low", "vertical-stress")
FEET_RING_YD = 0.8
LONGEST_GAP_S = 0.4
"""A man not seen for longer than this is not drawn, rather than guessed at."""
DEEPEST_ZONE_YD = 60.0

EVENT_WORDS = {
    "leverage-lost-over-top": "over the top", "leverage-lost-inside": "lost inside", "leverage-lost-outside": "lost outside",
    "high-low-stress": "high-low", "vertical-stress": "two verticals", "break": "break", "carried": "carries",
    "passed-off": "passes off", "late-rotation": "late rotation", "late-to-landmark": "late to landmark",
    "disguise": "disguise", "bust-empty-zone": "open zone", "bust-two-in-zone": "two in one zone",
    "bust-short-rush": "rusher missing", "bust-called": "not as called",
}


Way = tuple[FloatArray, FloatArray]


@dataclass(frozen=True)
class RepView:
    """One view of a rep, ready to be drawn. `paths` leads from the reading's names to times (K,) of this clip's clock and places
    (K, 2) on its field; `placement` is None where the play frame could not be laid on this view's field (then no zones are
    drawn); `clip_minus_rep_s` is what to add to the reading's clock for this clip's."""

    view: FieldView
    tracks: Tracks
    paths: Mapping[str, Way]
    placement: Placement | None
    hash_yd: float | None
    clip_minus_rep_s: float = 0.0


@dataclass
class RepOverlay:
    """Draws one rep's reading into the frames of one of its views.

    `focus` holds the players that the cut-up is about: the others' zones are faint and their labels left out. Empty: all.
    `events` are those to point at; None: those that a coach stops the film for (LOUD_EVENTS).
    """

    seen: RepView
    reading: Reading
    numbers: Mapping[str, str] = field(default_factory=dict)
    focus: frozenset[str] = frozenset()
    parts: frozenset[str] = frozenset(OVERLAYS)
    events: tuple[Event, ...] | None = None
    painter: TurfPainter = field(init=False)
    _areas: dict[tuple[str, str | None, bool], Area | None] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        unknown = self.parts - set(OVERLAYS)
        if unknown:
            raise ValueError(f"overlay {sorted(unknown)[0]!r}: no such overlay; use {', '.join(OVERLAYS)}")
        self.painter = TurfPainter(self.seen.view, self.seen.tracks)

    def draw(self, frame_bgr: np.ndarray, frame_index: int, clip_time_s: float) -> np.ndarray:
        """A frame of the clip with everything on it; the frame itself where nothing can be drawn."""
        return self.painter.paint(frame_bgr, frame_index, self.shapes(clip_time_s - self.seen.clip_minus_rep_s))

    def shapes(self, time_s: float) -> list[Shape]:
        """Everything to draw at a time of the reading's clock."""
        shapes: list[Shape] = []
        for defender in self.reading.defenders:
            interval = interval_at(defender, time_s)
            if interval is not None:
                shapes.extend(self._defender(defender, interval, time_s))
        if "events" in self.parts:
            for event in self._chosen_events():
                if event.start_s - EVENT_BEFORE_S <= time_s <= event.end_s + EVENT_AFTER_S:
                    shapes.extend(self._event(event, time_s))
        return shapes

    def _chosen_events(self) -> tuple[Event, ...]:
        if self.events is not None:
            return self.events
        loud = (event for event in self.reading.events if event.kind.startswith(LOUD_EVENTS))
        return tuple(event for event in loud if not self.focus or event.player_id in self.focus)

    def where(self, player_id: str | None, time_s: float) -> FloatArray | None:
        """(2,) field yards of a player at a time of the reading's clock; None where he is not seen."""
        path = self.seen.paths.get(player_id) if player_id else None
        if path is None or not len(path[0]):
            return None
        clip_time_s = time_s + self.seen.clip_minus_rep_s
        if np.abs(path[0] - clip_time_s).min() > LONGEST_GAP_S:
            return None
        return np.array([np.interp(clip_time_s, path[0], path[1][:, axis]) for axis in (0, 1)])

    def _defender(self, defender: Defender, interval: Interval, time_s: float) -> list[Shape]:
        look, chosen = look_of(interval.assignment), not self.focus or defender.player_id in self.focus
        shapes: list[Shape] = []
        if "zones" in self.parts and (area := self._area(interval, not chosen)) is not None:
            shapes.append(area)
        spot = self.where(defender.player_id, time_s)
        if spot is None or not chosen:
            return shapes
        if "trails" in self.parts and interval.assignment != "rush":
            shapes.append(Stroke(self._trail(defender.player_id, time_s), look.colour))
        if "labels" in self.parts:
            receiver = self._receiver(interval.receiver)
            covered = self.where(interval.receiver, time_s) if interval.assignment == "man" else None
            if covered is not None:
                shapes.append(Stroke(np.linspace(spot, covered, 12), look.colour, dashed=True))
            if interval.assignment != "rush" or defender.player_id in self.focus:
                shapes.append(Stroke(circle_yd(spot, FEET_RING_YD), look.colour))
                words = label_of(interval.assignment, interval.area, receiver)
                number = self.numbers.get(defender.player_id)
                shapes.append(Label((spot[0], spot[1]), f"{number} {words}" if number else words, look.colour))
        return shapes

    def _receiver(self, player_id: str | None) -> str | None:
        if player_id is None or self.reading.formation is None:
            return None
        receiver = self.reading.formation.receivers.get(player_id)
        return receiver and receiver_words(receiver)

    def _area(self, interval: Interval, faint: bool) -> Area | None:
        key = (interval.assignment, interval.area, faint)
        if key not in self._areas:
            self._areas[key] = self._make_area(interval, faint)
        return self._areas[key]

    def _make_area(self, interval: Interval, faint: bool) -> Area | None:
        place = self.seen.placement
        if place is None:
            return None
        depth_yd = min(place.depth_to_end_line_yd, DEEPEST_ZONE_YD)
        polygon = zone_polygon(interval.assignment, interval.area, self.seen.hash_yd, depth_yd)
        if polygon is None:
            return None
        look = look_of(interval.assignment)
        drawn = area_of(polygon, look.colour, look.hatch_rad, faint)
        hatch = place.field_from_play(drawn.hatch_yd.reshape(-1, 2)).reshape(-1, 2, 2)
        return Area(place.field_from_play(drawn.outline_yd), hatch, look.colour, faint)

    def _trail(self, player_id: str, time_s: float) -> FloatArray:
        path = self.seen.paths[player_id]
        clip_time_s = time_s + self.seen.clip_minus_rep_s
        times = np.arange(max(clip_time_s - TRAIL_S, path[0][0]), clip_time_s, TRAIL_STEP_S)
        return np.stack([np.interp(times, path[0], path[1][:, axis]) for axis in (0, 1)], axis=1)

    def _event(self, event: Event, time_s: float) -> list[Shape]:
        defender, receiver = self.where(event.player_id, time_s), self.where(event.against, time_s)
        words = EVENT_WORDS.get(event.kind, event.kind)
        if event.margin_yd is not None:
            words += f" {abs(event.margin_yd):.1f} yd"
        shapes: list[Shape] = []
        if defender is not None and receiver is not None:
            shapes.append(Stroke(np.linspace(defender, receiver, 12), YELLOW, width_px=3))
        spot = receiver if receiver is not None else defender
        if spot is not None:
            shapes.append(Stroke(circle_yd(spot, FEET_RING_YD * 1.3), YELLOW, width_px=3))
            shapes.append(Label((spot[0], spot[1]), words, YELLOW if event.player_id else GREY, above=True))
        return shapes


def interval_at(defender: Defender, time_s: float) -> Interval | None:
    """A defender's assignment at a time; the last one that has begun where two meet, None outside of all."""
    held = [interval for interval in defender.intervals if interval.start_s <= time_s <= interval.end_s]
    return held[-1] if held else None
