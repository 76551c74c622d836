"""What becomes of a practice recording in the queue: its reps are cut out and queued in its place."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from tagger.batch import cut_list
from tagger.batch.limits import Limits
from tagger.batch.plan import Scripts
from tagger.batch.process import WorkFailed, call_of, run_call
from tagger.batch.split import CLIPS, cut_work
from tagger.football.types import Situation
from tagger.library import Job, Library, Wish, fingerprint


def is_recording(answer: bytes) -> bool:
    """True if a worker answered with a cut list instead of a tagged clip."""
    return answer.startswith(b"{")


def take_recording(library: Library, job: Job, answer: bytes, scripts: Scripts) -> str:
    """Cut the reps out into the library's folder and queue them; returns a line on what was done. Raises WorkFailed."""
    folder = library.folder.resolve() / CLIPS / f"{job.path.stem}-{job.fingerprint[:8]}"
    try:
        cuts = cut_list.from_json(json.loads(answer)["cut_list"], job.path)
        if not cut_list.beside(job.path).exists():
            cut_list.write(cuts, (cut_list.beside(job.path), folder / cut_list.beside(job.path).name))
    except (KeyError, ValueError, OSError) as error:
        raise WorkFailed(" ".join(str(error).split()), again=False) from error
    asked = {"path": str(job.path), "folder": str(folder), "cut_list": cut_list.to_json(cuts)}
    told = run_call(call_of(cut_work, asked), Limits())
    clips = [Path(path) for path in json.loads(told)]
    said = scripts.of_recording(job.path, [rep.start_s for rep in cuts.reps])
    library.jobs.add_parts(job, [Wish(fingerprint(clip), clip, {**job.options, "situation": asdict(situation)}, clip.stem)
                                 for clip, situation in zip(clips, said or [Situation()] * len(clips), strict=True)])
    note = "; the script has another number of reps and no times that fit, so it is left out"
    return f"{job.path}: cut into {len(clips)} rep(s){note if said is None and scripts.speak_of(job.path) else ''}"

