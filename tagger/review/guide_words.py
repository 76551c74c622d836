"""The guide's words, each in a sentence, with what its small picture of the field shows. Meanings: common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass

from tagger.review.field_pictures import Mark
from tagger.review.words import QUARTERS


@dataclass(frozen=True)
class GuideWord:
    """One word of the guide: what it means in a sentence, and what its picture shows."""

    word: str
    meaning: str
    zones: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()


_MEN = (Mark("man", 6.0, 4.5), Mark("man", 6.0, 11.5), Mark("man", 6.0, 41.5), Mark("man", 6.0, 48.8))
_THIRDS = ("deep-third:left", "deep-third:middle", "deep-third:right")
_HALVES = ("deep-half:left", "deep-half:right")
_UNDER_FOUR = ("curl-flat:left", "hook-curl:left", "hook-curl:right", "curl-flat:right")
_UNDER_FIVE = ("flat:left", "hook-curl:left", "middle-hook:middle", "hook-curl:right", "flat:right")

FAMILY_GUIDE = (
    GuideWord(
        "Cover 0",
        "Nobody deep: every eligible receiver has his man, and at least one more rusher comes.",
        (),
        (*_MEN, Mark("rush", 1.5, 20.0), Mark("rush", 1.5, 33.3)),
    ),
    GuideWord(
        "Cover 1",
        "One man deep in the middle, the others in man; one may sit free in the hole.",
        ("deep-third:middle", "robber:middle"),
        _MEN,
    ),
    GuideWord("Cover 2", "Two halves deep, five underneath; the corners hold the flat.", (*_HALVES, *_UNDER_FIVE)),
    GuideWord(
        "Tampa 2",
        "Cover 2 whose middle man runs into the deep hole between the halves.",
        (*_HALVES, "deep-third:middle", *_UNDER_FOUR),
    ),
    GuideWord("Cover 2 man", "Two halves deep, five in man beneath them, inside and trailing.", _HALVES, _MEN),
    GuideWord(
        "Cover 3", "Three thirds deep, four underneath: curl-flat, hook-curl, hook-curl, curl-flat.", (*_THIRDS, *_UNDER_FOUR)
    ),
    GuideWord(
        "Cover 4",
        "Four quarters deep, three underneath; men are matched once they run deep.",
        (*(f"deep-quarter:{a}" for a in QUARTERS), "curl-flat:left", "middle-hook:middle", "curl-flat:right"),
    ),
    GuideWord(
        "Cover 6",
        "Quarters to one side, a half to the other.",
        (
            "deep-quarter:left-outside",
            "deep-quarter:left-inside",
            "deep-half:right",
            "curl-flat:left",
            "middle-hook:middle",
            "flat:right",
        ),
    ),
)
ASSIGNMENT_GUIDE = (
    GuideWord("deep third", "Deeper than the deepest in his third, in the middle of it.", _THIRDS),
    GuideWord("deep half", "From the hash to the numbers of his side, over the top of everything.", _HALVES),
    GuideWord(
        "deep quarter",
        "One of four deep strips; outside men are the corners, inside men the safeties.",
        tuple(f"deep-quarter:{a}" for a in QUARTERS),
    ),
    GuideWord(
        "curl-flat",
        "Eight to twelve yards deep near the numbers, widening with a flat route.",
        ("curl-flat:left", "curl-flat:right"),
    ),
    GuideWord("hook-curl", "Eight to twelve yards deep between the hash and the numbers.", ("hook-curl:left", "hook-curl:right")),
    GuideWord("middle hook", "Eight to twelve yards deep over the ball.", ("middle-hook:middle",)),
    GuideWord("flat", "Short and outside the numbers.", ("flat:left", "flat:right")),
    GuideWord("robber", "Free in the hole between the deep man and the underneath men.", ("robber:middle",)),
    GuideWord("man", "Goes with one receiver, wherever he runs.", (), (Mark("man", 13.0, 8.0),)),
    GuideWord("rush", "Goes after the passer.", (), (Mark("rush", 1.5, 21.0), Mark("rush", 1.5, 32.3))),
    GuideWord("spy", "Mirrors the passer and keeps him in.", (), (Mark("spy", 5.0, 26.7),)),
    GuideWord("run fit", "The play is a run: there is no zone to grade.", (), (Mark("fit", 4.5, 24.0), Mark("fit", 4.5, 30.0))),
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
