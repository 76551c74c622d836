"""Reads player tracks from a table (CSV or Parquet), play by play."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tagger.football.types import PlayTracks

REQUIRED = ("play_id", "time_s", "player_id", "side", "x_yd", "y_yd")
OPTIONAL = ("position", "facing_rad", "event", "sigma_yd")
SIGMA_YD = 0.2
"""Standard deviation taken for tracks that do not tell theirs; common practice for tracking by chips and by cameras."""
SNAP_EVENTS = frozenset({"ball_snap", "snap", "ball-snap"})
FEWEST_TIMES = 5

Columns = dict[str, npt.NDArray[Any]]


def read_plays(path: Path) -> list[tuple[str, PlayTracks | str]]:
    """(play id, its tracks, or one line that says why they make no play), in the file's order.

    Raises ValueError with one line if the file is no table or lacks a column.
    """
    columns = _columns(path)
    ids = columns["play_id"]
    names, first = np.unique(ids, return_index=True)
    plays: list[tuple[str, PlayTracks | str]] = []
    order = np.argsort(ids, kind="stable")
    starts = np.searchsorted(ids[order], names)
    for k in np.argsort(first):
        stop = starts[k + 1] if k + 1 < len(names) else len(ids)
        rows = order[starts[k]:stop]
        try:
            plays.append((str(names[k]), _play({name: values[rows] for name, values in columns.items()})))
        except ValueError as error:
            plays.append((str(names[k]), " ".join(str(error).split())))
    return plays


def _columns(path: Path) -> Columns:
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.csv
    import pyarrow.parquet

    text_columns = ("play_id", "player_id", "side", "position", "event")
    try:
        if path.suffix.lower() in (".parquet", ".pq"):
            table = pyarrow.parquet.read_table(path)
        else:
            kinds = pyarrow.csv.ConvertOptions(column_types=dict.fromkeys(text_columns, pa.string()), strings_can_be_null=True)
            table = pyarrow.csv.read_csv(path, convert_options=kinds)
    except (pa.ArrowInvalid, pa.ArrowTypeError, OSError) as error:
        raise ValueError(f"{path}: cannot be read as a table ({str(error).splitlines()[0]}); give CSV or Parquet") from error
    missing = [name for name in REQUIRED if name not in table.column_names]
    if missing:
        raise ValueError(f"{path}: lacks the column(s) {', '.join(missing)}; it needs {', '.join(REQUIRED)}")
    if not table.num_rows:
        raise ValueError(f"{path}: has no rows")
    found: Columns = {}
    for name in (*REQUIRED, *OPTIONAL):
        if name in table.column_names:
            kind = pa.string() if name in text_columns else pa.float64()
            try:
                column = pc.cast(table.column(name), kind)
            except (pa.ArrowInvalid, pa.ArrowNotImplementedError) as error:
                raise ValueError(f"{path}: column {name}: {str(error).splitlines()[0]}") from error
            empty: Any = "" if name in text_columns else float("nan")
            found[name] = np.asarray(pc.fill_null(column, empty).to_numpy(zero_copy_only=False))
            if name in text_columns:
                found[name] = found[name].astype(str)
    return found


def _play(columns: Columns) -> PlayTracks:
    kept = np.isin(columns["side"], ("offense", "defense"))  # the ball and officials may stand in the table too
    if not kept.any():
        raise ValueError("nobody's side is offense or defense")
    columns = {name: values[kept] for name, values in columns.items()}
    if not np.isfinite(columns["time_s"]).all():
        raise ValueError("time_s is missing in some row")
    times, t = np.unique(columns["time_s"], return_inverse=True)
    players, first, p = np.unique(columns["player_id"], return_index=True, return_inverse=True)
    if len(times) < FEWEST_TIMES:
        raise ValueError(f"only {len(times)} moments; a play needs at least {FEWEST_TIMES}")
    if len(np.unique(p * len(times) + t)) != len(t):
        raise ValueError("a player stands twice at one time; is the play id unique?")
    if (columns["side"][first][p] != columns["side"]).any():
        raise ValueError("a player is on both sides; is the player id unique?")

    def grid(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        out = np.full((len(players), len(times)), np.nan)
        out[p, t] = values
        return out

    xy = np.stack([grid(columns["x_yd"]), grid(columns["y_yd"])], axis=2)
    seen = np.isfinite(xy).all(axis=2)
    xy[~seen] = np.nan
    sigma = grid(columns["sigma_yd"]) if "sigma_yd" in columns else np.full(seen.shape, SIGMA_YD)
    facing = grid(columns["facing_rad"]) if "facing_rad" in columns else np.full(seen.shape, np.nan)
    positions = columns["position"][first] if "position" in columns else np.full(len(players), "")
    return PlayTracks(times, tuple(players.tolist()), columns["side"][first], xy, np.where(seen, sigma, np.nan), facing,
                      tuple(word or None for word in positions.tolist()), _snap_s(columns))


def _snap_s(columns: Columns) -> float | None:
    if "event" not in columns:
        return None
    marked = np.isin(columns["event"], list(SNAP_EVENTS))
    return float(columns["time_s"][marked].min()) if marked.any() else None
