"""Reads one rep: everything that football says of it, each tag with its reason, or an abstention by name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tagger.football.book import Book, shipped_book
from tagger.football.course import Course, set_course
from tagger.football.coverage import Coverage, family_over_time, read_coverage
from tagger.football.disguise import SHOWN_S
from tagger.football.events import find_events
from tagger.football.facts import Fixed, fixed_assignments, fixed_kind, fixed_rush
from tagger.football.formation import read_formation
from tagger.football.kind import play_kind
from tagger.football.measures import LATEST_S
from tagger.football.motions import find_motions
from tagger.football.playbook import PlayBook, shipped_playbook
from tagger.football.release import find_release
from tagger.football.rush import rush_probability
from tagger.football.sampling import sample
from tagger.football.scene import Scene, make_scene
from tagger.football.settings import Settings, shipped_settings
from tagger.football.shell import read_shell
from tagger.football.shift import OwnShifts, Shift, shift_over_time, shift_told
from tagger.football.snap import Snap, find_snap, front_at
from tagger.football.timeline import read_defenders
from tagger.football.types import Abstention, CoachFacts, Defender, PlayTracks, Reading
from tagger.football.variant import name_variant
from tagger.football.vocabulary import UNKNOWN
from vision.types import FloatArray

SNAP_STEP_S = 0.05
LEAST_AFTER_SNAP_S = 1.6
"""A quick throw and a film that ends look alike before this."""
FINE_STEP_S = 0.05
NO_COVERAGE = {"run": "the rep is a run: no zone grades", "screen": "the ball was out to a screen before anyone had a landmark",
               "quick": "the ball was out before anyone could reach a landmark"}


def read_play(play: PlayTracks, book: Book | None = None, settings: Settings | None = None,
              numbers: PlayBook | None = None, facts: CoachFacts | None = None, own: OwnShifts | None = None) -> Reading:
    """Read one rep. The snap is the play's own if it has one, else it is found. What a coach has fixed is certain, and the rest
    follows from it. `own` shifts the chances to those of the club's own film. Never raises on a rep that cannot be read: what
    is missing stands in `abstained`."""
    facts, own = facts or CoachFacts(), own or OwnShifts()
    settings, book = settings or shipped_settings(), book or shipped_book()
    abstained: list[Abstention] = []
    snap = locate_snap(play)
    if snap is None:
        return silent_reading(
            Abstention("snap", "nobody starts from a stand: the clip begins after the snap, or too few were followed"))
    try:
        scene = make_scene(play, snap.time_s, snap.front)
    except ValueError as error:
        return silent_reading(Abstention("rep", str(error)))
    if len(scene.defense) < 3 or len(scene.receivers) < 2:
        few = f"only {len(scene.offense)} of the offense and {len(scene.defense)} of the defense were followed"
        return silent_reading(Abstention("rep", few))
    if scene.last_s < LEAST_AFTER_SNAP_S and facts == CoachFacts():
        return shift_told(_cut_off(scene, snap, settings), own)
    numbers = numbers or shipped_playbook()
    release = find_release(scene, numbers)
    kinds = fixed_kind(facts, own.play_kind.of(play_kind(scene, release, numbers)))
    kind = max(kinds, key=lambda k: kinds[k])
    thrown_s = release.best_s if release is not None and release.plain and kind != "run" else None
    if release is not None and not release.plain and kind != "run":
        abstained.append(Abstention("release", "nobody's movement shows when the ball was out"))
    until_s = min(LATEST_S, scene.last_s)
    told = fixed_assignments(facts, scene, until_s)
    rush = rush_probability(scene, numbers, fixed_rush(told, scene))
    coverage, fixed = _coverage(scene, rush, book, until_s, told, facts, own.family, abstained)
    over_time = shift_over_time(own.family, family_over_time(scene, rush, book, until_s, fixed)) if coverage.family else ()
    look = read_shell(scene, settings.shell)
    end_s = end_of_play(scene, thrown_s)
    family, why = _family(coverage, kinds, kind, abstained)
    defenders = read_defenders(scene, coverage, look.slot, thrown_s, end_s, kind == "pass", kind)
    graded = kind == "pass" and bool(coverage.family)
    held_s = release.even_s if thrown_s is None and release is not None and kind == "pass" else thrown_s
    course = _course(scene, settings, coverage, defenders, held_s, thrown_s is not None, end_s)
    rushers = int((rush > 0.5).sum()) - sum(said.assignment == "spy" for said in fixed.values())
    target = release.target(scene) if graded and course.released and release is not None else None
    events, unsure = find_events(course, graded, rushers, target)
    man_of = {job.receiver: job.row for job in course.jobs if job.word == "man" and job.receiver is not None}
    reading = Reading(
        snap_s=round(snap.time_s, 3), release_s=None if thrown_s is None else round(snap.time_s + thrown_s, 3),
        end_s=round(snap.time_s + end_s, 3), play_kind=kinds, shell=look.shell, shell_why=look.shell_why,
        family=family, family_why=why, family_over_time=over_time, variant=_variant(course, settings) if graded else None,
        formation=read_formation(scene, settings.formation, find_motions(scene, settings.motion, man_of if graded else None)),
        defenders=defenders, events=events, abstained=(*abstained, *unsure), rush_count=rushers if scene.team else 0,
        box_count=look.box)
    return shift_told(reading, own)


def _cut_off(scene: Scene, snap: Snap, settings: Settings) -> Reading:
    """A rep whose film ends before it shows what became of it: only what stood at the snap is told."""
    why = f"the film ends {scene.last_s:.1f} s after the snap, before it shows what was played"
    look = read_shell(scene, settings.shell)
    defenders = tuple(Defender(scene.play.player_id[row], look.slot[k], ()) for k, row in enumerate(scene.defense))
    return Reading(
        snap_s=round(snap.time_s, 3), release_s=None, end_s=round(snap.time_s + scene.last_s, 3), play_kind={}, shell=look.shell,
        shell_why=look.shell_why, family={}, family_why=why, family_over_time=(), variant=None,
        formation=read_formation(scene, settings.formation, find_motions(scene, settings.motion)), defenders=defenders, events=(),
        abstained=(Abstention("play-kind", why), Abstention("family", why)), rush_count=None, box_count=look.box)


def _coverage(scene: Scene, rush: FloatArray, book: Book, until_s: float, fixed: Fixed, facts: CoachFacts,
              shift: Shift, abstained: list[Abstention]) -> tuple[Coverage, Fixed]:
    """The coverage on what the coach fixed, and what of it was used: nothing where no structure of the book has it all."""
    family = None if facts.family == UNKNOWN else facts.family
    coverage = read_coverage(scene, rush, book, until_s, fixed, family, shift)
    if coverage.family or not (fixed or family):
        return coverage, fixed
    abstained.append(Abstention("coverage", "no structure of the book has all that was fixed; the others were read without it"))
    return read_coverage(scene, rush, book, until_s, shift=shift), {}


def _course(scene: Scene, settings: Settings, coverage: Coverage, defenders: tuple[Defender, ...], held_s: float | None,
            released: bool, end_s: float) -> Course:
    best = max(coverage.family, key=lambda name: coverage.family[name], default=UNKNOWN)
    return set_course(scene, settings, defenders, held_s, released, end_s, best, coverage.family.get(best, 0.0))


def _variant(course: Course, settings: Settings) -> str | None:
    """The variant; who is a safety and who a corner is taken from the shell shown, before anybody rotates."""
    scene = course.scene
    slots = dict(zip(map(int, scene.defense),
                     read_shell(scene, settings.shell, max(SHOWN_S, float(scene.time_s[0]))).slot, strict=True))
    return name_variant(course.family, [replace(job, slot=slots[job.row]) for job in course.jobs])


def locate_snap(play: PlayTracks) -> Snap | None:
    """The snap, rounded to a frame of the input, as film shows it; tracks of few frames a second have it marked on the frame
    after it, later by what their step is longer than FINE_STEP_S."""
    if len(play.time_s) < 8:
        return None
    grid = np.arange(play.time_s[0], play.time_s[-1], SNAP_STEP_S)
    if len(grid) < 20:
        return None
    sampled = sample(play.time_s, play.xy_yd, play.sigma_yd, play.facing_rad, grid)
    offense = play.side == "offense"
    if offense.sum() < 3:
        return None
    if play.snap_s is not None:
        at = int(np.argmin(np.abs(grid - play.snap_s)))
        return Snap(play.snap_s, front_at(sampled, offense, at), 1.0)
    found = find_snap(sampled, offense)
    if found is None:
        return None
    shows_s = found.time_s + max(0.0, float(np.median(np.diff(play.time_s))) - FINE_STEP_S)
    frame = float(play.time_s[int(np.argmin(np.abs(play.time_s - shows_s)))])
    return Snap(frame, found.front, found.confidence)


def end_of_play(scene: Scene, thrown_s: float | None) -> float:
    """When most have slowed to a walk after the throw (or after 2.5 s), at the latest when the tracks end; after the snap."""
    start = scene.at((thrown_s or 2.0) + 0.8)
    slow = np.median(np.linalg.norm(scene.velocity, axis=2)[:, start:], axis=0) < 1.0
    quiet = np.flatnonzero(slow)
    return float(scene.time_s[start + int(quiet[0])]) if len(quiet) else scene.last_s


def _family(coverage: Coverage, kinds: dict[str, float], kind: str, abstained: list[Abstention]) -> tuple[dict[str, float], str]:
    """Family probabilities; of a rep that has no coverage to grade, `unknown` with the chance of that before all others."""
    if not coverage.family:
        abstained.append(Abstention("family", "no structure of the book has as many men in coverage as were seen"))
        return {}, "no structure fits"
    if kind != "pass":
        reason = NO_COVERAGE[kind]
        abstained.append(Abstention("family", reason))
        return {UNKNOWN: 1.0 - kinds["pass"]} | {name: p * kinds["pass"] for name, p in coverage.family.items()}, reason
    best = max(coverage.family, key=lambda name: coverage.family[name])
    return dict(coverage.family), _family_why(coverage, best)


def _family_why(coverage: Coverage, best: str) -> str:
    words = {"deep": 0, "man": 0, "rush": 0, "under": 0}
    for chances in coverage.roles.values():
        role = max(chances, key=lambda r: chances[r]) if chances else ""
        word = "man" if role.startswith("man") else "rush" if role == "rush" else "deep" if role.startswith("deep") else "under"
        words[word] += 1 if role else 0
    said = {"deep": "deep", "under": "underneath", "man": "in man", "rush": "rushing"}
    return f"{best}: " + ", ".join(f"{words[word]} {phrase}" for word, phrase in said.items() if words[word])


def silent_reading(abstention: Abstention) -> Reading:
    """A reading that says nothing but why."""
    why = abstention.why
    return Reading(None, None, None, {}, {}, why, {}, why, (), None, None, (), (), (abstention,))
