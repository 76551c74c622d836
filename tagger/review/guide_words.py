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
_LINE = -0.8
"""Receivers stand so far behind the line."""


def _runs(across: float, *to: tuple[float, float], downfield: float = _LINE) -> Mark:
    return Mark("receiver", downfield, across, to)


def _goes(downfield: float, across: float, *to: tuple[float, float]) -> Mark:
    return Mark("defender", downfield, across, to)


def _shell(*safeties: tuple[float, float]) -> tuple[Mark, ...]:
    return (_goes(6.0, 6.0), _goes(6.0, 47.0), *(_goes(*spot) for spot in safeties))


_PASSER = Mark("receiver", -4.5, 26.7)
SHELL_GUIDE = (
    GuideWord("zero-high", "No safety deep in the middle at the snap.", (), _shell((5.5, 21.0), (5.5, 32.0))),
    GuideWord("one-high", "One safety deep: the middle of the field is closed.", (), _shell((13.0, 26.7), (6.0, 36.0))),
    GuideWord("two-high", "Two safeties deep: the middle of the field is open.", (), _shell((12.0, 18.0), (12.0, 35.5))),
)
FORMATION_GUIDE = (
    GuideWord(
        "2x2, 3x1 ...",
        "Receivers to either side, the fuller side first; the fuller side is the strength. Here 3x1, strong right.",
        (),
        (_runs(5.0), _runs(34.0), _runs(41.0), _runs(48.0), _PASSER),
    ),
    GuideWord("bunch", "Three receivers within about three yards.", (), (_runs(39.0), _runs(40.6, downfield=-2.6), _runs(42.2))),
    GuideWord("stack", "Two receivers, one behind the other.", (), (_runs(42.0), _runs(42.4, downfield=-2.8))),
    GuideWord("condensed", "The outermost receiver stands close to the line's end.", (), (_runs(35.5),)),
    GuideWord("attached end", "An end beside the tackle.", (), (_runs(31.9),)),
    GuideWord(
        "empty",
        "No back beside or behind the passer.",
        (),
        (_runs(5.0), _runs(12.0), _runs(38.0), _runs(43.0), _runs(48.5), _PASSER),
    ),
    GuideWord(
        "motion",
        "A man moves before the snap. The defense runs with him, bumps (exchanges zones) or stays.",
        (),
        (_runs(42.0, (_LINE - 1, 34.0), (_LINE - 1, 19.0)), _goes(5.0, 42.0, (5.0, 20.0))),
    ),
)
PLAY_GUIDE = (
    GuideWord(
        "pass",
        "Long enough for men to reach their landmarks: it has a coverage.",
        (),
        (_runs(8.0, (12.0, 8.0), (18.0, 16.0)), _PASSER),
    ),
    GuideWord("run", "The ball is carried: no coverage is graded.", (), (Mark("receiver", -4.5, 28.5, ((6.0, 32.0),)),)),
    GuideWord(
        "screen",
        "Thrown at once behind blockers: no coverage is graded.",
        (),
        (Mark("receiver", -3.0, 22.0, ((-2.5, 13.0), (6.0, 11.0))),),
    ),
    GuideWord(
        "quick",
        "The ball was out before anybody could reach a landmark: no coverage is graded.",
        (),
        (_runs(8.0, (4.0, 8.0), (4.8, 13.0)), _PASSER),
    ),
)
EVENT_GUIDE = (
    GuideWord(
        "over the top",
        "A receiver in a deep man's area got deeper than he was, before the ball was out.",
        ("deep-third:left",),
        (_runs(8.0, (26.0, 8.0)), _goes(8.0, 11.0, (22.0, 11.5))),
    ),
    GuideWord(
        "lost inside, lost outside",
        "A receiver crossed to the side that the defender was to protect.",
        (),
        (_runs(8.0, (9.0, 8.0), (16.0, 18.0)), _goes(8.0, 10.0, (13.0, 10.5))),
    ),
    GuideWord(
        "high-low",
        "One receiver before and one behind a curl-flat man: he has to choose.",
        ("curl-flat:right",),
        (_runs(47.5, (20.0, 44.0)), _runs(39.0, (3.5, 47.0)), _goes(8.0, 44.5)),
    ),
    GuideWord(
        "two verticals",
        "Two receivers deep in one deep area.",
        ("deep-third:right",),
        (_runs(40.0, (24.0, 40.0)), _runs(48.5, (24.0, 48.5)), _goes(19.0, 44.5)),
    ),
    GuideWord(
        "carries",
        "The defender runs with a receiver through his zone.",
        ("hook-curl:left",),
        (_runs(14.0, (22.0, 14.0)), _goes(8.0, 16.5, (20.0, 16.5))),
    ),
    GuideWord(
        "passes off",
        "He hands a receiver on to the next man.",
        ("hook-curl:left", "hook-curl:right"),
        (_runs(14.0, (9.0, 15.0), (9.0, 33.0)), _goes(10.5, 18.5), _goes(10.5, 36.0)),
    ),
    GuideWord(
        "break",
        "The defender plants and drives; his delay behind the release is told.",
        (),
        (_runs(46.0, (5.0, 46.0), (6.0, 41.0)), _goes(7.0, 38.0, (14.0, 36.0), (7.0, 40.5))),
    ),
    GuideWord(
        "late rotation",
        "A man went to his deep part only well after the snap.",
        ("deep-third:middle",),
        (Mark("stood", 12.0, 37.0), _goes(15.0, 33.0, (18.0, 27.5))),
    ),
    GuideWord(
        "late to landmark",
        "He got to his spot later than the play allows.",
        ("curl-flat:left",),
        (Mark("stood", 4.0, 21.0), _goes(5.5, 16.5, (8.5, 10.5))),
    ),
    GuideWord(
        "disguise",
        "The shell shown before the snap is not what was played.",
        ("deep-third:middle",),
        (Mark("stood", 12.0, 18.0, ((18.0, 26.0),)), Mark("stood", 12.0, 35.5, ((6.0, 40.0),))),
    ),
    GuideWord(
        "open zone",
        "A bust: a zone that the structure needs has a receiver in it and no defender.",
        ("hook-curl:right",),
        (_runs(41.0, (9.0, 37.0)), _goes(9.5, 17.0)),
    ),
    GuideWord(
        "two in one zone", "A bust: two defenders hold the same zone.", ("hook-curl:left",), (_goes(9.5, 15.0), _goes(9.5, 19.5))
    ),
    GuideWord(
        "rusher missing",
        "A bust: fewer came than the call sends.",
        (),
        (*(Mark("rush", 1.5, across) for across in (20.0, 25.0, 28.5)), Mark("stood", 1.5, 33.5)),
    ),
    GuideWord(
        "not as called",
        "A bust: his job is not the one of the call on the practice script.",
        ("deep-half:right",),
        (Mark("stood", 19.0, 40.0), _goes(7.0, 33.0)),
    ),
)
PARTS = (
    ("Coverage families", FAMILY_GUIDE),
    ("Shells", SHELL_GUIDE),
    ("Assignments", ASSIGNMENT_GUIDE),
    ("Formations and motion", FORMATION_GUIDE),
    ("Kinds of play", PLAY_GUIDE),
    ("Events", EVENT_GUIDE),
)
"""What the guide shows, part by part."""
