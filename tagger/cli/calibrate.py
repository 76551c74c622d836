"""deepthird calibrate: how sure the machine may be on this club's film, learned from the reps that a coach has finished."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tagger.cli.console import print_json, print_table, progress, say
from tagger.cli.options import json_option, library_option

if TYPE_CHECKING:
    from tagger.calibration import Outcome


@click.command("calibrate")
@library_option
@click.option("--forget", is_flag=True, help="Go back to the shipped chances.")
@json_option
def calibrate_command(library: Path, forget: bool, as_json: bool) -> int:
    """Refit the chances on the reps that a coach has finished in the review page.

    Every rep is judged by numbers that were learned without it; what does not tell held-out reps better is left as it was. What
    does is kept in the library's folder and used from the next tagging on.
    """
    from tagger.calibration import calibrate, finished_cases
    from tagger.library import Library
    from tagger.library.own_shifts import forget_shifts, save_shifts

    if forget:
        say("the shipped chances are back" if forget_shifts(library) else f"{library}: was not calibrated")
        return 0
    with Library.open(library, read_only=True) as kept, progress(1, "reading") as tell:
        cases, reps = finished_cases(kept, tell)
    own, outcomes = calibrate(cases)
    path = save_shifts(library, own, reps)
    if as_json:
        print_json({"finished_reps": reps, "file": str(path), "told": [_value(one) for one in outcomes]})
        return 0
    print_table(("what", "reps", "log loss before", "after", "then"), [_row(one) for one in outcomes],
                f"{reps} finished reps, each judged by numbers learned without it")
    if any(one.kept for one in outcomes):
        say(f"kept in {path}; the next tagging uses it (deepthird calibrate --forget takes it back)")
    else:
        say("nothing was better on held-out reps: the chances stay as they are")
    return 0


def _value(one: Outcome) -> dict[str, object]:
    return {"what": one.what, "reps": one.reps, "log_loss_before": one.before, "log_loss_after": one.after,
            "gain_error": one.gain_error, "kept": one.kept, "power": one.shift.power, "log_bias": dict(one.shift.log_bias)}


def _row(one: Outcome) -> tuple[object, ...]:
    name = one.what.replace("_", " ")
    if not one.kept:
        return name, one.reps, f"{one.before:.3f}", f"{one.after:.3f}", "left as it was: not surely better"
    sure = "less sure" if one.shift.power < 1.0 else "surer"
    return name, one.reps, f"{one.before:.3f}", f"{one.after:.3f}", f"kept: {sure} (power {one.shift.power:.2f}){_lean(one)}"


def _lean(one: Outcome) -> str:
    """The word that this club's film leans to most."""
    word = max(one.shift.log_bias, key=lambda w: one.shift.log_bias[w], default="")
    leans = word and one.what in ("family", "play_kind", "shell") and one.shift.log_bias[word] > 0.2
    return f", leans to {word}" if leans else ""
