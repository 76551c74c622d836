"""Two views of one rep laid on each other: by how long their clocks differ, by how many yard lines and which half-turn their
fields do, from the people alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from homography.field import LENGTH_YD, WIDTH_YD, YARD_LINE_SPACING_YD
from homography.types import FieldTracks

Array = npt.NDArray[np.floating[Any]]
STEP_S = 0.1
NEAR_YD = 1.5
MOST_STEPS = 20
LEAST_SHARED_S = 3.0
OFFSETS_TRIED = 8
MOMENTS = 16
LEAST_AGREEMENT = 0.5
LEAST_LEAD = 0.08
"""A second answer that fits nearly as well means that neither is known."""


@dataclass(frozen=True)
class Paths:
    """Everybody of one view on an even clock: `time_s` (T,), `track_id` (N,), `xy_yd` (N, T, 2) and `sigma_yd` (N, T), NaN where
    he has no track."""

    time_s: Array
    track_id: npt.NDArray[np.integer[Any]]
    xy_yd: Array
    sigma_yd: Array


@dataclass(frozen=True)
class Alignment:
    """The second view onto the first: its time plus `offset_s`; its field half-turned if `half_turn`, then moved by `shift_yd`
    (2,). `agreement` is the share of the people seen who then stand where the other view has somebody."""

    offset_s: float
    half_turn: bool
    shift_yd: Array
    agreement: float

    def field(self, xy_yd: Array) -> Array:
        """(..., 2) points of the second view's field on the first's."""
        return (np.array([LENGTH_YD, WIDTH_YD]) - xy_yd if self.half_turn else xy_yd) + self.shift_yd

    def matrix(self) -> Array:
        """(3, 3) the first view's field from the second's, homogeneous."""
        turn = -1.0 if self.half_turn else 1.0
        origin = self.field(np.zeros(2))
        return np.array([[turn, 0.0, origin[0]], [0.0, turn, origin[1]], [0.0, 0.0, 1.0]])

    def inverse(self) -> Alignment:
        """The first view onto the second."""
        return Alignment(-self.offset_s, self.half_turn, self.shift_yd if self.half_turn else -self.shift_yd, self.agreement)


def on_grid(tracks: FieldTracks, step_s: float = STEP_S) -> Paths:
    """Tracks on a clock that ticks at whole multiples of `step_s`; gaps longer than two ticks stay open."""
    ids = np.unique(tracks.track_id)
    first, last = np.ceil(tracks.time_s.min() / step_s), np.floor(tracks.time_s.max() / step_s)
    grid = np.arange(first, last + 1) * step_s
    xy, sigma = np.full((len(ids), len(grid), 2), np.nan), np.full((len(ids), len(grid)), np.nan)
    order = np.lexsort((tracks.time_s, tracks.track_id))
    bounds = np.searchsorted(tracks.track_id[order], [*ids, ids[-1] + 1])
    for row in range(len(ids)):
        mine = order[bounds[row]:bounds[row + 1]]
        time_s = tracks.time_s[mine]
        inside = (grid >= time_s[0]) & (grid <= time_s[-1])
        after = np.clip(np.searchsorted(time_s, grid), 1, max(1, len(time_s) - 1))
        if len(time_s) > 1:
            inside &= time_s[after] - time_s[after - 1] <= 2.0 * step_s
        for axis in (0, 1):
            xy[row, inside, axis] = np.interp(grid[inside], time_s, tracks.xy_yd[mine, axis])
        sigma[row, inside] = np.interp(grid[inside], time_s, tracks.sigma_yd[mine])
    return Paths(grid, ids.astype(np.int64), xy, sigma)


def align(first: Paths, second: Paths, yard_lines_known: bool) -> Alignment | None:
    """The alignment under which most people agree; None where none stands out. With `yard_lines_known` in both views whole
    steps of five yards are not tried."""
    found: list[Alignment] = []
    for ticks in _offsets(first, second):
        for half_turn in (False, True):
            found += _best_steps(first, second, ticks, half_turn, yard_lines_known)
    found.sort(key=lambda a: -a.agreement)
    if not found or found[0].agreement < LEAST_AGREEMENT:
        return None
    best = found[0]
    rivals = [a for a in found[1:] if a.half_turn != best.half_turn or abs(a.shift_yd[0] - best.shift_yd[0]) > 2.5
              or abs(a.offset_s - best.offset_s) > 1.0]
    if rivals and rivals[0].agreement > best.agreement - LEAST_LEAD:
        return None
    return _refine(first, second, best)


def _offsets(first: Paths, second: Paths) -> list[int]:
    """Ticks to add to the second's clock under which both views have people move and rest together, likeliest first."""
    start: int = round((second.time_s[0] - first.time_s[0]) / STEP_S)
    lags, fit = pace_fits(pace(first), pace(second))
    chosen: list[int] = []
    for k in np.argsort(-fit):
        if len(chosen) < OFFSETS_TRIED and all(abs(int(lags[k]) - c) > 2 for c in chosen):
            chosen.append(int(lags[k]))
    return [lag - start for lag in chosen]


