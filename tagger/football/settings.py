"""The trade's thresholds (models/football.toml), checked when loaded."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any

import models

FORMAT = "deepthird-football/1"


@dataclass(frozen=True)
class FormationSettings:
    attached_end_yd: float
    attached_depth_yd: float
    back_depth_yd: float
    back_split_yd: float
    stack_across_yd: float
    stack_depth_yd: float
    bunch_across_yd: float
    condensed_split_yd: float
    release_yd: float
    release_s: float


@dataclass(frozen=True)
class ShellSettings:
    inside_yd: float
    level_share: float
    deep_yd: float
    shallow_deep_yd: float
    press_yd: float
    box_depth_yd: float
    box_outside_yd: float


@dataclass(frozen=True)
class MotionSettings:
    still_speed_yd_s: float
    least_travel_yd: float
    set_before_snap_s: float
    settled_yd: float
    ran_with_share: float
    early_share: float
    bump_yd: float
    answer_depth_yd: float


@dataclass(frozen=True)
class DeepSettings:
    beaten_yd: float
    beaten_s: float
    crossed_yd: float
    crossed_s: float
    near_yd: float
    vertical_yd: float


@dataclass(frozen=True)
class EventSettings:
    break_reach_yd: float
    break_speed_yd_s: float
    break_gain_yd: float
    break_speed_up_yd_s: float
    break_ran_yd_s: float
    carried_depth_yd: float
    carried_near_yd: float
    carried_speed_yd_s: float
    carried_s: float
    passed_speed_yd_s: float
    stress_s: float
    low_yd: float
    high_yd: float
    high_reach_yd: float
    levels_yd: float
    high_low_s: float
    landmark_s: float
    short_yd: float
    rotation_yd: float
    backpedal_yd: float
    bust_open_yd: float


@dataclass(frozen=True)
class Settings:
    """One table of the file each; the file says unit and reason of every number."""

    formation: FormationSettings
    shell: ShellSettings
    motion: MotionSettings
    deep: DeepSettings
    events: EventSettings


TABLES: dict[str, Any] = {"formation": FormationSettings, "shell": ShellSettings, "motion": MotionSettings,
                          "deep": DeepSettings, "events": EventSettings}


def parse_settings(text: str, source: str = "football.toml") -> Settings:
    """Read the settings. Raises ValueError with one line (where, what, what to do) on a missing, unknown or senseless entry."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{source}: not valid TOML ({error}); mend the line or restore the shipped file") from None
    if data.pop("format", None) != FORMAT:
        raise ValueError(f"{source}: wants the line format = \"{FORMAT}\"")
    unknown = sorted(data.keys() - TABLES.keys())
    if unknown:
        raise ValueError(f"{source}: unknown table [{unknown[0]}]; known are {', '.join(TABLES)}")
    return Settings(**{name: _table(data.get(name, {}), kind, f"{source}: [{name}]") for name, kind in TABLES.items()})


def _table(entries: dict[str, Any], kind: Any, where: str) -> Any:
    wanted = [f.name for f in fields(kind)]
    for name in entries:
        if name not in wanted:
            raise ValueError(f"{where} {name}: unknown; known are {', '.join(wanted)}")
    for name in wanted:
        value = entries.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"{where} {name}: {'missing' if value is None else repr(value)}, wanted a number")
        if not 0 <= value <= 60:
            raise ValueError(f"{where} {name}: {value}, wanted 0 to 60")
    return kind(**{name: float(entries[name]) for name in wanted})


@lru_cache(maxsize=1)
def shipped_settings() -> Settings:
    """The settings of this installation's models folder."""
    return parse_settings(models.path("football.toml").read_text(encoding="utf-8"))
