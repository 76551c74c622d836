"""Tags reps one after the other or in several processes, each rep whole; whoever calls saves what comes."""

from __future__ import annotations

import os
import signal
import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import TYPE_CHECKING, Protocol, TypeVar

from tagger.cli.film import RepFilm
from tagger.library import ClipRecord, RepRecord, fingerprint
from tagger.library.reading_json import family_of

if TYPE_CHECKING:
    from pathlib import Path

    from tagger.football.types import Reading, Situation
    from tagger.pipeline import TaggedClip, TagOptions

Tell = Callable[[float, str], None]
Result = TypeVar("Result")


class HasName(Protocol):
    """Work that can be named while it runs."""

    @property
    def name(self) -> str: ...


Named = TypeVar("Named", bound=HasName)


@dataclass(frozen=True)
class TaggedRep:
    """A rep's clips as they came out, the prints of their files, and a line for each clip that could not be tagged."""

    film: RepFilm
    situation: Situation
    clips: tuple[TaggedClip, ...]
    prints: tuple[str, ...]
    failures: tuple[str, ...]

    @property
    def main(self) -> int:
        """The clip whose reading stands for the rep."""
        return max(range(len(self.clips)), key=lambda i: worth(self.clips[i]))


def worth(tagged: TaggedClip) -> tuple[bool, float, float, int]:
    """What makes one view's reading better than another's: it found the play, it is sure of the family, it saw much of the
    field and left less open."""
    reading: Reading = tagged.reading
    told = sum(len(defender.intervals) > 0 for defender in reading.defenders)
    return reading.snap_s is not None, family_of(reading)[1] + told / 11, tagged.view.solved_share, -len(reading.abstained)


def tag_rep(film: RepFilm, options: TagOptions, tell: Tell | None = None) -> TaggedRep:
    """Tag every view of a rep; a clip that cannot be read becomes a line."""
    from tagger.pipeline import tag_clip

    clips, prints, failures = [], [], []
    for index, path in enumerate(film.clips):
        try:
            prints.append(fingerprint(path))
            clips.append(tag_clip(path, options, _part(tell, index, len(film.clips))))
        except (ValueError, OSError) as error:
            prints = prints[: len(clips)]
            failures.append(" ".join(str(error).split()))
        except Exception as error:  # a fault of the tagger's own: it costs this clip, not the night's batch
            prints = prints[: len(clips)]
            failures.append(fault_line(path, error))
    return TaggedRep(film, options.situation, tuple(clips), tuple(prints), tuple(failures))


def fault_line(path: Path, error: Exception) -> str:
    """One line for an error that should not have happened, with where it did."""
    frame = traceback.extract_tb(error.__traceback__)[-1]
    what = " ".join(f"{type(error).__name__}: {error}".split())
    return f"{path}: the tagger stumbled over this clip ({what}, {frame.filename}:{frame.lineno}); please report that line"


def _part(tell: Tell | None, index: int, of: int) -> Tell | None:
    return None if tell is None else lambda share, word: tell((index + share) / of, word)


def tag_reps(work: Sequence[tuple[RepFilm, TagOptions]], jobs: int, tell: Tell) -> Iterator[TaggedRep]:
    """The reps as they are done. `tell` hears the share of all work."""
    for _, rep in tag_each(tag_rep, work, jobs, tell):
        yield rep


def tag_each(do: Callable[[Named, TagOptions, Tell | None], Result], work: Sequence[tuple[Named, TagOptions]], jobs: int,
             tell: Tell) -> Iterator[tuple[int, Result]]:
    """(number, result) of each piece of work as it is done, in one process in order or in several as they come."""
    if jobs <= 1 or len(work) <= 1:
        for number, (what, options) in enumerate(work):
            yield number, do(what, options, _one_of(tell, number, len(work), what.name))
        return
    # A child must start clean (the detector's threads do not survive a fork), and share the cores instead of fighting for them.
    os.environ.setdefault("OMP_NUM_THREADS", str(max(1, (os.cpu_count() or 1) // jobs)))
    pool = ProcessPoolExecutor(min(jobs, len(work)), mp_context=get_context("spawn"), initializer=_leave_interrupts)
    try:
        futures = {pool.submit(do, what, options, None): number for number, (what, options) in enumerate(work)}
        for done, future in enumerate(as_completed(futures), start=1):
            number = futures.pop(future)  # results are large: let go of each once it is handed on
            tell(done / len(work), work[number][0].name)
            yield number, future.result()
    except BrokenProcessPool as error:
        raise ValueError("a process was killed, most likely for want of memory; try again with fewer --jobs") from error
    except BaseException:
        for process in list((pool._processes or {}).values()):
            process.terminate()  # a stopped command must not go on in the background
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _one_of(tell: Tell, number: int, of: int, name: str) -> Tell:
    return lambda share, word: tell((number + share) / of, f"{name}: {word}")


def _leave_interrupts() -> None:
    """Ctrl-C goes to every process of the group; only the parent answers it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def record_of(rep: TaggedRep) -> RepRecord:
    """What the library keeps of a tagged rep."""
    return RepRecord(rep.film.name, tuple(_clip(clip, mark) for clip, mark in zip(rep.clips, rep.prints, strict=True)),
                     rep.situation, rep.main)


def _clip(tagged: TaggedClip, mark: str) -> ClipRecord:
    from tagger.cli.clip_json import sides

    video, view = tagged.video, tagged.view
    path: Path = video.path
    return ClipRecord(
        path.resolve(), mark, path.stat().st_size, video.rate_hz, video.duration_s or None, video.width_px, video.height_px,
        len(view.frame_index), tagged.tracks, tagged.field_tracks, view, tagged.reading, tagged.track_of_player, sides(tagged),
        tagged.seconds)
