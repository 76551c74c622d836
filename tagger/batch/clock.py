"""Lays film on a practice script by the clock: when it was recorded, and when the script says that each rep was run.

The camera's clock and the script's differ by an amount that nobody knows (a time zone, a clock set by hand, a stopwatch), which
is the same for all film of one camera: it is found first, as the difference that most of them share.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tagger.batch.limits import Limits
from tagger.batch.process import Tell, WorkFailed, call_of, run_call

LEAST_LAID = 4
"""Fewer film lies on any script."""
NEAR_S, NEAR_MINUTE_S = 20.0, 60.0
"""By how much a rep may be off its row: a script with seconds, and one with whole minutes."""
STANDS_OUT = 1.08
"""So many times as well as on any other difference of the clocks."""
LEAST_AHEAD = 2.0
"""And by so many films, unless every film and row has its own: at even intervals one more fits by chance."""
IN_NAME = re.compile(r"(?<!\d)(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)[-_ T.]+(\d\d)[-_.h:]?(\d\d)[-_.m:]?(\d\d)(?!\d)")
CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?\s*([ap])?\.?m?\.?", re.IGNORECASE)
HALF_DAY_S = 12 * 3600.0

Array = npt.NDArray[np.floating[Any]]


def seconds_of(text: str) -> float:
    """Seconds of a time as people write it: "16:32", "4:32:10 PM", "0:12:30". Raises ValueError."""
    match = CLOCK.fullmatch(text.strip())
    if match is None or int(match[2]) > 59 or float(match[3] or 0) >= 60 or (match[4] and not 1 <= int(match[1]) <= 12):
        raise ValueError(f"{text!r} is no time")
    hours = int(match[1]) % 12 + 12 * (match[4].lower() == "p") if match[4] else int(match[1])
    return 3600.0 * hours + 60 * int(match[2]) + float(match[3] or 0)


def onwards(times_s: Sequence[float]) -> list[float]:
    """Times that run on past noon on a clock of twelve hours, and past midnight."""
    run, later_s = list[float](), 0.0
    for time_s in times_s:
        while run and time_s + later_s < run[-1] - HALF_DAY_S / 2:
            later_s += HALF_DAY_S
        run.append(time_s + later_s)
    return run


def lay_on_clock(film_s: Sequence[float], rows_s: Sequence[float]) -> dict[int, int]:
    """Index of a film -> index of its row, each once and in order, at the one difference of the clocks at which most fit.
    Empty where fewer than LEAST_LAID or half of them fit, or another difference fits about as well (reps at even intervals)."""
    if min(len(film_s), len(rows_s)) < LEAST_LAID:
        return {}
    film, rows = np.asarray(film_s, np.float64), np.asarray(rows_s, np.float64)
    near_s = NEAR_MINUTE_S if bool(np.all(rows % 60 == 0)) else NEAR_S
    apart = np.sort((rows - film[:, None]).ravel())
    together = np.searchsorted(apart, apart + near_s, "right") - np.arange(len(apart))
    tried: list[tuple[float, dict[int, int]]] = []
    for start in np.argsort(-together, kind="stable"):
        if together[start] < LEAST_LAID or len(tried) == 60:
            break
        offset_s = float(np.median(apart[start:start + together[start]]))
        tried.append(_in_order(film + offset_s, rows, near_s))
    if not tried:
        return {}
    best, laid = max(tried, key=lambda one: one[0])
    rival = max((score for score, other in tried if len(other.items() & laid.items()) < len(laid) / 2), default=0.0)
    enough = len(laid) >= max(LEAST_LAID, min(len(film), len(rows)) / 2)
    ahead = 0.0 if len(laid) == max(len(film), len(rows)) else LEAST_AHEAD
    return laid if enough and best >= max(STANDS_OUT * rival, rival + ahead) else {}


def _in_order(film_s: Array, rows_s: Array, near_s: float) -> tuple[float, dict[int, int]]:
    """(how well, pairs) of the best laying of one on the other that keeps both in the order of their times."""
    films, rows = np.argsort(film_s, kind="stable"), np.argsort(rows_s, kind="stable")
    gain = 1.0 - ((film_s[films][:, None] - rows_s[rows]) / near_s) ** 2
    total = np.zeros((len(films) + 1, len(rows) + 1))
    for i in range(len(films)):
        for j in range(len(rows)):
            total[i + 1, j + 1] = max(total[i, j + 1], total[i + 1, j], total[i, j] + gain[i, j])
    pairs, i, j = dict[int, int](), len(films), len(rows)
    while i and j:
        if total[i, j] == total[i - 1, j]:
            i -= 1
        elif total[i, j] == total[i, j - 1]:
            j -= 1
        else:
            i, j = i - 1, j - 1
            pairs[int(films[i])] = int(rows[j])
    return float(total[-1, -1]), pairs


def recorded(paths: Sequence[Path]) -> list[float | None]:
    """When each film was recorded, seconds since 1970 on its camera's clock, as its name says or else the file itself; None where
    neither does. The times of copies on this disk say nothing. Files are opened in a process of their own."""
    named = [_in_name(path) for path in paths]
    if all(time_s is not None for time_s in named):
        return named
    try:  # one clock for all: names and containers may differ by a time zone
        return [None if time_s is None else float(time_s)
                for time_s in json.loads(run_call(call_of(recorded_work, {"paths": [str(path) for path in paths]}), Limits()))]
    except WorkFailed:
        return named


def recorded_work(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """What the containers of `paths` say, a JSON list. Runs in a process of its own."""
    from vision.video import recorded_at

    found: list[float | None] = []
    for path in arguments["paths"]:
        tell(len(found) / len(arguments["paths"]), "when it was recorded")
        try:
            at = recorded_at(path)
        except (ValueError, OSError):
            at = None
        found.append(None if at is None else at.timestamp())
    return json.dumps(found).encode()


def _in_name(path: Path) -> float | None:
    match = IN_NAME.search(path.stem)
    try:
        return None if match is None else datetime(*(int(part) for part in match.groups()), tzinfo=UTC).timestamp()  # type: ignore[misc,arg-type]
    except ValueError:
        return None
