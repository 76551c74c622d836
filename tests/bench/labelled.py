"""Labelled plays from tables: tracks with the columns of `deepthird tag-tracks`, labels one row a play."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas
import pyarrow.parquet as parquet

from tagger.football.types import PlayTracks

ARRIVALS = ("pass_arrived", "pass_outcome_caught", "pass_outcome_touchdown", "pass_outcome_interception",
            "pass_outcome_incomplete")
CATCH_YD = 4.0


def read_labelled(tracks: Path, plays: Path) -> dict[str, tuple[PlayTracks, dict[str, str]]]:
    """Every play's tracks (snap at 0) and its row of labels; where the ball was tracked, "target" names whom it came to (else
    "")."""
    with plays.open(encoding="utf-8") as file:
        labels = {row["play_id"]: row for row in csv.DictReader(file)}
    table = parquet.read_table(tracks).to_pandas()
    targets = _targets(table)
    out = {}
    for play_id, rows in table[table["side"] != "ball"].groupby("play_id", observed=True):
        times = np.sort(rows["time_s"].unique())
        men = sorted(rows["player_id"].astype(str).unique())
        at = np.searchsorted(men, rows["player_id"].astype(str).to_numpy()), np.searchsorted(times, rows["time_s"].to_numpy())
        xy, facing = np.full((len(men), len(times), 2), np.nan), np.full((len(men), len(times)), np.nan)
        xy[at] = rows[["x_yd", "y_yd"]].to_numpy()
        facing[at] = rows["facing_rad"].to_numpy()
        side = np.empty(len(men), dtype="U7")
        side[at[0]] = rows["side"].astype(str).to_numpy()
        words = dict(zip(rows["player_id"].astype(str), rows["position"].astype(str), strict=True))
        sigma = np.where(np.isfinite(xy[:, :, 0]), 0.1, np.nan)
        play = PlayTracks(times.astype(float), tuple(men), side, xy, sigma, facing, tuple(words[man] or None for man in men),
                          snap_s=0.0)
        out[str(play_id)] = (play, labels[str(play_id)] | {"target": targets.get(str(play_id), "")})
    return out


def _targets(table: pandas.DataFrame) -> dict[str, str]:
    """Play -> the man of the offense nearest to the ball when it comes down, if he is near."""
    arrived = table[(table["side"] == "ball") & table["event"].isin(ARRIVALS)].sort_values("time_s")
    out = {}
    for play_id, ball in arrived.groupby("play_id", observed=True).first().iterrows():
        men = table[(table["play_id"] == play_id) & (table["side"] == "offense") & (table["time_s"] == ball["time_s"])]
        apart = np.hypot(men["x_yd"] - ball["x_yd"], men["y_yd"] - ball["y_yd"])
        if len(men) and apart.min() < CATCH_YD:
            out[str(play_id)] = str(men["player_id"].astype(str)[apart.idxmin()])
    return out
