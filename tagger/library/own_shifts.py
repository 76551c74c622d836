"""What a library's own finished reps taught about the machine's chances, kept as one file in its folder."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from tagger.football.shift import OwnShifts, Shift

FILE_NAME = "calibration.json"
FORMAT = "deepthird-calibration/1"


def load_shifts(folder: Path) -> OwnShifts:
    """The shifts of the library in `folder`; none where it has not been calibrated. Raises ValueError with one line where the
    file is damaged."""
    path = folder / FILE_NAME
    if not path.exists():
        return OwnShifts()
    try:
        value = json.loads(path.read_text(encoding="utf-8"))
        if value["format"] != FORMAT:
            raise ValueError(f"format {value['format']!r}, wanted {FORMAT!r}")
        return shifts_from_json(value["shifts"])
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        what = " ".join(f"{error}".split())
        raise ValueError(f"{path}: cannot be read ({what}); delete it, or run deepthird calibrate again") from None


def save_shifts(folder: Path, own: OwnShifts, reps: int) -> Path:
    """Keep the shifts that `reps` finished reps taught; returns the file."""
    path = folder / FILE_NAME
    whole = path.with_suffix(".part")
    value = {"format": FORMAT, "finished_reps": reps, "shifts": asdict(own)}
    whole.write_text(json.dumps(value, indent=1) + "\n", encoding="utf-8")
    whole.replace(path)
    return path


def forget_shifts(folder: Path) -> bool:
    """Go back to the shipped chances; False where there was nothing to forget."""
    path = folder / FILE_NAME
    found = path.exists()
    path.unlink(missing_ok=True)
    return found


def shifts_from_json(value: Mapping[str, Any]) -> OwnShifts:
    """The inverse of `dataclasses.asdict`. Raises ValueError on a power that is no positive number."""
    shifts = {}
    for name in (field.name for field in fields(OwnShifts)):
        power = float(value[name]["power"])
        bias = {str(word): float(b) for word, b in value[name]["log_bias"].items()}
        if not 0.0 < power < 100.0 or not all(abs(b) < 100.0 for b in bias.values()):
            raise ValueError(f"{name}: power {power:g} or a bias is out of range")
        shifts[name] = Shift(power, bias)
    return OwnShifts(**shifts)
