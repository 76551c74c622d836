"""The overnight loop: look into the folder, work through the queue, write the summary, look again."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from logging.handlers import RotatingFileHandler
from pathlib import Path

from tagger.batch.crew import Crew
from tagger.batch.joining import join_work
from tagger.batch.process import Work
from tagger.batch.queue import work_through
from tagger.batch.saved_cutups import write_cutups
from tagger.batch.summary import Summary, write_summary
from tagger.batch.watch import Taken, Watch
from tagger.batch.work import tag_film
from tagger.library import Library
from tagger.library.owner import Owner

LOG = "watch.log"
LOG_BYTES, LOG_COUNT = 1 << 20, 5


@dataclass(frozen=True)
class NightOptions:
    """`every_s` between looks; `settle_s` that a file must have looked the same; `hours` that the summary looks back; saved
    searches are written as cut-ups to `cutups` if it is given."""

    once: bool = False
    every_s: float = 10.0
    settle_s: float = 5.0
    hours: float = 24.0
    cutups: Path | None = None


def open_log(library: Path, also_to_terminal: bool) -> logging.Logger:
    """The log file in the library's folder, and a copy on stderr where a person watches."""
    log = logging.getLogger("deepthird.watch")
    log.setLevel(logging.INFO)
    log.propagate = False
    for old in list(log.handlers):
        log.removeHandler(old)
        old.close()
    file = RotatingFileHandler(library / LOG, maxBytes=LOG_BYTES, backupCount=LOG_COUNT, encoding="utf-8")
    handlers: list[logging.Handler] = [file]
    if also_to_terminal:
        handlers.append(logging.StreamHandler())
    for handler in handlers:
        handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
        log.addHandler(handler)
    return log


def keep_watch(watch: Watch, library: Library, owner: Owner, make_crew: Callable[[int], Crew], options: NightOptions,
               log: logging.Logger, work: Work = tag_film, join: Work = join_work) -> Summary:
    """Watch until stopped; with `once`, take what is ready now, and return. `make_crew` gets the number of waiting clips. With
    `once` problems of the folder or the library are raised; otherwise they are logged, and it goes on."""
    if options.once:
        watch.look(time.monotonic())
        time.sleep(options.settle_s)
    first = True
    while True:
        try:
            worked = _one_round(watch, library, owner, make_crew, log, work, join, first)
            if worked or first or options.once:
                summary = _report(library, options, log)
                first = False
            if options.once:
                return summary
        except (ValueError, OSError) as error:
            if options.once:
                raise
            log.error("%s; trying again", " ".join(str(error).split()))
        time.sleep(options.every_s)


def _one_round(watch: Watch, library: Library, owner: Owner, make_crew: Callable[[int], Crew], log: logging.Logger,
               work: Work, join: Work, first: bool) -> bool:
    """Whether any clip came to an end."""
    _log_taken(watch.look(time.monotonic()), log)
    library.jobs.reopen(owner.is_dead)
    waiting, worked = len(library.jobs.list("waiting")), False
    if not waiting and not first:  # the first round also ends what was cut short
        return False
    for finished in work_through(library, owner, make_crew(waiting), None, work=work, scripts=watch.scripts, join=join,
                                 pair_old=first):
        if finished.state == "done":
            log.info("%s", finished.reason or f"tagged {finished.job.path}")
        else:
            log.warning("%s: %s", "trying once more" if finished.state == "waiting" else finished.state, finished.reason)
        worked = worked or finished.state != "waiting"
    return worked


def _log_taken(taken: Taken, log: logging.Logger) -> None:
    for wish in taken.queued:
        log.info("queued %s", wish.path)
    for path in taken.moved:
        log.info("known film, moved to %s", path)
    for line in taken.out:
        log.warning("%s", line)


def _report(library: Library, options: NightOptions, log: logging.Logger) -> Summary:
    cutups: list[Path] = []
    if options.cutups is not None:
        cutups, problems = write_cutups(library, options.cutups)
        for line in problems:
            log.warning("%s", line)
    summary = write_summary(library, options.hours, tuple(str(path) for path in cutups))
    log.info("%d rep(s) tagged, %d clip(s) not, %d waiting; see %s", len(summary.tagged), len(summary.not_tagged),
             summary.waiting, library.folder / "summary.html")
    return summary
