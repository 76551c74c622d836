"""Tables of tracks from elsewhere: CSV and Parquet give the same plays, and what is wrong is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tagger.football.types import PlayTracks
from tagger.tracks_table import read_plays


def table(play: str = "7", players: int = 3, times: int = 8) -> pd.DataFrame:
    rows = [
        (play, t / 10, f"P{p}", "defense" if p % 2 else "offense", float(p + t), 20.0 + p)
        for t in range(times)
        for p in range(players)
    ]
    return pd.DataFrame(rows, columns=["play_id", "time_s", "player_id", "side", "x_yd", "y_yd"])


def only(path: Path) -> PlayTracks:
    ((_, play),) = read_plays(path)
    assert isinstance(play, PlayTracks), play
    return play


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_rows_become_players_over_time(tmp_path: Path, ending: str) -> None:
    frame = table().sample(frac=1, random_state=1)
    frame["event"] = np.where(frame.time_s == 0.3, "ball_snap", None)
    frame["position"] = "CB"
    path = tmp_path / f"t.{ending}"
    frame.to_csv(path, index=False) if ending == "csv" else frame.to_parquet(path)
    play = only(path)
    assert play.player_id == ("P0", "P1", "P2")
    assert play.side.tolist() == ["offense", "defense", "offense"]
    assert play.xy_yd.shape == (3, 8, 2)
    assert play.xy_yd[2, 5].tolist() == [7.0, 22.0]
    assert (play.snap_s, play.position) == (0.3, ("CB",) * 3)
    assert np.isnan(play.facing_rad).all()


def test_a_missing_row_is_a_man_not_seen(tmp_path: Path) -> None:
    table().drop(index=4).to_csv(tmp_path / "t.csv", index=False)
    play = only(tmp_path / "t.csv")
    assert np.isnan(play.xy_yd[1, 1]).all()
    assert np.isnan(play.sigma_yd[1, 1])
    assert np.isfinite(play.xy_yd).sum() == play.xy_yd.size - 2


def test_the_ball_and_officials_are_left_out(tmp_path: Path) -> None:
    frame = table()
    frame.loc[frame.player_id == "P2", "side"] = "ball"
    frame.to_csv(tmp_path / "t.csv", index=False)
    assert only(tmp_path / "t.csv").player_id == ("P0", "P1")


def test_numbers_as_ids_stay_as_they_are_written(tmp_path: Path) -> None:
    frame = table("007")
    frame.to_csv(tmp_path / "t.csv", index=False)
    assert read_plays(tmp_path / "t.csv")[0][0] == "007"


def test_plays_come_in_the_files_order(tmp_path: Path) -> None:
    pd.concat([table("b"), table("a")]).to_csv(tmp_path / "t.csv", index=False)
    assert [name for name, _ in read_plays(tmp_path / "t.csv")] == ["b", "a"]


def test_a_bad_play_leaves_the_others(tmp_path: Path) -> None:
    doubled = pd.concat([table("bad"), table("bad").head(1)])
    both_sides = table("torn")
    both_sides.loc[0, "side"] = "defense"
    pd.concat([doubled, table("good"), both_sides, table("short", times=2)]).to_csv(tmp_path / "t.csv", index=False)
    plays = dict(read_plays(tmp_path / "t.csv"))
    assert isinstance(plays["good"], PlayTracks)
    assert plays["bad"] == "a player stands twice at one time; is the play id unique?"
    assert plays["torn"] == "a player is on both sides; is the player id unique?"
    assert plays["short"] == "only 2 moments; a play needs at least 5"


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"", "cannot be read as a table"),
        (b"a,b\n1,2\n", r"lacks the column\(s\) play_id, time_s"),
        (b"\x00\xff\x00", "t.csv: "),
        (b"play_id,time_s,player_id,side,x_yd,y_yd\n", "has no rows"),
        (b"play_id,time_s,player_id,side,x_yd,y_yd\n1,noon,a,offense,1,2\n", "time_s"),
    ],
)
def test_no_table(tmp_path: Path, content: bytes, line: str) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(content)
    with pytest.raises(ValueError, match=line) as refused:
        read_plays(path)
    assert "\n" not in str(refused.value)
    path.rename(tmp_path / "t.parquet")
    with pytest.raises(ValueError, match="cannot be read as a table"):
        read_plays(tmp_path / "t.parquet")
