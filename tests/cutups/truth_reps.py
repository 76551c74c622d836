"""Simulated reps as a perfect tagger would hand them to the library: everything from truth.json, nothing from the picture."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from homography.types import SOLVED, FieldTracks, FieldView
from tagger.football.types import Defender, Event, Formation, Interval, Motion, Reading, Situation
from tagger.library import ClipRecord, RepRecord
from vision.types import Tracks

WHY = "as it was played"


def load_truth(folder: Path) -> dict[str, Any]:
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text())
    return truth


def rep_from_truth(folder: Path) -> RepRecord:
    """One rep with all its views. Every view's clock is the rep's."""
    truth = load_truth(folder)
    said = truth["situation"]
    situation = Situation(said["down"], said["distance_yd"], said["hash"], truth["period"], said["personnel"], said["call"],
                          said["yards_to_goal"])
    reading = reading_from_truth(truth)
    clips = tuple(_clip(folder, truth, clip, reading) for clip in truth["clips"])
    return RepRecord(truth["rep"], clips, situation)


def reading_from_truth(truth: dict[str, Any]) -> Reading:
    """The rep's facts as a reading that is sure of all of them."""
    defenders = tuple(Defender(d["player_id"], d["slot"], tuple(
        Interval(i["assignment"], i["area"], i["start_s"], i["end_s"], 1.0, WHY, i["receiver"]) for i in d["intervals"]))
        for d in truth["defenders"])
    events = tuple(Event(e["kind"], e["player_id"], e["against"], e["start_s"], e["end_s"], e["margin_yd"], 1.0, WHY)
                   for e in truth["events"])
    f = truth["formation"]
    motions = tuple(Motion(m["player_id"], m["kind"], m["start_s"], m["end_s"], m["from_across_yd"], m["to_across_yd"],
                           m["answer"], WHY) for m in truth["motions"])
    formation = Formation(f["set_name"], f["strength"], f["backs"], f["receivers"], tuple(f["features"]), len(f["receivers"]),
                          1.0, WHY, motions)
    family = {truth["family"]: 1.0} if truth["gradable"] else {}
    return Reading(truth["snap_s"], truth["release_s"], truth["end_s"], {truth["play_kind"]: 1.0}, {truth["shell"]: 1.0}, WHY,
                   family, WHY, (), truth["variant"], formation, defenders, events, (), truth["rush_count"])


def _clip(folder: Path, truth: dict[str, Any], clip: dict[str, Any], reading: Reading) -> ClipRecord:
    path = folder / clip["file"]
    frames = clip["frames"]
    index = np.array([frame["index"] for frame in frames])
    times = np.array([frame["time_s"] for frame in frames])
    size = (clip["width_px"], clip["height_px"])
    matrices = np.linalg.inv(np.array([frame["image_from_field"] for frame in frames]))
    view = FieldView(index, matrices, np.full(len(frames), 0.1), np.full(len(frames), SOLVED), clip["view"], truth["level"],
                     True, None, size)
    names = [player["player_id"] for player in truth["players"]]
    number = {name: i + 1 for i, name in enumerate(names)}
    seen = [(frame["index"], frame["time_s"], number[box[0]], box[1:5]) for frame in frames
            for box in sorted(frame["boxes"], key=lambda box: number[box[0]])]
    count = len(seen)
    ones = np.ones(count)
    tracks = Tracks(np.array([s[0] for s in seen]), np.array([s[1] for s in seen]), np.array([s[2] for s in seen]),
                    np.array([s[3] for s in seen], float).reshape(-1, 4), ones > 0, np.zeros(count, int), ones, ones)
    side = {p["player_id"]: p["side"] for p in truth["players"] if p["side"] in ("offense", "defense")}
    return ClipRecord(path, f"{truth['rep']}-{clip['view']}", path.stat().st_size, 30.0, float(times[-1]), *size, len(frames),
                      tracks, _field_tracks(truth, tracks, number, list(side)), view, reading,
                      {name: number[name] for name in side}, side)


def _field_tracks(truth: dict[str, Any], tracks: Tracks, number: dict[str, int], players: list[str]) -> FieldTracks:
    """The true places of the players at the clip's frames; only those in the rep, as the kits would tell."""
    names = truth["tracks"]["player_id"]
    where = {number[name]: np.array(truth["tracks"]["xy_yd"][names.index(name)]) for name in players}
    side = {number[p["player_id"]]: int(p["side"] == "defense") for p in truth["players"]}
    kept = np.isin(tracks.track_id, list(where))
    ids, times = tracks.track_id[kept], tracks.time_s[kept]
    clock = np.array(truth["tracks"]["time_s"])
    xy = np.array([[np.interp(t, clock, where[i][:, axis]) for axis in (0, 1)] for i, t in zip(ids.tolist(), times, strict=True)])
    ones = np.ones(int(kept.sum()))
    return FieldTracks(tracks.frame_index[kept], times, ids, np.array([side[i] for i in ids.tolist()]), ones > 0, xy, ones * 0.1,
                       ones * np.nan)
