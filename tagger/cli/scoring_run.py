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
    from tagger.pipeline import TagOptions
    from tagger.scoring import Truth


@dataclass(frozen=True)
class Work:
    """One rep to be tagged for scoring."""

    truth: Truth
    use_script: bool
    save: Path | None


def clip_outputs(work: Sequence[Work], options: TagOptions, jobs: int | None, frames_per_clip: int,
                 tell: Tell) -> Iterator[tuple[Truth, list[dict[str, Any]]]]:
    """Each rep's outputs, one JSON object for each of its clips (`failed` in those that could not be tagged)."""
    clips = [(number, clip) for number, one in enumerate(work) for clip in range(len(one.truth.clips))]
    outputs: list[dict[int, dict[str, Any]]] = [{} for _ in work]
    missing = []
    for number, clip in clips:
        kept = _kept(work[number], clip)
        if kept is not None and kept.is_file():
            outputs[number][clip] = json.loads(kept.read_text(encoding="utf-8"))
        else:
            missing.append((number, clip))
    for number, clip, value in _made(work, missing, options, jobs, frames_per_clip, tell):
        outputs[number][clip] = value
        if len(outputs[number]) == len(work[number].truth.clips):
            yield work[number].truth, [outputs[number][i] for i in sorted(outputs[number])]
            outputs[number] = {}
    for one, done in zip(work, outputs, strict=True):
        if done or not one.truth.clips:
            yield one.truth, [done[i] for i in sorted(done)]


def _made(work: Sequence[Work], missing: Sequence[tuple[int, int]], options: TagOptions, jobs: int | None, frames_per_clip: int,
          tell: Tell) -> Iterator[tuple[int, int, dict[str, Any]]]:
    """(rep, clip, output) of the clips whose output is not kept, as they are done. The processes never get the truth."""
    workers, limits = limits_for(jobs, len(missing), options)
    calls = []
    for number, clip in missing:
        truth = work[number].truth.clips[clip]
        asked = options_to_json(replace(options, situation=_situation(work[number])))
        calls.append((truth.path.stem, call_of(clip_output, {
            "path": str(truth.path), "options": asked, "threads": limits.threads, "frame_count": len(truth.frames),
            "frames": frames_per_clip})))
    crew = LocalCrew(workers, limits)
    try:
        for index, result in do_all(crew, calls, tell):
            number, clip = missing[index]
            if isinstance(result, WorkFailed):
                yield number, clip, {"failed": result.line, "index": clip}
                continue
            kept = _kept(work[number], clip)
            if kept is not None:
                kept.parent.mkdir(parents=True, exist_ok=True)
                kept.write_bytes(result)
            yield number, clip, json.loads(result)
    finally:
        crew.close()


def _kept(one: Work, clip: int) -> Path | None:
    return one.save / f"{one.truth.clips[clip].path.stem}.json" if one.save else None


def _situation(one: Work) -> Situation:
    path = script_near(one.truth.clips[0].path) if one.use_script and one.truth.clips else None
    return (read_script(path).situation_of(one.truth.rep) if path else None) or Situation()


def clip_output(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """One clip tagged for scoring, as JSON. Runs in a process of its own."""
    from tagger.pipeline import tag_clip

    path, options = Path(arguments["path"]), options_from_json(arguments["options"], arguments["threads"])
    tagged = tag_clip(path, options, tell)
    value = clip_to_json(tagged) | {"worth": list(worth(tagged.reading, tagged.view.solved_share))}
    count = arguments["frame_count"]
    value["detections"] = _detections(path, options, range(0, count, max(1, count // arguments["frames"])))
    return json.dumps(value).encode()


def _detections(path: Path, options: TagOptions, wanted: range) -> dict[str, list[list[float]]]:
    """Frame index -> boxes with confidence, in px of the file."""
    from vision.detector import load_detector
    from vision.video import read_frames

    detector, found = load_detector(options.weights, options.device, threads=options.threads), {}
    for frame in read_frames(path, every=wanted.step):
        boxes = detector.detect(frame.index, frame.time_s, frame.bgr)
        found[str(frame.index)] = [[*map(float, box), float(p)] for box, p in zip(boxes.xyxy, boxes.confidence, strict=True)]
    return found
