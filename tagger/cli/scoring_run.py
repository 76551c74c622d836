"""Makes the outputs that are scored: each clip's JSON, and the detector alone on some of its frames."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tagger.batch.crew import LocalCrew, do_all
from tagger.batch.limits import limits_for
from tagger.batch.process import Tell, WorkFailed, call_of
from tagger.batch.script import read_script, script_near
from tagger.batch.work import options_from_json, options_to_json
from tagger.cli.clip_json import clip_to_json
from tagger.football.types import Situation
from tagger.library.saving import worth

if TYPE_CHECKING:
    from tagger.options import TagOptions
    from tagger.pipeline import TaggedClip
    from tagger.scoring import Truth


LEAST_CONFIDENCE = 0.01
"""Average precision asks for the whole curve, down to boxes that tagging never looks at."""


@dataclass(frozen=True)
class Work:
    """One rep to be tagged for scoring."""

    truth: Truth
    use_script: bool
    save: Path | None


def clip_outputs(work: Sequence[Work], options: TagOptions, jobs: int | None, frames_per_clip: int,
                 tell: Tell) -> Iterator[tuple[Truth, list[dict[str, Any]]]]:
    """Each rep's outputs, one JSON object for each of its clips (`failed` in those that could not be tagged). The processes
    never get the truth."""
    workers, limits = limits_for(jobs, len(work), options)
    calls = []
    for one in work:
        asked = options_to_json(replace(options, situation=_situation(one)))
        clips = [{"path": str(clip.path), "frame_count": len(clip.frames), "kept": str(_kept(one, i) or "")}
                 for i, clip in enumerate(one.truth.clips)]
        calls.append((one.truth.rep, call_of(rep_outputs, {
            "path": one.truth.rep, "clips": clips, "options": asked, "threads": limits.threads, "frames": frames_per_clip})))
    crew = LocalCrew(workers, limits)
    try:
        for number, result in do_all(crew, calls, tell):
            truth = work[number].truth
            if isinstance(result, WorkFailed):
                yield truth, [{"failed": result.line, "index": i} for i in range(len(truth.clips))]
            else:
                yield truth, json.loads(result)
    finally:
        crew.close()


def _kept(one: Work, clip: int) -> Path | None:
    return one.save / f"{one.truth.clips[clip].path.stem}.json" if one.save else None


def _situation(one: Work) -> Situation:
    path = script_near(one.truth.clips[0].path) if one.use_script and one.truth.clips else None
    return (read_script(path).situation_of(one.truth.rep) if path else None) or Situation()


def rep_outputs(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """The outputs of one rep's clips, as a JSON array; those of a rep that is kept are not made again. Runs in a process of its
    own."""
    options, clips = options_from_json(arguments["options"], arguments["threads"]), arguments["clips"]
    kept = [Path(clip["kept"]) if clip["kept"] else None for clip in clips]
    if all(path is not None and path.is_file() for path in kept):
        return json.dumps([json.loads(path.read_text(encoding="utf-8")) for path in kept if path is not None]).encode()
    found = _outputs(clips, options, arguments["frames"], tell)
    for path, value in zip(kept, found, strict=True):
        if path is not None and "failed" not in value:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(json.dumps(value), encoding="utf-8")
    return json.dumps(found).encode()


def part(tell: Tell, index: int, of: int) -> Tell:
    """Progress of one of several equal parts."""
    return lambda share, word: tell((index + share) / of, word)


def _outputs(clips: Sequence[Mapping[str, Any]], options: TagOptions, frames: int, tell: Tell) -> list[dict[str, Any]]:
    """Every clip's JSON, the views of the rep joined; `failed` in those that cannot be tagged."""
    from tagger.pipeline import tag_clip
    from tagger.two_views import join_views

    found: list[dict[str, Any]] = []
    tagged: list[TaggedClip] = []
    for index, clip in enumerate(clips):
        try:
            tagged.append(tag_clip(Path(clip["path"]), options, part(tell, index, len(clips))))
            found.append({})
        except ValueError as error:
            found.append({"failed": " ".join(str(error).split()), "index": index})
    joined = iter(join_views(tagged, options))
    for clip, value in zip(clips, found, strict=True):
        if "failed" not in value:
            done, every = next(joined), max(1, clip["frame_count"] // frames)
            value |= clip_to_json(done) | {"worth": list(worth(done.reading, done.view.solved_share))}
            value |= {"detections": _detections(Path(clip["path"]), options, range(0, clip["frame_count"], every))}
    return found


def _detections(path: Path, options: TagOptions, wanted: range) -> dict[str, list[list[float]]]:
    """Frame index -> boxes with confidence, in px of the file."""
    from vision.detector import load_detector
    from vision.video import read_frames

    detector = load_detector(options.detector_weights(), options.device, threads=options.threads, min_confidence=LEAST_CONFIDENCE)
    found: dict[str, list[list[float]]] = {}
    for frame in read_frames(path, every=wanted.step):
        boxes = detector.detect(frame.index, frame.time_s, frame.bgr)
        found[str(frame.index)] = [[*map(float, box), float(p)] for box, p in zip(boxes.xyxy, boxes.confidence, strict=True)]
    return found
