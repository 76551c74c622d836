"""Makes the outputs that are scored: each clip's JSON, and the detector alone on some of its frames."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tagger.cli.clip_json import clip_to_json
from tagger.cli.film import RepFilm
from tagger.cli.script import read_script, script_near
from tagger.cli.tagging import Tell, tag_each, worth
from tagger.football.types import Situation

if TYPE_CHECKING:
    from tagger.pipeline import TagOptions
    from tagger.scoring import Truth


@dataclass(frozen=True)
class Work:
    """One rep to be tagged for scoring."""

    truth: Truth
    use_script: bool
    save: Path | None


def clip_outputs(work: Sequence[Work], options: TagOptions, jobs: int, frames_per_clip: int,
                 tell: Tell) -> Iterator[tuple[Truth, list[dict[str, Any]]]]:
    """Each rep's outputs, one JSON object for each of its clips (`failed` in those that could not be tagged)."""
    arguments = [(_input(one, frames_per_clip), replace(options, situation=_situation(one))) for one in work]
    for number, outputs in tag_each(_outputs, arguments, jobs, tell):
        yield work[number].truth, outputs


def _situation(one: Work) -> Situation:
    path = script_near(one.truth.clips[0].path) if one.use_script and one.truth.clips else None
    return (read_script(path).situation_of(one.truth.rep) if path else None) or Situation()


@dataclass(frozen=True)
class _Input:
    """What a process needs of a rep: it never gets the truth."""

    clips: tuple[Path, ...]
    frame_counts: tuple[int, ...]
    save: Path | None
    name: str
    frames_per_clip: int


def _input(one: Work, frames_per_clip: int) -> _Input:
    clips = one.truth.clips
    return _Input(tuple(clip.path for clip in clips), tuple(len(clip.frames) for clip in clips), one.save, one.truth.rep,
                  frames_per_clip)


def _outputs(given: _Input, options: TagOptions, tell: Tell | None) -> list[dict[str, Any]]:
    from tagger.cli.tagging import tag_rep

    found = []
    for index, (path, count) in enumerate(zip(given.clips, given.frame_counts, strict=True)):
        kept = given.save / f"{path.stem}.json" if given.save else None
        if kept is not None and kept.is_file():
            found.append(json.loads(kept.read_text(encoding="utf-8")))
            continue
        rep = tag_rep(RepFilm(given.name, (path,)), options, tell)
        if rep.failures:
            found.append({"failed": rep.failures[0], "index": index})
            continue
        wanted = range(0, count, max(1, count // given.frames_per_clip))
        value = clip_to_json(rep.clips[0])
        value |= {"worth": list(worth(rep.clips[0])), "detections": _detections(path, options, wanted)}
        if kept is not None:
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_text(json.dumps(value), encoding="utf-8")
        found.append(value)
    return found


def _detections(path: Path, options: TagOptions, wanted: range) -> dict[str, list[list[float]]]:
    """Frame index -> boxes with confidence, in px of the file."""
    from vision.detector import load_detector
    from vision.video import read_frames

    detector, found = load_detector(options.weights, options.device), {}
    for frame in read_frames(path, every=wanted.step):
        boxes = detector.detect(frame.index, frame.time_s, frame.bgr)
        found[str(frame.index)] = [[*map(float, box), float(p)] for box, p in zip(boxes.xyxy, boxes.confidence, strict=True)]
    return found
