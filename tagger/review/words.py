"""The page's words: which tag may hold which value, how each assignment looks, and the sentences of the guide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tagger.cutups.overlay import EVENT_WORDS
from tagger.cutups.palette import LOOKS, SIDE_LETTERS
from tagger.football.vocabulary import EVENT_KINDS, FAMILIES, PLAY_KINDS, SHELLS, UNKNOWN

LEFT_RIGHT = ("left", "right")
QUARTERS = ("left-outside", "left-inside", "right-inside", "right-outside")
AREAS_OF: dict[str, tuple[str, ...]] = {
    "deep-third": ("left", "middle", "right"), "deep-half": LEFT_RIGHT, "deep-quarter": QUARTERS, "curl-flat": LEFT_RIGHT,
    "hook-curl": LEFT_RIGHT, "middle-hook": ("middle",), "flat": LEFT_RIGHT, "robber": ("middle",),
    "man": (), "rush": (), "spy": (), "run-fit": (),
}
SETS = ("2x2", "3x1", "1x3", "2x1", "1x2", "3x2", "2x3", "4x1", "1x4")
FAMILY_NAMES = {
    "cover-0": "Cover 0", "cover-1": "Cover 1", "cover-2": "Cover 2", "tampa-2": "Tampa 2", "cover-2-man": "Cover 2 man",
    "cover-3": "Cover 3", "cover-4": "Cover 4", "cover-6": "Cover 6", UNKNOWN: "not told",
}


def luminance(colour: str) -> float:
    """Relative luminance of "#RRGGBB" (WCAG 2.2)."""
    channels = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2)."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def ink_on(colour: str) -> str:
    """Black or white, whichever reads better on `colour`."""
    return max("#000000", "#FFFFFF", key=lambda ink: contrast(ink, colour))


def page_words() -> dict[str, Any]:
    """Everything that the scripts need to name and paint tags."""
    return {
        "families": [{"value": f, "label": FAMILY_NAMES[f]} for f in (*FAMILIES, UNKNOWN)],
        "shells": list(SHELLS), "play_kinds": list(PLAY_KINDS), "sets": list(SETS),
        "assignments": [
            {"value": word, "short": look.short, "colour": look.colour, "ink": ink_on(look.colour), "hatch": look.hatch,
             "areas": list(AREAS_OF[word])}
            for word, look in LOOKS.items()
        ],
        "areas": dict(SIDE_LETTERS),
        "events": {kind: EVENT_WORDS.get(kind, kind) for kind in EVENT_KINDS},
    }


@dataclass(frozen=True)
class GuideWord:
    """One word of the guide: what it means in a sentence, and who stands where in its picture ("assignment:area", ...)."""

    word: str
    meaning: str
    zones: tuple[str, ...] = ()


_THIRDS = ("deep-third:left", "deep-third:middle", "deep-third:right")
_HALVES = ("deep-half:left", "deep-half:right")
_UNDER_FOUR = ("curl-flat:left", "hook-curl:left", "hook-curl:right", "curl-flat:right")
_UNDER_FIVE = ("flat:left", "hook-curl:left", "middle-hook:middle", "hook-curl:right", "flat:right")

FAMILY_GUIDE = (
    GuideWord("Cover 0", "Nobody deep: every eligible receiver has his man, and at least one more rusher comes."),
    GuideWord("Cover 1", "One man deep in the middle, the others in man; one may sit free in the hole.", ("deep-third:middle", "robber:middle")),
    GuideWord("Cover 2", "Two halves deep, five underneath; the corners hold the flat.", (*_HALVES, *_UNDER_FIVE)),
    GuideWord("Tampa 2", "Cover 2 whose middle man runs into the deep hole between the halves.", (*_HALVES, "deep-third:middle", *_UNDER_FOUR)),
    GuideWord("Cover 2 man", "Two halves deep, five in man beneath them, inside and trailing.", _HALVES),
    GuideWord("Cover 3", "Three thirds deep, four underneath: curl-flat, hook-curl, hook-curl, curl-flat.", (*_THIRDS, *_UNDER_FOUR)),
    GuideWord("Cover 4", "Four quarters deep, three underneath; men are matched once they run deep.",
              (*(f"deep-quarter:{a}" for a in QUARTERS), "curl-flat:left", "middle-hook:middle", "curl-flat:right")),
    GuideWord("Cover 6", "Quarters to one side, a half to the other.",
              ("deep-quarter:left-outside", "deep-quarter:left-inside", "deep-half:right", "curl-flat:left", "middle-hook:middle", "flat:right")),
)
ASSIGNMENT_GUIDE = (
    GuideWord("deep third", "Deeper than the deepest in his third, in the middle of it.", _THIRDS),
    GuideWord("deep half", "From the hash to the numbers of his side, over the top of everything.", _HALVES),
    GuideWord("deep quarter", "One of four deep strips; outside men are the corners, inside men the safeties.",
              tuple(f"deep-quarter:{a}" for a in QUARTERS)),
    GuideWord("curl-flat", "Eight to twelve yards deep near the numbers, widening with a flat route.", ("curl-flat:left", "curl-flat:right")),
    GuideWord("hook-curl", "Eight to twelve yards deep between the hash and the numbers.", ("hook-curl:left", "hook-curl:right")),
    GuideWord("middle hook", "Eight to twelve yards deep over the ball.", ("middle-hook:middle",)),
    GuideWord("flat", "Short and outside the numbers.", ("flat:left", "flat:right")),
    GuideWord("robber", "Free in the hole between the deep man and the underneath men.", ("robber:middle",)),
    GuideWord("man", "Goes with one receiver, wherever he runs."),
    GuideWord("rush", "Goes after the passer."),
    GuideWord("spy", "Mirrors the passer and keeps him in."),
    GuideWord("run fit", "The play is a run: there is no zone to grade."),
)
EVENT_GUIDE = (
    ("over the top", "A receiver in a deep man's area got deeper than he was, before the ball was out."),
    ("lost inside / outside", "A receiver crossed to the side that the defender was to protect."),
    ("high-low", "One receiver before and one behind a curl-flat man: he had to choose."),
    ("two verticals", "Two receivers deep in one deep area."),
    ("carries / passes off", "The defender ran with a receiver through his zone, or handed him on."),
    ("break", "The defender planted and drove; his delay behind the release is told."),
    ("late rotation, late to landmark", "He got to his spot later than the play allows."),
    ("disguise", "The shell shown before the snap is not what was played."),
    ("open zone, two in one zone, rusher missing, not as called", "Busts: what the structure or the call needs was not there."),
)
