"""The report's charts, as SVG to stand in the page. Colour and hatch together, so that they read in black and white."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.figure import Figure

from tagger.cutups.palette import BLACK, BLUE, GREEN, GREY, ORANGE, PURPLE, SKY_BLUE, VERMILLION, YELLOW

FAMILY_LOOKS: dict[str, tuple[str, str]] = {
    "cover-0": (VERMILLION, "xx"), "cover-1": (ORANGE, "//"), "cover-2": (SKY_BLUE, "\\\\"), "tampa-2": (SKY_BLUE, "++"),
    "cover-2-man": (YELLOW, "//"), "cover-3": (BLUE, ""), "cover-4": (GREEN, ".."), "cover-6": (PURPLE, "||"),
    "unknown": ("#FFFFFF", ""),
}
STYLE: Any = {
    "font.family": "DejaVu Sans", "font.size": 9, "svg.fonttype": "path", "svg.hashsalt": "deepthird", "hatch.linewidth": 0.5,
    "text.parse_math": False, "axes.spines.top": False, "axes.spines.right": False,
}


def family_bars(rows: Sequence[tuple[str, dict[str, int]]]) -> Markup:
    """A bar for each (name, counts by family), divided by family in shares; nothing for no rows."""
    rows = [(name, counts) for name, counts in rows if sum(counts.values())]
    if not rows:
        return Markup()
    with rc_context(STYLE):
        figure = Figure(figsize=(8.6, 0.9 + 0.34 * len(rows)), layout="constrained")
        axes = figure.add_subplot()
        for line, (_, counts) in enumerate(rows):
            left, total = 0.0, sum(counts.values())
            for family, (colour, hatch) in FAMILY_LOOKS.items():
                share = counts.get(family, 0) / total
                if share:
                    axes.barh(line, share, left=left, color=colour, hatch=hatch, edgecolor=BLACK, lw=0.6, height=0.7)
                    left += share
        axes.set_yticks(range(len(rows)), [f"{name}  (n = {sum(counts.values())})" for name, counts in rows])
        axes.invert_yaxis()
        axes.set_xlim(0, 1)
        axes.set_xticks([0, 0.25, 0.5, 0.75, 1.0], ["0", "25%", "50%", "75%", "100%"])
        shown = [family for family in FAMILY_LOOKS if any(counts.get(family) for _, counts in rows)]
        keys: Any = [axes.barh(0, 0, color=FAMILY_LOOKS[f][0], hatch=FAMILY_LOOKS[f][1], edgecolor=BLACK, lw=0.6) for f in shown]
        figure.legend(keys, shown, loc="outside upper left", ncols=min(len(shown), 6), frameon=False, handlelength=2.2,
                      handleheight=1.1)
        return _svg(figure)


def margins_over_time(lines: Sequence[tuple[str, Sequence[int], Sequence[tuple[int, float]]]]) -> Markup:
    """For each (man, numbers of his reps in order, (rep number, margin in yd) of his events): a rug of his reps and a mark for
    each event at its margin."""
    lines = [line for line in lines if line[2]]
    if not lines:
        return Markup()
    with rc_context(STYLE):
        figure = Figure(figsize=(8.6, 1.25 * len(lines) + 0.4), layout="constrained")
        panels = figure.subplots(len(lines), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
        lowest = min(0.0, *(margin for line in lines for _, margin in line[2]))
        for axes, (man, reps, events) in zip(panels, lines, strict=True):
            axes.plot(list(reps), [lowest - 0.4] * len(reps), "|", color=GREY, ms=5)
            axes.vlines([rep for rep, _ in events], 0, [margin for _, margin in events], color=GREY, lw=0.8)
            axes.plot(*zip(*events, strict=True), "o", color=VERMILLION, mec=BLACK, mew=0.6, ms=5)
            axes.axhline(0, color=BLACK, lw=0.6)
            axes.set_ylabel(man, rotation=0, ha="right", va="center")
        panels[-1].set_xlabel("rep, in the order of the film; height: cushion in yards, below zero: leverage lost")
        return _svg(figure)


def _svg(figure: Figure) -> Markup:
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None})
    text = out.getvalue()
    return Markup(text[text.index("<svg") :])
