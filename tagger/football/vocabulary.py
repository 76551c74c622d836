"""The words of the trade that every room uses. Strings, so that they read the same in JSON, SQL and on the page.

Terms and their meaning: common practice, no source.
"""

from __future__ import annotations

FAMILIES = ("cover-0", "cover-1", "cover-2", "tampa-2", "cover-2-man", "cover-3", "cover-4", "cover-6")
UNKNOWN = "unknown"
SHELLS = ("zero-high", "one-high", "two-high")
MAN_FAMILIES = ("cover-0", "cover-1", "cover-2-man")
PLAY_KINDS = ("pass", "run", "screen", "quick")
"""`quick`: the ball was out before anyone could reach a landmark; like a run or a screen it has no coverage grade."""

DEEP_ASSIGNMENTS = ("deep-third", "deep-half", "deep-quarter")
UNDER_ASSIGNMENTS = ("curl-flat", "hook-curl", "middle-hook", "flat", "robber")
ASSIGNMENTS = (*DEEP_ASSIGNMENTS, *UNDER_ASSIGNMENTS, "man", "rush", "spy", "run-fit")
AREAS = ("left", "left-outside", "left-inside", "middle", "right-inside", "right-outside", "right")
"""Left and right are the offense's. Thirds: left, middle, right. Halves, flats, curl-flats and hooks: left, right.
Quarters: left-outside, left-inside, right-inside, right-outside. None for man, rush, spy and run-fit."""

TECHNIQUE_PHASES = ("aligned", "shifted", "read", "drop", "rush", "at-landmark", "carry", "pass-off", "match", "break", "pursuit")
EVENT_KINDS = ("leverage-lost-over-top", "leverage-lost-inside", "leverage-lost-outside", "high-low-stress", "vertical-stress",
               "carried", "passed-off", "break", "late-rotation", "late-to-landmark", "disguise", "bust-empty-zone",
               "bust-two-in-zone", "bust-short-rush", "bust-called")
FORMATION_FEATURES = ("bunch-left", "bunch-right", "stack-left", "stack-right", "condensed-left", "condensed-right",
                      "attached-end-left", "attached-end-right", "empty")
MOTION_ANSWERS = ("ran-with", "bumped", "stayed")
PERIODS = ("team", "seven-on-seven", "drill")
SIDES = ("offense", "defense")
