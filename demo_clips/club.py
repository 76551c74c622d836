"""The club of the ready clips. All of it is made up: the Harrow Vale Lanterns of the town of Harrow Vale, and their guests."""

from __future__ import annotations

from dataclasses import replace

from demo_clips.kits_design import BLACK, WHITE, Kit, official_kit, team_kit

TOWN = "HARROW VALE"
NICKNAME = "LANTERNS"
FIELD_SEED = 3
"""The club's own turf: the same artwork and wear in every rep."""

TEAL = (104, 92, 14)
AMBER = (44, 158, 236)
SLATE = (96, 84, 72)
ROSE = (92, 62, 176)

HOME: Kit = replace(team_kit(TEAL, (206, 210, 212), TEAL, AMBER), number=WHITE, number_edge=AMBER, facemask=AMBER)
AWAY: Kit = replace(team_kit(WHITE, SLATE, SLATE, ROSE), number=ROSE, facemask=BLACK, socks=SLATE)
PINNIE: Kit = replace(HOME, jersey=(70, 222, 214), sleeve=TEAL, number=None)
RED: Kit = replace(HOME, jersey=(44, 40, 196), sleeve=(44, 40, 196), number=WHITE, number_edge=None)
OFFICIAL: Kit = official_kit()

KITS = {"home": HOME, "away": AWAY, "pinnie": PINNIE, "red": RED, "official": OFFICIAL}
"""By the names that `Actor.kit` uses; coaches and others dress themselves."""
