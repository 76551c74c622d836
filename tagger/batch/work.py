"""What a worker process is asked to do with one clip."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import asdict
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tagger.batch.clip_bytes import clip_to_bytes
from tagger.batch.cut_list import beside
from tagger.batch.process import Tell
from tagger.batch.split import find_cuts_work
from tagger.batch.whole_clip import pack_whole
from tagger.football.types import Situation
from tagger.library import ClipRecord, fingerprint
from tagger.library.own_shifts import shifts_from_json

if TYPE_CHECKING:
    from tagger.options import TagOptions
    from tagger.pipeline import TaggedClip


def tag_film(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """Tag the clip at `arguments["path"]` as `options_to_json` says; see `clip_bytes`. Of a recording (longer than a rep, or with
    a cut list beside it) the answer is its cut list. Runs in a process of its own."""
    from tagger.pipeline import MAX_CLIP_S, tag_clip
    from vision.video import probe

    path = Path(arguments["path"])
    mark = fingerprint(path)
    info = probe(path)
    if max(info.width_px, info.height_px) > arguments["side_px"]:
        raise ValueError(f"{path}: picture of {info.width_px} x {info.height_px} px, more than the {arguments['side_px']} px "
                         "that --side-limit allows; export the clip smaller")
    if beside(path).is_file() or info.duration_s > MAX_CLIP_S:
        return find_cuts_work(arguments, tell)
    tagged = tag_clip(path, options_from_json(arguments["options"], arguments["threads"]), tell)
    return clip_to_bytes(record_of(tagged, mark), pack_whole(tagged))


def record_of(tagged: TaggedClip, mark: str) -> ClipRecord:
    """What the library keeps of a tagged clip whose content has the fingerprint `mark`."""
    video, view = tagged.video, tagged.view
    return ClipRecord(
        video.path.resolve(), mark, video.path.stat().st_size, video.rate_hz, video.duration_s or None, video.width_px,
        video.height_px, len(view.frame_index), tagged.tracks, tagged.field_tracks, view, tagged.reading, tagged.track_of_player,
        sides(tagged), tagged.seconds, shirt_numbers(tagged))


def sides(tagged: TaggedClip) -> dict[str, str]:
    """Player -> offense or defense."""
    if tagged.play is None:
        return {}
    return dict(zip(tagged.play.player_id, tagged.play.side.tolist(), strict=True))


def shirt_numbers(tagged: TaggedClip) -> dict[str, str]:
    """Player -> the number read on his shirt. Nobody wears another's on the same side: where two were read alike, the one with
    more looks behind him has it."""
    of_side = sides(tagged)
    held: dict[tuple[str, int], str] = {}
    read = {player: tagged.numbers[track] for player, track in tagged.track_of_player.items() if track in tagged.numbers}
    for player, told in sorted(read.items(), key=lambda one: one[1].weight):
        held[of_side[player], told.number] = player
    return {player: str(number) for (_, number), player in sorted(held.items())}


def options_to_json(options: TagOptions) -> dict[str, Any]:
    """All that the tags of a clip depend on besides the clip: the options, the program's version, the weights' content."""
    return {
        "program": version("deepthird"), "weights": str(options.weights) if options.weights else None,
        "weights_digest": _digest(options.detector_weights()), "device": options.device, "level": options.level,
        "detect_every": options.detect_every, "situation": asdict(options.situation), "own": asdict(options.own),
        "thorough": options.thorough}


def options_from_json(value: Mapping[str, Any], threads: int) -> TagOptions:
    """The options again, for a worker that has so many threads."""
    from tagger.options import TagOptions

    weights = Path(value["weights"]) if value["weights"] else None
    return TagOptions(weights, value["device"], value["level"], value["detect_every"], Situation(**value["situation"]), threads,
                      shifts_from_json(value["own"]), value.get("thorough", False))


@cache
def _digest(weights: Path) -> str:
    with weights.open("rb") as stream:
        return hashlib.file_digest(stream, "blake2b").hexdigest()[:16]
