"""Noisy, gappy tracks of any rate become smooth positions, velocities and accelerations on one even time grid.

Local quadratic regression with Gaussian weights (W. S. Cleveland, "Robust locally weighted regression", JASA 1979, without
the robustness step): it gives the derivatives along with the value, works across dropped frames, and needs no motion model.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.types import BoolArray, FloatArray, IntArray

LEAST_WIDTH_S = 0.11
WIDTH_PER_NOISE_S = 0.33
MOST_WIDTH_S = 0.42
STANDS_S = 2.5
APPEARS_S = 0.4


@dataclass(frozen=True)
class Sampled:
    """Tracks on an even grid. `time_s` (T,); `xy_yd`, `velocity_yd_s`, `acceleration_yd_s2` (N, T, 2), NaN where a man is
    not seen within the smoother's reach; `facing_rad` (N, T), NaN where unknown; `noise_yd` the tracks' own noise."""

    time_s: FloatArray
    xy_yd: FloatArray
    velocity_yd_s: FloatArray
    acceleration_yd_s2: FloatArray
    facing_rad: FloatArray
    noise_yd: float

    @property
    def seen(self) -> BoolArray:
        """(N, T) True where a position is known."""
        out: BoolArray = np.isfinite(self.xy_yd[:, :, 0])
        return out

    def speed_yd_s(self) -> FloatArray:
        """(N, T) speed."""
        out: FloatArray = np.linalg.norm(self.velocity_yd_s, axis=2)
        return out

    def index(self, time_s: float) -> int:
        """Grid index nearest to a time, kept inside the grid."""
        step = self.time_s[1] - self.time_s[0] if len(self.time_s) > 1 else 1.0
        return int(np.clip(round((time_s - self.time_s[0]) / step), 0, len(self.time_s) - 1))

    def stance(self, tick: int) -> FloatArray:
        """(N, 2) where everybody stands at a grid index; for who is hidden just then, where he was last seen within
        STANDS_S before it, else where he is first seen within APPEARS_S after it (a set man stands); NaN for the others."""
        step = self.time_s[1] - self.time_s[0] if len(self.time_s) > 1 else 1.0
        before = range(tick, max(-1, tick - round(STANDS_S / step)), -1)
        after = range(tick + 1, min(len(self.time_s), tick + 1 + round(APPEARS_S / step)))
        out = np.full((len(self.xy_yd), 2), np.nan)
        for i in (*before, *after):
            missing = np.isnan(out[:, 0])
            out[missing] = self.xy_yd[missing, i]
        return out

    def rows(self, chosen: IntArray | BoolArray) -> Sampled:
        """The same for some of the players (index or mask)."""
        return replace(self, xy_yd=self.xy_yd[chosen], velocity_yd_s=self.velocity_yd_s[chosen],
                       acceleration_yd_s2=self.acceleration_yd_s2[chosen], facing_rad=self.facing_rad[chosen])


def white_noise_yd(time_s: FloatArray, xy_yd: FloatArray) -> float:
    """Standard deviation of the frame-to-frame noise, from third differences: a runner's path has next to none.

    (N, T, 2) positions with NaN; differences over a gap are left out. Returns 0 for fewer than four frames.
    """
    if len(time_s) < 4:
        return 0.0
    third = np.diff(xy_yd, n=3, axis=1)
    even = np.abs(np.diff(time_s, n=2)) < 0.5 * np.median(np.diff(time_s))
    third = third[:, even[:-1] & even[1:]]
    third = third[np.isfinite(third)]
    # Binomial weights 1, 3, 3, 1: variance 20. The median over 0.6745 is the standard deviation of the bulk.
    return float(np.median(np.abs(third)) / 0.6745 / np.sqrt(20.0)) if third.size else 0.0


def sample(time_s: FloatArray, xy_yd: FloatArray, sigma_yd: FloatArray, facing_rad: FloatArray, grid_s: FloatArray) -> Sampled:
    """Smooth (N, T, 2) tracks onto `grid_s`. The kernel widens with the noise, whichever is larger of half of what the
    tracks declare (`sigma_yd`: part of it is a slow error that no smoothing removes) and what their roughness shows."""
    step_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.1
    declared = float(np.nanmedian(sigma_yd)) if np.isfinite(sigma_yd).any() else 0.0
    noise = max(white_noise_yd(time_s, xy_yd), 0.5 * declared)
    width_s = float(np.clip(LEAST_WIDTH_S + WIDTH_PER_NOISE_S * noise * np.sqrt(step_s / 0.1), LEAST_WIDTH_S, MOST_WIDTH_S))
    width_s = max(width_s, 0.9 * step_s)
    xy, velocity, acceleration = _local_quadratic(time_s, xy_yd, grid_s, width_s)
    return Sampled(grid_s, xy, velocity, acceleration, _smooth_angle(time_s, facing_rad, grid_s, width_s), noise)


def _local_quadratic(time_s: FloatArray, xy: FloatArray, grid_s: FloatArray,
                     width_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    offset = time_s[None, :] - grid_s[:, None]
    kernel = np.exp(-0.5 * (offset / width_s) ** 2)
    kernel[kernel < 1e-4] = 0.0
    powers = np.stack([kernel * (offset / width_s) ** p for p in range(5)])
    known = np.isfinite(xy[:, :, 0])
    filled = np.where(known[:, :, None], xy, 0.0)
    centre = filled.sum(axis=1) / np.maximum(known.sum(axis=1), 1)[:, None]
    filled = np.where(known[:, :, None], xy - centre[:, None, :], 0.0)
    moments = np.einsum("pkt,nt->nkp", powers, known.astype(float), optimize=True)
    right = np.einsum("pkt,ntc->nkpc", powers[:3], filled, optimize=True)
    gram = np.stack([moments[:, :, [i, i + 1, i + 2]] for i in range(3)], axis=2)
    # A little ridge on slope and curvature: one-sided or thin support must not extrapolate wildly.
    gram = gram + np.diag([1e-9, 0.02, 0.08])
    solved = np.linalg.solve(gram, right)
    near = np.einsum("kt,nt->nk", (np.abs(offset) <= 3.0 * width_s).astype(float), known.astype(float)) >= 1
    solved = np.where((near & (moments[:, :, 0] > 1e-3))[:, :, None, None], solved, np.nan)
    return (solved[:, :, 0] + centre[:, None, :], solved[:, :, 1] / width_s, 2.0 * solved[:, :, 2] / width_s**2)


def _smooth_angle(time_s: FloatArray, angle: FloatArray, grid_s: FloatArray, width_s: float) -> FloatArray:
    known = np.isfinite(angle)
    if not known.any():
        return np.full((len(angle), len(grid_s)), np.nan)
    kernel = np.exp(-0.5 * ((time_s[None, :] - grid_s[:, None]) / width_s) ** 2)
    east = np.where(known, np.cos(angle), 0.0) @ kernel.T
    north = np.where(known, np.sin(angle), 0.0) @ kernel.T
    weight = known.astype(float) @ kernel.T
    out: FloatArray = np.where(weight > 0.1, np.arctan2(north, east), np.nan)
    return out
