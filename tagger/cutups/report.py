"""The report: what we showed and played, called against played, and each defender's reps; every number with its reps."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tagger.cutups.charts import FAMILY_LOOKS, family_bars
from tagger.cutups.page import Cell, Page, RepLine, Section, Table
from tagger.cutups.proportions import FEW
from tagger.cutups.rep_lists import RepLists
from tagger.cutups.report_defenders import defenders_section
from tagger.cutups.slate import situation_words
from tagger.football.types import Situation
from tagger.football.vocabulary import FAMILIES, SHELLS, UNKNOWN
from tagger.library import Library, Query, RepSummary
from tagger.library.query import All, Condition, parse, written

DISTANCES: tuple[tuple[str, str, Callable[[float], bool]], ...] = (
    ("short (1-3)", "distance<=3", lambda yd: yd <= 3),
    ("medium (4-6)", "distance>3 distance<7", lambda yd: 3 < yd < 7),
    ("long (7+)", "distance>=7", lambda yd: yd >= 7),
)
"""Distance groups: common practice, no source."""
DOWN_WORDS = {1: "1st", 2: "2nd", 3: "3rd", 4: "4th"}
ZONES = ("backed-up", "minus", "plus", "red", "goal-line")


@dataclass(frozen=True)
class Group:
    """A line of a table: reps that belong together and the search that finds them."""

    name: str
    search: str
    reps: list[RepSummary]


def build_page(library: Library, query: Query, title: str = "Coverage report") -> Page:
    """The report of the reps that fit a query. Raises ValueError if none does."""
    reps = library.search(query)
    if not reps:
        raise ValueError("report: no rep fits; loosen the search, or tag film first")
    base = "" if query == All() else written(query)
    lists = RepLists(base)
    sections = [
        families_section("down-and-distance", "By down and distance", by_down(reps), lists),
        families_section("sets", "By set", by_set(reps), lists),
        families_section("field-zones", "By field zone", by_zone(reps), lists),
        disguise_section(reps, lists),
        called_section(reps, lists),
        defenders_section(library, reps, lists),
    ]
    lines = tuple(RepLine(rep.rep_id, rep.name, _rep_cells(rep)) for rep in reps)
    made_at = datetime.datetime.now().astimezone().strftime("%Y-%m-%d %H:%M")
    return Page(title, base, made_at, _summary(reps), tuple(s for s in sections if s), REP_COLUMNS, lines,
                tuple(lists.lists.values()), FEW)


REP_COLUMNS = ("situation", "set", "shown", "played", "sure", "called", "review")


def _rep_cells(rep: RepSummary) -> tuple[str, ...]:
    situation = Situation(down=rep.down, distance_yd=rep.distance_yd, hash=rep.hash, yards_to_goal=rep.yards_to_goal)
    sure = "coach" if rep.family_source == "coach" else f"{rep.family_confidence:.0%}" if rep.family != UNKNOWN else ""
    played = f"{rep.family} {rep.variant or ''}".strip()
    return situation_words(situation), rep.set_name or "", rep.shell or "", played, sure, rep.call or "", rep.review_state


def _summary(reps: Sequence[RepSummary]) -> tuple[tuple[str, str], ...]:
    told = [rep for rep in reps if rep.family != UNKNOWN]
    reviewed = [rep for rep in reps if rep.review_state in ("reviewed", "corrected")]
    sure = sum(rep.family_confidence for rep in told) / len(told) if told else None
    return (
        ("reps", str(len(reps))),
        ("coverage told", f"{len(told)} of {len(reps)}; runs, screens and quick throws have none"),
        ("mean probability", "none" if sure is None else f"{sure:.0%}: about so many of the told coverages are right"),
        ("looked at by a coach", f"{len(reviewed)} of {len(reps)}"),
    )


def by_down(reps: Sequence[RepSummary]) -> list[Group]:
    """Each down, from the second on split by distance; reps without a script come last."""
    groups = [Group("1st", "down:1", [rep for rep in reps if rep.down == 1])]
    for down in (2, 3, 4):
        of_down = [rep for rep in reps if rep.down == down]
        for words, search, fits in DISTANCES:
            chosen = [rep for rep in of_down if rep.distance_yd is not None and fits(rep.distance_yd)]
            groups.append(Group(f"{DOWN_WORDS[down]}, {words}", f"down:{down} {search}", chosen))
        groups.append(Group(f"{DOWN_WORDS[down]}, distance not known", f"down:{down} distance:none",
                            [rep for rep in of_down if rep.distance_yd is None]))
    groups.append(Group("not in the script", "down:none", [rep for rep in reps if rep.down is None]))
    return [group for group in groups if group.reps]


def by_set(reps: Sequence[RepSummary]) -> list[Group]:
    """Each set, the most frequent first."""
    counts = Counter(rep.set_name for rep in reps)
    groups = []
    for name, _ in counts.most_common():
        chosen = [rep for rep in reps if rep.set_name == name]
        search = written(Condition("set", ":", (name,))) if name else "set:none"
        groups.append(Group(name or "not told", search, chosen))
    return groups


def by_zone(reps: Sequence[RepSummary]) -> list[Group]:
    """Each field zone, from the own goal line on."""
    groups = [Group(zone, f"zone:{zone}", [rep for rep in reps if rep.field_zone == zone]) for zone in ZONES]
    groups.append(Group("not in the script", "zone:none", [rep for rep in reps if rep.field_zone is None]))
    return [group for group in groups if group.reps]


def families_section(key: str, title: str, groups: Sequence[Group], lists: RepLists) -> Section:
    """What was played in each group, of the reps whose coverage is told."""
    families = [f for f in FAMILIES if any(rep.family == f for group in groups for rep in group.reps)]
    rows, bars = [], []
    for group in groups:
        told = [rep for rep in group.reps if rep.family != UNKNOWN]
        row = [Cell(group.name), lists.count(group.reps, group.search, group.name),
               lists.count(told, f"{group.search} not family:unknown", f"{group.name}, coverage told")]
        for family in families:
            part = [rep for rep in told if rep.family == family]
            row.append(lists.share(part, told, f"{group.search} family:{family}", f"{group.name}, {family}"))
        rows.append(tuple(row))
        bars.append((group.name, {family: sum(rep.family == family for rep in told) for family in FAMILY_LOOKS}))
    return Section(key, title, "Shares are of the reps whose coverage is told.",
                   (Table(("", "reps", "told", *families), tuple(rows)),),
                   family_bars(bars), f"{title}: share of each coverage; the same numbers stand in the table below")


def disguise_section(reps: Sequence[RepSummary], lists: RepLists) -> Section:
    """Shell shown against family played, and how often another structure was shown."""
    told = [rep for rep in reps if rep.family != UNKNOWN and rep.shell]
    families = [f for f in FAMILIES if any(rep.family == f for rep in told)]
    rows = []
    for shell in SHELLS:
        shown = [rep for rep in told if rep.shell == shell]
        if not shown:
            continue
        row = [Cell(shell), lists.count(shown, f"shell:{shell} not family:unknown", f"{shell} shown")]
        for family in families:
            part = [rep for rep in shown if rep.family == family]
            row.append(lists.share(part, shown, f"shell:{shell} family:{family}", f"{shell} shown, {family} played"))
        rows.append(tuple(row))
    rates = []
    for group in [Group("all", "", told), *by_down(told)]:
        search = f"{group.search} disguised:yes shell:{','.join(SHELLS)} not family:unknown".strip()
        part = [rep for rep in group.reps if rep.disguised]
        rates.append((Cell(group.name), lists.share(part, group.reps, search, f"disguised, {group.name}")))
    return Section("disguise", "Shown and played", "Disguised: another structure was shown at the snap than the one played.",
                   (Table(("shown", "reps", *families), tuple(rows)), Table(("", "disguised"), tuple(rates))))


def called_family(call: str) -> str | None:
    """The family that a call of the script names, as in "Cover 3 Sky"; None where it names none."""
    text = "-".join(call.lower().replace("_", " ").replace("-", " ").split())
    named = [family for family in FAMILIES if f"-{family}-" in f"-{text}-"]
    return max(named, key=len) if named else None


def called_section(reps: Sequence[RepSummary], lists: RepLists) -> Section | None:
    """Each call of the script against what was played; nothing without calls."""
    rows = []
    for call, _ in Counter(rep.call for rep in reps if rep.call).most_common():
        assert call is not None
        called = [rep for rep in reps if rep.call == call]
        told = [rep for rep in called if rep.family != UNKNOWN]
        family = called_family(call)
        search = _call_search(call)
        row = [Cell(call), lists.count(called, search, f"called {call}")]
        if family:
            as_called = [rep for rep in told if rep.family == family]
            other = [rep for rep in told if rep.family != family]
            row += [lists.share(as_called, told, f"{search} family:{family}", f"called {call}, played so"),
                    lists.cell(_played(other), other, f"{search} not family:{family},unknown", f"called {call}, not played")]
        else:
            row += [Cell("the call names no family"),
                    lists.cell(_played(told), told, f"{search} not family:unknown", f"called {call}, coverage told")]
        unknown = [rep for rep in called if rep.family == UNKNOWN]
        row.append(lists.cell(str(len(unknown)), unknown, f"{search} family:unknown", f"called {call}, cannot tell"))
        rows.append(tuple(row))
    if not rows:
        return None
    return Section("called", "Called and played", "By family only: the men's own tasks stand in each rep.",
                   (Table(("called", "reps", "played as called", "played otherwise", "cannot tell"), tuple(rows)),))


def _call_search(call: str) -> str:
    plain = "".join("*" if letter in ',"*' else letter for letter in call)
    return written(parse(f'call:"{plain}"'))


def _played(reps: Sequence[RepSummary]) -> str:
    counts = Counter(rep.family for rep in reps)
    return ", ".join(f"{family} {count}" for family, count in counts.most_common()) or "none"
