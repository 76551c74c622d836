"""deepthird show: one rep's timeline in the terminal."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tagger.cli.console import percent, print_json, say
from tagger.cli.options import json_option, library_option

if TYPE_CHECKING:
    from tagger.football.types import Defender, Reading
    from tagger.library import StoredRep
    from tagger.library.store import RosterEntry

BEFORE_SNAP_S = 0.5
NARROWEST_LANE = 24


@click.command("show")
@click.argument("rep")
@library_option
@click.option("--picture", type=click.Path(dir_okay=False, path_type=Path), help="Write the field diagram (.png, .svg or .pdf).")
@click.option("--strip", is_flag=True, help="Draw several moments side by side.")
@json_option
def show_command(rep: str, library: Path, picture: Path | None, strip: bool, as_json: bool) -> int:
    """Show one rep: every defender's timeline, the reasons, the family over time."""
    from tagger.library import Library, reading_to_json

    with Library.open(library, read_only=True) as kept:
        stored = kept.rep(kept.rep_id(rep))
        names = roster_names(stored, kept.roster())
        if picture is not None:
            from tagger.cutups.diagram import write_diagram

            write_diagram(stored, kept.arrays(stored.main_clip.clip_id), picture, strip)
            say(f"{picture} written")
    if as_json:
        print_json({
            "rep": stored.summary.name, "rep_id": stored.summary.rep_id, "situation": asdict(stored.situation),
            "clips": [{"path": str(c.path), "view": c.view, "is_main": c.is_main, "snap_s": c.snap_s,
                       "solved_share": c.solved_share, "yard_line_known": c.yard_line_known} for c in stored.clips],
            **reading_to_json(stored.reading), "verdicts": list(stored.verdicts), "numbers": dict(stored.numbers),
            "roster_names": names, "by_coach": sorted(stored.by_coach), "corrections": [asdict(c) for c in stored.corrections]})
    else:
        click.echo(timeline(stored, shutil.get_terminal_size((120, 40)).columns))
    return 0


def roster_names(stored: StoredRep, roster: Iterable[RosterEntry]) -> dict[str, str]:
    """Player -> his name, where the number on his shirt is on his side's roster."""
    name = {(entry.number, entry.side): entry.name for entry in roster}
    defenders = {defender.player_id for defender in stored.reading.defenders}
    found = {player: name.get((number, "defense" if player in defenders else "offense"))
             for player, number in stored.numbers.items()}
    return {player: told for player, told in found.items() if told is not None}


def timeline(stored: StoredRep, width: int) -> str:
    """The whole page as text, no line wider than `width` except for reasons."""
    reading = stored.reading
    lines = [*_heading(stored), ""]
    start_s, end_s = span(reading)
    if reading.defenders and end_s > start_s:
        label_width = max(len(_label(d, stored)) for d in reading.defenders) + 2
        lane_width = max(NARROWEST_LANE, width - label_width)
        lines.append(" " * label_width + ruler(start_s, end_s, reading.snap_s, lane_width))
        for defender in reading.defenders:
            pieces = [(i.start_s, i.end_s, _word(i.assignment, i.area, i.receiver)) for i in defender.intervals]
            shown = lane(pieces, start_s, end_s, lane_width) or "left open"
            lines.append(_label(defender, stored).ljust(label_width) + shown)
        lines.append("")
    lines += _family_lines(reading) + _event_lines(stored) + _why_lines(stored)
    return "\n".join(line.rstrip() for line in lines)


def span(reading: Reading) -> tuple[float, float]:
    """(start, end) in s of what the lanes show."""
    times = [t for d in reading.defenders for i in d.intervals for t in (i.start_s, i.end_s)]
    if reading.snap_s is not None:
        times.append(reading.snap_s - BEFORE_SNAP_S)
    if reading.end_s is not None:
        times.append(reading.end_s)
    return (min(times), max(times)) if times else (0.0, 0.0)


def lane(pieces: list[tuple[float, float, str]], start_s: float, end_s: float, width: int) -> str:
    """One line: each piece from its start to its end as `|word---`, cut where there is no room."""
    cells = [" "] * width
    for a_s, b_s, word in pieces:
        first = round((a_s - start_s) / (end_s - start_s) * width)
        last = round((b_s - start_s) / (end_s - start_s) * width)
        first, last = max(0, min(first, width - 1)), max(0, min(last, width))
        text = ("|" + word).ljust(last - first, "-")[: max(1, last - first)]
        cells[first:first + len(text)] = text
    return "".join(cells[:width]).rstrip()