def pace_fits(a: Array, b: Array) -> tuple[npt.NDArray[np.integer[Any]], Array]:
    """Ticks by which the second pace may start later, and how well the two then rise and fall together (-1 to 1)."""
    least = min(round(LEAST_SHARED_S / STEP_S), len(a), len(b))
    lags = np.arange(-len(b) + least, len(a) - least + 1)
    fit = np.full(len(lags), -1.0)
    for k, lag in enumerate(lags.tolist()):
        low, high = max(0, lag), min(len(a), len(b) + lag)
        one, two = a[low:high], b[low - lag:high - lag]
        if one.std() > 1e-6 and two.std() > 1e-6:
            # A short overlap agrees easily by chance.
            fit[k] = np.corrcoef(one, two)[0, 1] * np.sqrt((high - low) / min(len(a), len(b)))
    return lags, fit


def pace(paths: Paths) -> Array:
    """(T,) mean speed of the quicker half of those in sight, yd/s, not above a sprint."""
    speed = np.linalg.norm(np.diff(paths.xy_yd, axis=1, append=np.nan), axis=2) / STEP_S
    out = np.zeros(len(paths.time_s))
    for t in range(len(out)):
        seen = np.sort(speed[np.isfinite(speed[:, t]), t])
        out[t] = np.minimum(seen[len(seen) // 2:], 10.0).mean() if len(seen) else 0.0
    return np.convolve(out, np.ones(3) / 3.0, mode="same")


def _shared(first: Paths, second: Paths, ticks: int) -> tuple[Array, Array]:
    """The two views' positions (N, S, 2), (M, S, 2) at the moments that both have."""
    lag = round((second.time_s[0] - first.time_s[0]) / STEP_S) + ticks
    low, high = max(0, lag), min(len(first.time_s), len(second.time_s) + lag)
    return first.xy_yd[:, low:high], second.xy_yd[:, low - lag:high - lag]


def _best_steps(first: Paths, second: Paths, ticks: int, half_turn: bool, known: bool) -> Iterator[Alignment]:
    """The two best whole numbers of yard lines between the views."""
    one, two = _shared(first, second, ticks)
    if one.shape[1] < round(LEAST_SHARED_S / STEP_S):
        return
    chosen = np.linspace(0, one.shape[1] - 1, MOMENTS).round().astype(int)
    one, two = one[:, chosen], two[:, chosen]
    two = np.array([LENGTH_YD, WIDTH_YD]) - two if half_turn else two
    apart = one[:, None] - two[None]
    steps = np.round(apart[..., 0] / YARD_LINE_SPACING_YD)
    near = (np.abs(apart[..., 1]) < NEAR_YD) & (np.abs(apart[..., 0] - YARD_LINE_SPACING_YD * steps) < NEAR_YD)
    near &= (np.abs(steps) <= (0 if known else MOST_STEPS))
    votes = np.bincount((steps[near] + MOST_STEPS).astype(int), minlength=2 * MOST_STEPS + 1)
    for k in np.argsort(-votes)[:3]:
        if votes[k]:
            shift = np.array([YARD_LINE_SPACING_YD * (k - MOST_STEPS), 0.0])
            yield Alignment(ticks * STEP_S, half_turn, shift, _agreement(one, two + shift))


def _agreement(one: Array, two: Array) -> float:
    """Share of the people in the emptier of the two pictures, moment by moment, of whom the other view has one nearby who has
    no nearer one himself."""
    apart = np.linalg.norm(one[:, None] - two[None], axis=3)
    apart = np.where(np.isfinite(apart), apart, np.inf)
    mutual = (apart == apart.min(axis=1, keepdims=True)) & (apart == apart.min(axis=0, keepdims=True)) & (apart < NEAR_YD)
    seen = np.minimum(np.isfinite(one[:, :, 0]).sum(axis=0), np.isfinite(two[:, :, 0]).sum(axis=0))
    return float(mutual.sum() / max(1, seen.sum()))


def _refine(first: Paths, second: Paths, rough: Alignment) -> Alignment:
    """The offset to a third of a tick and the shift to a tenth of a yard, from those who agree and move."""
    best, least = rough, np.inf
    for delay in np.arange(-3.0, 3.01, 1.0 / 3.0) * STEP_S:
        tried = Alignment(rough.offset_s + float(delay), rough.half_turn, rough.shift_yd, rough.agreement)
        one, two = _moved(first, second, tried)
        apart = one[:, None] - two[None]
        far = np.linalg.norm(apart, axis=3)
        far = np.where(np.isfinite(far), far, np.inf)
        mutual = (far == far.min(axis=1, keepdims=True)) & (far == far.min(axis=0, keepdims=True)) & (far < 2.0 * NEAR_YD)
        if mutual.sum() < 10:
            continue
        bias = np.median(apart[mutual], axis=0)
        spread = float(np.minimum(np.linalg.norm(apart[mutual] - bias, axis=1), NEAR_YD).mean())
        if spread < least:
            least, best = spread, Alignment(tried.offset_s, rough.half_turn, rough.shift_yd + bias, rough.agreement)
    return best


def _moved(first: Paths, second: Paths, how: Alignment) -> tuple[Array, Array]:
    """Both views' positions at the first's ticks, the second's by linear interpolation."""
    position = (first.time_s - how.offset_s - second.time_s[0]) / STEP_S
    inside = (position >= 0) & (position <= len(second.time_s) - 1)
    low = np.clip(np.floor(position[inside]).astype(int), 0, max(0, len(second.time_s) - 2))
    part = (position[inside] - low)[None, :, None]
    two = second.xy_yd[:, low] * (1 - part) + second.xy_yd[:, np.minimum(low + 1, len(second.time_s) - 1)] * part
    return first.xy_yd[:, inside], how.field(two)


def same_paths(one_yd: Array, two_yd: Array, within_yd: float, least_ticks: int = 1,
               may_be: npt.NDArray[np.bool_] | None = None) -> list[tuple[int, int]]:
    """Which of the paths `one_yd` (N, T, 2) and `two_yd` (M, T, 2) of two views are one man's: pairs that lie on the whole within
    so many yards while both are known, for at least so many ticks, nobody twice. `may_be` (N, M) says who can be whom."""
    apart = np.linalg.norm(one_yd[:, None] - two_yd[None], axis=-1)
    known = np.isfinite(apart)
    mean = np.where(known, apart, 0.0).sum(axis=2) / np.maximum(known.sum(axis=2), 1)
    near = (known.sum(axis=2) >= least_ticks) & (mean < within_yd) & (True if may_be is None else may_be)
    rows, columns = linear_sum_assignment(np.where(near, mean - within_yd, 0.0))
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if near[r, c]]
