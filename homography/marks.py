"""The marks of a field that a person can name, as he sees them from the camera.

From a sideline: "left 30 near hash" is where the 30 on the left crosses the nearer row of hash marks. From an end zone the same
field lies the other way: "near 30 left hash". The words tell the view. Where no number can be read, lines are counted from any
one of them: "line 0 near hash", "line 10 near hash".
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from homography.field import END_ZONE_YD, LENGTH_YD, LEVELS, WIDTH_YD, YARD_LINE_SPACING_YD

ALONG = {"sideline": ("left", "right"), "end-zone": ("near", "far")}
ACROSS = {"sideline": ("near", "far"), "end-zone": ("right", "left")}
"""The side of y = 0 first: a sideline camera looks toward +y, an end-zone camera toward +x with -y on its right."""
ROWS = ("sideline", "hash", "numbers bottom", "numbers top")
"""Bottoms of numbers are nearer to their sideline than tops."""
YARDS = ("goal", *(str(yards) for yards in range(5, 50, 5)))
MOST_COUNTED_YD = 100
LINE = rf"(?P<end>left|right|near|far) (?P<yards>end|{'|'.join(YARDS)})|(?P<middle>50)|line (?P<count>[+-]?\d{{1,3}})"
GRAMMAR = re.compile(rf"(?:{LINE}) (?P<side>near|far|left|right) (?P<row>{'|'.join(ROWS)})")
EXAMPLES = "left 30 near hash (camera at a sideline), near 30 left hash (camera behind an end zone)"


@dataclass(frozen=True)
class Mark:
    """A named mark: where its line lies (`x_yd`, field frame), the row that crosses it there and on which side of the field
    (`first` for that of y = 0). `counted` where the line was counted from another instead of being known."""

    words: str
    view: str
    x_yd: float
    row: str
    first: bool
    counted: bool

    def xy_yd(self, level: str) -> tuple[float, float]:
        """The mark's field point on a field of this level."""
        painted = LEVELS[level]
        centre, half = painted.number_centre_yd or 0.0, painted.number_height_yd / 2.0
        y = {"sideline": 0.0, "hash": painted.hash_yd, "numbers bottom": centre - half, "numbers top": centre + half}[self.row]
        return self.x_yd, y if self.first else WIDTH_YD - y

    @property
    def line(self) -> str:
        """The words of its line alone."""
        return self.words.removesuffix(self.row).rsplit(" ", 2)[0]


def parse_mark(words: str) -> Mark:
    """The mark of these words. Raises ValueError with one line that shows how marks are written."""
    plain = " ".join(words.lower().replace(",", " ").split())
    found = GRAMMAR.fullmatch(plain)
    view = _view(found) if found else None
    if found is None or view is None:
        raise ValueError(f"{words!r}: no such mark; a mark is a line and what crosses it, as {EXAMPLES}")
    first = found["side"] == ACROSS[view][0]
    return Mark(plain, view, _x_yd(found, view), found["row"], first, found["count"] is not None)


def _view(found: re.Match[str]) -> str | None:
    """From where these words see the field; None if from nowhere."""
    for view in ALONG:
        if found["side"] in ACROSS[view] and found["end"] in (*ALONG[view], None):
            return view
    return None


def _x_yd(found: re.Match[str], view: str) -> float:
    if found["middle"]:
        return LENGTH_YD / 2.0
    if found["count"]:
        count = int(found["count"])
        if count % YARD_LINE_SPACING_YD or abs(count) > MOST_COUNTED_YD:
            raise ValueError(f"line {count}: lines are counted in whole steps of 5 yards, at most {MOST_COUNTED_YD}")
        return LENGTH_YD / 2.0 + count
    near_yd = {"end": 0.0, "goal": END_ZONE_YD}.get(found["yards"])
    near_yd = END_ZONE_YD + int(found["yards"]) if near_yd is None else near_yd
    return near_yd if found["end"] == ALONG[view][0] else LENGTH_YD - near_yd


def line_words(view: str) -> list[str]:
    """The lines of the field as a camera of this view meets them, in their order along it."""
    first, second = ALONG[view]
    near = [f"{first} {yards}" for yards in ("end", *YARDS)]
    return [*near, "50", *(words.replace(first, second, 1) for words in reversed(near))]


def row_words(view: str) -> list[str]:
    """What crosses the lines, from the side of y = 0 to the other."""
    first, second = ACROSS[view]
    order = (ROWS[0], ROWS[2], ROWS[3], ROWS[1])
    return [*(f"{first} {row}" for row in order), *(f"{second} {row}" for row in reversed(order))]
