"""The crown of a field: its middle stands higher than its sidelines, so that rain runs off.

Both halves slope down from the long axis to the sidelines, by 0.5 % (synthetic turf: some 5 in. at the middle) to 1.5 %
(grass: some 14 in.; old fields up to 20), evenly like a roof or rounded, up to a parabola. Common practice of sports-turf
construction, no source. The ends are level.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from homography.field import WIDTH_YD

Array = npt.NDArray[np.float64]


class Crown(NamedTuple):
    """`top_yd`: by how much the turf's middle stands above its sidelines; `bulge_yd`: how far it is from two even slopes, 0 on
    those, as much as the top on a parabola. On a share u of the way from a sideline to the middle the turf's height is
    top u + bulge u (1 - u)."""

    top_yd: float = 0.0
    bulge_yd: float = 0.0

    def height(self, y_yd: npt.NDArray[Any]) -> Array:
        """By how much the turf stands above the sidelines at distances y from the near one; 0 beyond them."""
        even = slopes(y_yd)
        return np.asarray(even * (self.top_yd + self.bulge_yd * (1.0 - even)))

    def height_and_slope(self, y_yd: npt.NDArray[Any]) -> tuple[Array, Array]:
        """As `height`, and how that rises with y."""
        even = slopes(y_yd)
        rise = (self.top_yd + self.bulge_yd * (1.0 - 2.0 * even)) / (WIDTH_YD / 2.0)
        inside = np.where(even > 0.0, np.sign(WIDTH_YD / 2.0 - y_yd), 0.0)
        return even * (self.top_yd + self.bulge_yd * (1.0 - even)), inside * rise

    def raised(self, points_yd: npt.NDArray[Any]) -> Array:
        """(N, 3) points on the turf at (N, 2)."""
        return np.column_stack([points_yd, self.height(points_yd[:, 1])])


LEVEL = Crown()
USUAL_CROWN = Crown(0.15, 0.06)
CROWN_SD_YD = 0.2
CROWN_RANGE_YD = (0.0, 0.8)
ROUNDNESS, BULGE_SD_YD = 0.4, 0.08
"""The bulge as a share of the top, between what there is (0) and 1, and how far it is off."""


def slopes(y_yd: npt.NDArray[Any]) -> Array:
    """Two even slopes: 1 in the middle, 0 from the sidelines on."""
    return np.asarray(np.maximum(1.0 - np.abs(y_yd / (WIDTH_YD / 2.0) - 1.0), 0.0))


def shapes(y_yd: npt.NDArray[Any]) -> tuple[Array, Array]:
    """What a yard of top and a yard of bulge raise the turf by."""
    even = slopes(y_yd)
    return even, even * (1.0 - even)