def ruler(start_s: float, end_s: float, snap_s: float | None, width: int) -> str:
    """Whole seconds counted from the snap (from the clip's start without one)."""
    zero = snap_s if snap_s is not None else 0.0
    cells = [" "] * width
    for second in range(-60, 61):
        at = round((zero + second - start_s) / (end_s - start_s) * width)
        word = ("snap" if second == 0 and snap_s is not None else f"{second:+d}" if snap_s is not None else f"{second} s")
        if 0 <= at <= width - len(word):
            cells[at:at + len(word)] = word
    return "".join(cells).rstrip()


def _label(defender: Defender, stored: StoredRep) -> str:
    number = stored.numbers.get(defender.player_id)
    mark = "*" if f"defender:{defender.player_id}" in stored.by_coach else ""
    return f"{defender.slot or '?'} {'#' + number if number else defender.player_id}{mark}"


def _word(assignment: str, area: str | None, receiver: str | None) -> str:
    return " ".join(word for word in (assignment, area, receiver) if word)


def _heading(stored: StoredRep) -> list[str]:
    from tagger.library import likeliest

    reading, summary = stored.reading, stored.summary
    shell, kind = likeliest(reading.shell), likeliest(reading.play_kind)
    by = "coach" if summary.family_source == "coach" else percent(summary.family_confidence)
    situation = ", ".join(f"{name.removesuffix('_yd').replace('_', ' ')} {value:g}" if isinstance(value, float)
                          else f"{name} {value}" for name, value in asdict(stored.situation).items() if value is not None)
    formation = reading.formation
    return [line for line in (
        f"{summary.name}  ({', '.join(f'{c.view}: {c.path.name}' for c in stored.clips)})",
        situation,
        f"family {summary.family} {reading.variant or ''}".rstrip() + (f" ({by})" if summary.family != "unknown" else "") +
        (f", shell {shell[0]} ({percent(shell[1])})" if shell else "") + (f", {kind[0]}" if kind else "") +
        (f", snap at {reading.snap_s:.2f} s" if reading.snap_s is not None else ""),
        "" if formation is None else f"offense {formation.set_name}, strength {formation.strength}"
        + (f", {', '.join(formation.features)}" if formation.features else ""),
    ) if line]


def _family_lines(reading: Reading) -> list[str]:
    if not reading.family_over_time:
        return []
    lines = ["family over time"]
    zero = reading.snap_s or 0.0
    for at in reading.family_over_time:
        likely = sorted(at.family.items(), key=lambda pair: -pair[1])[:3]
        lines.append(f"  {at.time_s - zero:+5.1f} s  " + ", ".join(f"{family} {percent(p)}" for family, p in likely))
    return [*lines, ""]


def _event_lines(stored: StoredRep) -> list[str]:
    lines = []
    zero = stored.reading.snap_s or 0.0
    slots = {d.player_id: d.slot for d in stored.reading.defenders}
    for event, verdict in zip(stored.reading.events, stored.verdicts, strict=True):
        who = slots.get(event.player_id or "") or event.player_id or ""
        parts: list[Any] = [event.kind, who, f"against {event.against}" if event.against else "",
                            f"{event.margin_yd:+.1f} yd" if event.margin_yd is not None else "", percent(event.confidence),
                            "" if verdict == "open" else verdict]
        lines.append(f"  {event.start_s - zero:+5.1f} s  {' '.join(str(p) for p in parts if p)}: {event.why}")
    return ["events", *lines, ""] if lines else []


def _why_lines(stored: StoredRep) -> list[str]:
    reading = stored.reading
    lines = [f"  {what}: {why}" for what, why in (("shell", reading.shell_why), ("family", reading.family_why)) if why]
    lines += [f"  {d.slot or d.player_id}: {i.assignment}{' ' + i.area if i.area else ''} ({percent(i.confidence)}) {i.why}"
              for d in reading.defenders for i in d.intervals]
    left_open = [f"  {a.what}: {a.why}" for a in reading.abstained]
    return (["why", *lines, ""] if lines else []) + (["left open", *left_open] if left_open else [])
