"""What goes out to other programs validates, loads and comes back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pyarrow.parquet as pq
import pytest
import trackeval
from filmed_scene import Scene, clip_record, made_up_reading

from tagger.cutups.interchange import field_table, mot_text, reps_document, schema, tracks_table, write_json, write_parquet
from tagger.football.types import Situation
from tagger.library import ClipArrays, Library, RepRecord, StoredRep
from tagger.tracks_table import read_plays


@pytest.fixture
def stored(scene: Scene, tmp_path: Path) -> StoredRep:
    with Library.open(tmp_path / "library") as library:
        record = RepRecord("rep-001", (clip_record(scene, made_up_reading(), "print"),), Situation(down=3, distance_yd=7.0))
        return library.rep(library.save_rep(record).rep_id)


def test_json_validates_against_the_schema_that_ships(stored: StoredRep, tmp_path: Path) -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    write_json([stored], tmp_path / "reps.json")
    document = json.loads((tmp_path / "reps.json").read_text())
    jsonschema.validate(document, schema())
    assert document["reps"][0]["defenders"][0]["intervals"][0]["assignment"] == "deep-third"
    nothing = replace(stored.reading, snap_s=None, family={}, shell={}, formation=None, defenders=(), events=())
    jsonschema.validate(reps_document([replace(stored, reading=nothing)]), schema())


@pytest.mark.parametrize("spoil", ["family", "assignment", "area", "snap_s", "share"])
def test_the_schema_refuses_what_is_wrong(stored: StoredRep, spoil: str) -> None:
    document = json.loads(json.dumps(reps_document([stored])))
    rep = document["reps"][0]
    interval = rep["defenders"][0]["intervals"][0]
    if spoil == "family":
        rep["play_kind"] = "punt"
    elif spoil == "share":
        rep["family"] = {"cover-3": 1.5}
    elif spoil == "snap_s":
        del rep["snap_s"]
    else:
        interval[spoil] = "somewhere"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema())


def test_mot_text_loads_in_trackeval_and_agrees_with_itself(scene: Scene, tmp_path: Path) -> None:
    """trackeval's own loader and metric: the same tracks as truth and as result give HOTA 1."""
    text = mot_text(scene.seen.tracks)
    count = int(scene.seen.view.frame_index[-1]) + 1
    truth, result = tmp_path / "gt/rep/gt", tmp_path / "found/us/data"
    truth.mkdir(parents=True)
    result.mkdir(parents=True)
    (truth / "gt.txt").write_text("".join(",".join([*line.split(",")[:6], "1,1,1"]) + "\n" for line in text.splitlines()))
    (result / "rep.txt").write_text(text)
    dataset = trackeval.datasets.MotChallenge2DBox({
        "GT_FOLDER": str(tmp_path / "gt"), "TRACKERS_FOLDER": str(tmp_path / "found"), "TRACKERS_TO_EVAL": ["us"],
        "SEQ_INFO": {"rep": count}, "SKIP_SPLIT_FOL": True, "PRINT_CONFIG": False, "DO_PREPROC": False})
    raw = dataset.get_raw_seq_data("us", "rep")
    data = dataset.get_preprocessed_seq_data(raw, "pedestrian")
    hota = trackeval.metrics.HOTA({"PRINT_CONFIG": False}).eval_sequence(data)
    assert data["num_tracker_dets"] == int(scene.seen.tracks.observed.sum())
    assert float(np.mean(hota["HOTA"])) == pytest.approx(1.0, abs=1e-6)


def test_tracks_come_back_through_parquet_as_tag_tracks_reads_them(scene: Scene, tmp_path: Path) -> None:
    write_parquet(tracks_table("rep-001", scene.play), tmp_path / "tracks.parquet")
    (name, play), = read_plays(tmp_path / "tracks.parquet")
    assert name == "rep-001"
    assert not isinstance(play, str)
    assert sorted(play.player_id) == sorted(scene.play.player_id)
    mine, theirs = scene.play.player_id.index("D4"), play.player_id.index("D4")
    assert play.xy_yd[theirs] == pytest.approx(scene.play.xy_yd[mine], abs=1e-6)
    assert play.snap_s == pytest.approx(scene.play.snap_s, abs=0.03)


def test_field_tracks_keep_every_column(scene: Scene, tmp_path: Path) -> None:
    told = np.arange(len(scene.field_tracks)) / 1e4
    arrays = ClipArrays(scene.seen.tracks, replace(scene.field_tracks, facing_sigma_rad=told), scene.seen.view)
    write_parquet(field_table("rep-001", "sideline", arrays), tmp_path / "field.parquet")
    back = pq.read_table(tmp_path / "field.parquet")
    assert back.num_rows == len(scene.field_tracks)
    assert back["x_yd"].to_numpy() == pytest.approx(scene.field_tracks.xy_yd[:, 0])
    assert back["facing_rad"].null_count == back.num_rows
    assert back["facing_sigma_rad"].to_numpy() == pytest.approx(told)
