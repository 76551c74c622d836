"""Field diagrams of one rep for the meeting room and for print, as SVG, PNG or PDF; several moments as a strip."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure

from tagger.cutups.panel import PARTS, Drawn, check_parts, draw_panel, height_share
from tagger.cutups.shelf import drawn_rep
from tagger.cutups.whole_file import written_whole
from tagger.library import ClipArrays, StoredRep

FORMATS = (".png", ".svg", ".pdf")
PICTURE_DPI = 160
STRIP_AROUND_SNAP_S = (-1.0, 0.0, 1.5, 3.0)
PAPER: Any = {"font.family": "DejaVu Sans", "svg.fonttype": "path", "hatch.linewidth": 0.6, "svg.hashsalt": "deepthird"}


def write_diagram(stored: StoredRep, arrays: ClipArrays, path: Path, strip: bool = False) -> None:
    """Draw a rep of the library to a file: one page, or a `strip` of moments. Raises ValueError for a picture format that is
    not known or a rep that has no players on the field, OutputError for what the disk refuses."""
    check_format(path)
    drawn = drawn_rep(stored, arrays)
    save_figure(strip_diagram(drawn) if strip else field_diagram(drawn), path)


def check_format(path: Path) -> None:
    """Raise ValueError unless the name ends in one of FORMATS."""
    if path.suffix.lower() not in FORMATS:
        raise ValueError(f"{path}: no picture format; end the name in {', '.join(FORMATS)}")


def field_diagram(drawn: Drawn, parts: Sequence[str] = PARTS) -> Figure:
    """One page: where everybody stood at the snap and went until the end. Raises ValueError for an unknown part."""
    check_parts(parts)
    with rc_context(PAPER):
        figure = Figure(figsize=(9.0, 9.0 * height_share(drawn) + 0.5), layout="constrained")
        axes = figure.add_subplot()
        draw_panel(axes, drawn, drawn.end_s, parts)
        axes.set_title(drawn.title, loc="left", fontsize=11, fontweight="bold")
    return figure


def strip_diagram(drawn: Drawn, times_s: Sequence[float] | None = None, parts: Sequence[str] = PARTS) -> Figure:
    """Several moments side by side, each with the way that led there. `times_s` in the reading's clock; by default one
    second before the snap, the snap, and 1.5 s and 3 s after it, as far as the play lasts."""
    check_parts(parts)
    if times_s is None:
        inside = [drawn.snap_s + offset for offset in STRIP_AROUND_SNAP_S]
        times_s = [t for t in inside if drawn.play.time_s[0] - 0.5 <= t <= drawn.end_s + 0.5] or [drawn.snap_s]
    with rc_context(PAPER):
        figure = Figure(figsize=(5.4 * len(times_s), 5.4 * height_share(drawn) + 1.0), layout="constrained")
        for axes, time_s in zip(np.atleast_1d(figure.subplots(1, len(times_s))), times_s, strict=True):
            draw_panel(axes, drawn, time_s, parts)
            axes.set_title(f"{time_s - drawn.snap_s:+.1f} s" if time_s != drawn.snap_s else "snap", fontsize=11)
        figure.suptitle(drawn.title, x=0.01, ha="left", fontsize=12, fontweight="bold")
    return figure


def save_figure(figure: Figure, path: Path) -> None:
    """Write a figure whole, in the format of the name. Raises ValueError for another ending, OutputError for the disk's."""
    check_format(path)
    # Without a date the same rep gives the same file.
    undated = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}, ".png": {}}[path.suffix.lower()]
    with written_whole(path) as temporary, rc_context(PAPER):
        figure.savefig(temporary, dpi=PICTURE_DPI, metadata=undated, facecolor="white")
