"""The report's part on defenders: reps, tasks, events and their margins over time."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from tagger.cutups.charts import margins_over_time
from tagger.cutups.page import Cell, Section, Table
from tagger.cutups.proportions import FEW
from tagger.cutups.rep_lists import RepLists
from tagger.library import Library, RepSummary

KINDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("lost leverage", ("leverage-lost-over-top", "leverage-lost-inside", "leverage-lost-outside")),
    ("late", ("late-rotation", "late-to-landmark")),
    ("bust", ("bust-empty-zone", "bust-two-in-zone", "bust-called")),
)
TASKS_SHOWN = 3
CHARTED = 12
"""Charts for this many defenders, those with the most reps."""


@dataclass
class Man:
    """One defender over all reps: by his number where it is known, else by his slot. `tasks` counts what he did longest in
    each rep; `events` are (kind, rep number, margin)."""

    name: str
    condition: str
    reps: dict[int, RepSummary] = field(default_factory=dict)
    tasks: Counter[str] = field(default_factory=Counter)
    events: list[tuple[str, int, float | None]] = field(default_factory=list)

    def cushions(self) -> list[tuple[int, float]]:
        """(rep number, yards) of every man he carried, and below zero of every man who got past him."""
        signs = {"carried": 1.0, **dict.fromkeys(KINDS[0][1], -1.0)}
        return [(rep, signs[kind] * abs(yd)) for kind, rep, yd in self.events if kind in signs and yd is not None]


def defenders_section(library: Library, reps: Sequence[RepSummary], lists: RepLists) -> Section:
    """Each defender's reps, tasks and events, with the share of his reps that have one."""
    men = sorted(collect(library, reps), key=lambda man: (-len(man.reps), man.name))
    rows = [_row(man, lists) for man in men]
    order = {rep.rep_id: index for index, rep in enumerate(sorted(reps, key=lambda rep: rep.rep_id), 1)}
    lines = [(man.name, sorted(order[rep] for rep in man.reps), [(order[rep], yd) for rep, yd in man.cushions()])
             for man in men[:CHARTED]]
    note = ("A man goes by his number where it is known, else by his slot, which may be several men. Shares: reps with at least "
            "one such event, of his reps. Cushion: yards to a receiver whom he carried; below zero, yards by which leverage was "
            "lost.")
    columns = ("defender", "reps", "tasks", *(name for name, _ in KINDS), "cushion, median", "cushion, least")
    return Section("defenders", "Defenders", note, (Table(columns, tuple(rows)),), margins_over_time(lines),
                   "Cushions of each defender over time; a line for each man, a tick for each of his reps")


def collect(library: Library, reps: Sequence[RepSummary]) -> list[Man]:
    """Every defender of these reps."""
    chosen = {rep.rep_id: rep for rep in reps}
    men: dict[str, Man] = {}
    man_of: dict[tuple[int, str], Man] = {}
    for rep_id, player, slot, number, name in library.sql(
            "SELECT rep_id, player_id, slot, number, roster_name FROM defenders ORDER BY rep_id")[1]:
        if rep_id not in chosen or not (number or slot):
            continue
        condition = f"number:{number}" if number else f"slot:{slot}"
        shown = f"#{number} {name or ''}".strip() if number else slot
        man = men.setdefault(condition, Man(shown, condition))
        man.reps[rep_id] = chosen[rep_id]
        man_of[rep_id, player] = man
    _add_tasks(library, man_of)
    for rep_id, player, kind, margin in library.sql("SELECT rep_id, player_id, kind, margin_yd FROM events ORDER BY rep_id")[1]:
        if (rep_id, player) in man_of:
            man_of[rep_id, player].events.append((kind, rep_id, margin))
    return list(men.values())


def _add_tasks(library: Library, man_of: dict[tuple[int, str], Man]) -> None:
    lasted: dict[tuple[int, str], Counter[str]] = defaultdict(Counter)
    for rep_id, player, task, area, duration_s in library.sql(
            "SELECT rep_id, player_id, assignment, area, duration_s FROM assignments")[1]:
        if (rep_id, player) in man_of:
            lasted[rep_id, player][f"{task} {area or ''}".strip()] += duration_s
    for key, tasks in lasted.items():
        man_of[key].tasks[tasks.most_common(1)[0][0]] += 1


def _row(man: Man, lists: RepLists) -> tuple[Cell, ...]:
    reps = list(man.reps.values())
    tasks = ", ".join(f"{task} {count}" for task, count in man.tasks.most_common(TASKS_SHOWN)) or "not told"
    row = [Cell(man.name), lists.cell(str(len(reps)), reps, man.condition, man.name), Cell(tasks)]
    for name, kinds in KINDS:
        with_event = {rep for kind, rep, _ in man.events if kind in kinds}
        search = f"event({man.condition} event:{','.join(kinds)})"
        row.append(lists.share([man.reps[rep] for rep in sorted(with_event)], reps, search, f"{man.name}, {name}"))
    cushions = man.cushions()
    if cushions:
        rep, least = min(cushions, key=lambda pair: pair[1])
        words = f"{median(yd for _, yd in cushions):.1f} yd of {len(cushions)}"
        row += [Cell(words, None, len(cushions) < FEW), Cell(f"{least:.1f} yd, {man.reps[rep].name}")]
    else:
        row += [Cell(""), Cell("")]
    return tuple(row)
