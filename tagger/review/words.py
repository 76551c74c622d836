"""The page's words: which tag may hold which value, and how each assignment looks."""

from __future__ import annotations

from typing import Any

from homography.marks import ALONG, line_words, row_words
from tagger.cutups.overlay import EVENT_WORDS
from tagger.cutups.palette import LOOKS, SIDE_LETTERS
from tagger.football.vocabulary import EVENT_KINDS, FAMILIES, FORMATION_FEATURES, PLAY_KINDS, SHELLS, UNKNOWN

LEFT_RIGHT = ("left", "right")
QUARTERS = ("left-outside", "left-inside", "right-inside", "right-outside")
AREAS_OF: dict[str, tuple[str, ...]] = {
    "deep-third": ("left", "middle", "right"),
    "deep-half": LEFT_RIGHT,
    "deep-quarter": QUARTERS,
    "curl-flat": LEFT_RIGHT,
    "hook-curl": LEFT_RIGHT,
    "middle-hook": ("middle",),
    "flat": LEFT_RIGHT,
    "robber": ("middle",),
    "man": (),
    "rush": (),
    "spy": (),
    "run-fit": (),
}
SETS = ("2x2", "3x1", "2x1", "3x2", "4x1", "1x1", "3x0", "2x0", "4x0")
"""The fuller side first; strength says which that is."""
FAMILY_NAMES = {
    "cover-0": "Cover 0",
    "cover-1": "Cover 1",
    "cover-2": "Cover 2",
    "tampa-2": "Tampa 2",
    "cover-2-man": "Cover 2 man",
    "cover-3": "Cover 3",
    "cover-4": "Cover 4",
    "cover-6": "Cover 6",
    UNKNOWN: "not told",
}


def luminance(colour: str) -> float:
    """Relative luminance of "#RRGGBB" (WCAG 2.2)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
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
        "shells": list(SHELLS),
        "play_kinds": list(PLAY_KINDS),
        "sets": list(SETS),
        "features": list(FORMATION_FEATURES),
        "assignments": [
            {
                "value": word,
                "short": look.short,
                "colour": look.colour,
                "ink": ink_on(look.colour),
                "hatch": look.hatch,
                "areas": list(AREAS_OF[word]),
            }
            for word, look in LOOKS.items()
        ],
        "areas": dict(SIDE_LETTERS),
        "marks": {view: {"lines": line_words(view), "rows": row_words(view)} for view in ALONG},
        "events": {kind: EVENT_WORDS.get(kind, kind) for kind in EVENT_KINDS},
    }
