"""A library of simulated reps on their true tracks, spoiled a little, each finished by a coach who knows the truth."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from demo_clips.play import make_rep
from homography.types import SOLVED, FieldTracks, FieldView
from tagger.calibration.cases import blind_reading
from tagger.football import Abstention, Reading, silent_reading
from tagger.football.vocabulary import UNKNOWN
from tagger.library.reading_json import family_of, likeliest
from tagger.library.records import ClipArrays, ClipRecord, Correction, RepRecord
from tagger.library.store import Library
from vision.types import NO_KIT, Tracks

EVERY = 3
"""Of the simulator's frames one in so many is kept."""
NOISE_YD = 0.3
KITS = {"offense": 0, "defense": 1}


def fill(library: Library, folder: Path, seed: int, count: int, finish: bool = True) -> None:
    """`count` reps of a seed; the coach says what is wrong in each and accepts it."""
    folder.mkdir(parents=True, exist_ok=True)
    for index in range(count):
        _, truth = make_rep(seed, index, {"period": "team"})
        arrays = arrays_of(truth, np.random.default_rng([seed, index]))
        film = folder / f"rep-{seed}-{index}.mp4"
        film.write_bytes(f"no film {seed} {index}".encode())
        record = _record(film, truth, arrays)
        rep_id = library.save_rep(record).rep_id
        reading = blind_reading(library.rep(rep_id), arrays)
        library.save_reading(rep_id, reading)
        if finish:
            library.correct_all(rep_id, _said(truth, library.rep(rep_id).reading))


def arrays_of(truth: dict[str, Any], rng: np.random.Generator) -> ClipArrays:
    """The truth's tracks as the tagger keeps them; track k is the k-th person, boxes are of no meaning."""
    tracks = truth["tracks"]
    side = {p["player_id"]: p["side"] for p in truth["players"]}
    time_s, xy = np.array(tracks["time_s"], dtype=float)[::EVERY], np.array(tracks["xy_yd"], dtype=float)[:, ::EVERY]
    men, frames = xy.shape[:2]
    xy = xy + rng.normal(0.0, NOISE_YD, xy.shape)
    frame, track = np.repeat(np.arange(frames), men), np.tile(np.arange(men), frames)
    kit = np.tile([KITS.get(side[name], NO_KIT) for name in tracks["player_id"]], frames)
    n = len(frame)
    spots = xy.transpose(1, 0, 2).reshape(-1, 2)
    boxes = np.tile([10.0, 10.0, 20.0, 40.0], (n, 1)).astype(np.float32)
    times, seen = time_s[frame], np.ones(n, bool)
    flat = np.tile(np.eye(3), (frames, 1, 1))
    view = FieldView(np.arange(frames), flat, np.full(frames, 0.3), np.full(frames, SOLVED), "sideline", truth["level"], True,
                     None, (1280, 720))
    return ClipArrays(Tracks(frame, times, track, boxes, seen, kit, np.full(n, 0.9), np.full(n, 1.5)),
                      FieldTracks(frame, times, track, kit, seen, spots, np.full(n, 0.3), np.full(n, np.nan)), view)


def _record(film: Path, truth: dict[str, Any], arrays: ClipArrays) -> RepRecord:
    names = truth["tracks"]["player_id"]
    side = {p["player_id"]: p["side"] for p in truth["players"]}
    of = {name: k for k, name in enumerate(names) if side[name] in KITS}
    clip = ClipRecord(film, film.stem, film.stat().st_size, 30.0, float(arrays.tracks.time_s[-1]), 1280, 720,
                      len(arrays.field_view.frame_index), arrays.tracks, arrays.field_tracks, arrays.field_view,
                      silent_reading(Abstention("rep", "not read yet")), of, {name: side[name] for name in of})
    return RepRecord(film.stem, (clip,))


def _said(truth: dict[str, Any], reading: Reading) -> list[Correction]:
    """What a coach who knows the truth says of a reading."""
    family = truth["family"] if truth["gradable"] else UNKNOWN
    kind = truth["play_kind"]
    said = []
    if family_of(reading)[0] != family:
        said.append(("rep", "family", family))
    if (likeliest(reading.play_kind) or (None,))[0] != kind:
        said.append(("rep", "play_kind", kind))
    if (likeliest(reading.shell) or (None,))[0] != truth["shell"]:
        said.append(("rep", "shell", truth["shell"]))
    told = {d.player_id: d.intervals[0] for d in reading.defenders if d.intervals}
    for man in truth["defenders"] if truth["gradable"] else ():
        real, mine = man["intervals"][-1], told.get(man["player_id"])
        if mine is None or (mine.assignment, mine.area) != (real["assignment"], real["area"]):
            span = {"start_s": truth["snap_s"], "end_s": truth["end_s"]}
            value = {"assignment": real["assignment"], "area": real["area"], "receiver": None} | span
            if any(d.player_id == man["player_id"] for d in reading.defenders):
                said.append((f"defender:{man['player_id']}", "assignment", value))
    for event in reading.events:
        if not any(e["kind"] == event.kind and e["player_id"] == event.player_id for e in truth["events"]):
            said.append(("event", "wrong", asdict(event)))
    said.append(("rep", "review_state", "reviewed"))
    return [Correction("Coach A", subject, field, after) for subject, field, after in said]
