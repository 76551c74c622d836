"""The field's numbers against the rulebooks, and against the `sportypy` package (surfaces drawn from the same rulebooks)."""

from __future__ import annotations

import pytest
from sportypy.surfaces.football import NCAAField, NFHSField, NFLField

from homography.assign import hash_rows_yd, sideline_middles_yd
from homography.field import END_ZONE_YD, LENGTH_YD, LEVELS, LINE_WIDTH_YD, WIDTH_YD, YARD_LINE_SPACING_YD

FT, IN = 1 / 3, 1 / 36


def test_size_of_the_field() -> None:
    # NFHS Football Rules 1-2, NCAA Football Rules 1-2-1, NFL Rule 1-1: 360 by 160 feet, end zones of 30 feet, 4 in. lines.
    assert pytest.approx(360 * FT) == LENGTH_YD
    assert pytest.approx(160 * FT) == WIDTH_YD
    assert pytest.approx(30 * FT) == END_ZONE_YD
    assert pytest.approx(4 * IN) == LINE_WIDTH_YD
    assert YARD_LINE_SPACING_YD == 5.0


@pytest.mark.parametrize(("level", "inbounds_ft"), [
    ("high-school", 53 + 4 / 12),  # NFHS 1-2-3: hash marks 53 ft 4 in. from the sidelines, thirds of the width
    ("college", 60.0),  # NCAA 1-2-1: inbounds lines 60 ft from the sidelines
    ("pro", 70 + 9 / 12),  # NFL 1-1: 70 ft 9 in.
])
def test_inbounds_lines(level: str, inbounds_ft: float) -> None:
    assert LEVELS[level].hash_yd == pytest.approx(inbounds_ft * FT)
    near, far = hash_rows_yd(level)
    assert near == pytest.approx(WIDTH_YD - far)


@pytest.mark.parametrize(("level", "surface"), [("high-school", NFHSField), ("college", NCAAField), ("pro", NFLField)])
def test_against_sportypy(level: str, surface: type) -> None:
    drawn = surface().field_params
    near, far = hash_rows_yd(level)
    # The package's separation is that of the inner ends of the marks.
    assert far - near == pytest.approx(drawn["inbound_hashmark_separation"], abs=0.01)
    assert drawn["field_width"] == pytest.approx(WIDTH_YD, abs=0.01)
    assert drawn["field_length"] == pytest.approx(LENGTH_YD - 2 * END_ZONE_YD, abs=0.01)
    assert drawn["minor_line_thickness"] == pytest.approx(LINE_WIDTH_YD, abs=0.001)


def test_where_sportypy_differs_from_the_rulebook() -> None:
    # NFHS's field diagram ends yard lines 4 in. from the sideline; the package leaves 8 in. at every level.
    assert NFHSField().field_params["sideline_to_major_yard_line"] == pytest.approx(8 * IN, abs=0.001)


def test_sidelines_are_out_of_bounds() -> None:
    # NCAA 1-2-1, NFL 1-1, NFHS 1-2-1: the field is measured to the inner edges of the boundary lines.
    near, far = sideline_middles_yd(LINE_WIDTH_YD / 2)
    assert near == pytest.approx(-2 * IN)
    assert far == pytest.approx(WIDTH_YD + 2 * IN)


def test_numbers() -> None:
    # NCAA 1-2-1-j: 6 ft by 4 ft, tops nine yards from the sideline. NFL: bottoms 12 yd from the sideline.
    assert LEVELS["college"].number_height_yd == pytest.approx(6 * FT)
    assert LEVELS["college"].number_width_yd == pytest.approx(4 * FT)
    assert LEVELS["college"].number_centre_yd == pytest.approx(9.0 - 1.0)
    assert LEVELS["pro"].number_centre_yd == pytest.approx(12.0 + 1.0)
