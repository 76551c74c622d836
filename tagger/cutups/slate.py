"""The slate before each rep: what the coach needs to know before he watches."""

from __future__ import annotations

import cv2
import numpy as np

from tagger.cutups.edit_list import CutRep
from tagger.cutups.lettering import draw_words, word_mask
from tagger.cutups.overlay import EVENT_WORDS
from tagger.cutups.palette import ORANGE, SKY_BLUE, bgr, receiver_words
from tagger.football.types import Event, Situation

GROUND_BGR = (38, 32, 28)
ORDINALS = {1: "1st", 2: "2nd", 3: "3rd", 4: "4th"}
MOST_EVENTS = 3


def situation_words(situation: Situation) -> str:
    """ "3rd & 7, right hash, own 35" - as much of it as is known; "" for nothing."""
    words = []
    if situation.down is not None:
        gain = f" & {situation.distance_yd:g}" if situation.distance_yd is not None else ""
        words.append(f"{ORDINALS.get(situation.down, situation.down)}{gain}")
    if situation.hash:
        words.append("middle" if situation.hash == "middle" else f"{situation.hash} hash")
    if situation.yards_to_goal is not None:
        goal = situation.yards_to_goal
        words.append(f"own {100 - goal:g}" if goal > 50 else "midfield" if goal == 50 else f"opponent {goal:g}")
    return ", ".join(words)


def coverage_words(rep: CutRep) -> str:
    """What was shown and played, and how sure: "two-high shown, cover-3 played (82%)"."""
    reading = rep.reading
    shell = max(reading.shell, key=lambda word: reading.shell[word], default=None)
    family = max(reading.family, key=lambda word: reading.family[word], default=None)
    words = [f"{shell} shown"] if shell else []
    if family:
        words.append(f"{family} played ({reading.family[family]:.0%})")
    else:
        words.append("coverage not told")
    return ", ".join(words)


def event_words(rep: CutRep, event: Event) -> str:
    """One line on an event: "#24 over the top, #1 L, 1.2 yd, 2.4 s after the snap"."""
    slots = {d.player_id: d.slot for d in rep.reading.defenders}
    player = event.player_id or ""
    who = f"#{rep.numbers[player]}" if player in rep.numbers else slots.get(player) or player
    words = f"{who} {EVENT_WORDS.get(event.kind, event.kind)}".strip()
    receivers = rep.reading.formation.receivers if rep.reading.formation else {}
    if event.against is not None and event.against in receivers:
        words += f", {receiver_words(receivers[event.against])},"
    if event.margin_yd is not None:
        words += f" {abs(event.margin_yd):.1f} yd"
    if rep.reading.snap_s is not None:
        after_s = event.start_s - rep.reading.snap_s
        words += f", {abs(after_s):.1f} s {'after' if after_s >= 0 else 'before'} the snap"
    return words


def slate_lines(rep: CutRep) -> list[tuple[str, float, str]]:
    """(words, letter size as a share of the height, colour) from top to bottom."""
    situation = rep.situation
    lines = [(rep.title or rep.name, 0.075, "#FFFFFF")]
    if words := situation_words(situation):
        lines.append((words, 0.062, ORANGE))
    formation = rep.reading.formation
    offense = [situation.personnel or ""]
    if formation:
        offense += [formation.set_name, ", ".join(formation.features)]
    if any(offense):
        lines.append(("  ".join(word for word in offense if word), 0.042, "#DDDDDD"))
    if situation.call:
        lines.append((f"called: {situation.call}", 0.042, "#DDDDDD"))
    lines.append((coverage_words(rep), 0.05, SKY_BLUE))
    lines += [(event_words(rep, event), 0.042, "#FFFFFF") for event in rep.events[:MOST_EVENTS]]
    if len(rep.events) > MOST_EVENTS:
        lines.append((f"and {len(rep.events) - MOST_EVENTS} more", 0.036, "#BBBBBB"))
    return lines


def slate_picture(rep: CutRep, size: tuple[int, int], count: str) -> np.ndarray:
    """(height, width, 3) uint8 BGR slate of a rep; `count` ("3 of 12") stands in the corner."""
    width, height = size
    picture = np.full((height, width, 3), GROUND_BGR, np.uint8)
    left, room = int(width * 0.08), int(width * 0.84)
    lines = slate_lines(rep)
    top = int(height * 0.5 - sum(share for _, share, _ in lines) * height * 0.85)
    for words, share, colour in lines:
        pixels = max(int(height * share), 8)
        while word_mask(words, pixels).shape[1] > room and pixels > 8:
            pixels -= 1
        draw_words(picture, words, left, top, pixels, colour)
        top += int(height * share * 1.7)
    draw_words(picture, count, left, int(height * 0.92), int(height * 0.032), "#BBBBBB")
    bar = int(width * 0.055), int(width * 0.06)
    cv2.rectangle(picture, (bar[0], int(height * 0.12)), (bar[1], int(height * 0.88)), bgr(ORANGE), -1)
    return picture
