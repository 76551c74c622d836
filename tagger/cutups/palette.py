"""How each assignment looks, on the turf and on paper: a colour, a hatch and words, so that no meaning hangs on colour alone.

Colours: Masataka Okabe and Kei Ito, "Color Universal Design", 2002, revised 2008 (the eight-colour set). Which assignment
gets which colour, the hatches and the short words are this program's own.
"""

from __future__ import annotations

from dataclasses import dataclass

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
PURPLE = "#CC79A7"
GREY = "#767676"


@dataclass(frozen=True)
class Look:
    """One assignment's look. `hatch` is matplotlib's pattern; `hatch_rad` the direction of the lines that stand for it on
    the turf (0 = downfield), None for none; `short` what fits beside a man's feet."""

    colour: str
    hatch: str
    hatch_rad: float | None
    short: str


LOOKS: dict[str, Look] = {
    "deep-third": Look(BLUE, "//", 0.785, "deep ⅓"),
    "deep-half": Look(SKY_BLUE, "\\\\", -0.785, "deep ½"),
    "deep-quarter": Look(PURPLE, "||", 0.0, "deep ¼"),
    "curl-flat": Look(ORANGE, "--", 1.571, "curl-flat"),
    "hook-curl": Look(YELLOW, "..", None, "hook-curl"),
    "middle-hook": Look(VERMILLION, "xx", 0.785, "middle hook"),
    "flat": Look(ORANGE, "++", 0.0, "flat"),
    "robber": Look(GREY, "oo", None, "robber"),
    "man": Look(VERMILLION, "", None, "man"),
    "rush": Look(BLACK, "", None, "rush"),
    "spy": Look(GREY, "**", None, "spy"),
    "run-fit": Look(GREY, "", None, "run fit"),
}
UNSURE = Look(GREY, "", None, "?")

SIDE_LETTERS = {
    "left": "L", "right": "R", "middle": "mid", "left-outside": "L out", "left-inside": "L in", "right-inside": "R in",
    "right-outside": "R out",
}


def look_of(assignment: str) -> Look:
    """The look of an assignment word; a word without one looks unsure."""
    return LOOKS.get(assignment, UNSURE)


def label_of(assignment: str, area: str | None, receiver_label: str | None = None) -> str:
    """What stands beside a man's feet, as "deep ⅓ L", "man #2 R", "rush"."""
    words = [look_of(assignment).short]
    if area:
        words.append(SIDE_LETTERS.get(area, area))
    if assignment == "man" and receiver_label:
        words.append(receiver_label)
    return " ".join(words)


def receiver_words(receiver: str) -> str:
    """ "left-2" as "#2 L"; any other name as it stands."""
    side, _, number = receiver.partition("-")
    return f"#{number} {SIDE_LETTERS[side]}" if side in ("left", "right") and number.isdigit() else receiver


def bgr(colour: str) -> tuple[int, int, int]:
    """ "#RRGGBB" as OpenCV wants it."""
    return int(colour[5:7], 16), int(colour[3:5], 16), int(colour[1:3], 16)
