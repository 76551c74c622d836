"""What is handed to the library and what it gives back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from homography.types import FieldTracks, FieldView
from tagger.football.types import Reading, Situation
from vision.types import Tracks

REVIEW_STATES = ("new", "corrected", "reviewed", "flagged", "not-a-rep")


@dataclass(frozen=True)
class ClipRecord:
    """One tagged clip: the file's facts, the arrays, and what football read in it.

    `fps` is the mean rate (times always come from the container). `track_of_player` maps a player of the reading to his
    `track_id`; `side_of_player` to "offense" or "defense"; `number_of_player` to the number read on his shirt, for those whose
    number is sure. `seconds` holds the time that each stage took.
    """

    path: Path
    fingerprint: str
    size_bytes: int
    fps: float | None
    duration_s: float | None
    width_px: int
    height_px: int
    frame_count: int | None
    tracks: Tracks
    field_tracks: FieldTracks
    field_view: FieldView
    reading: Reading
    track_of_player: Mapping[str, int] = field(default_factory=dict)
    side_of_player: Mapping[str, str] = field(default_factory=dict)
    seconds: Mapping[str, float] = field(default_factory=dict)
    number_of_player: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class RepRecord:
    """One rep to be saved: its clips (views), of which `main` gives the rep's reading, and the script's situation.

    `main` None leaves the choice to the library, which then also weighs the rep's clips that it has already. `views_of` has
    the fingerprints of other views of this rep: where one of them is known, this is the same rep.
    Raises ValueError for a rep without a clip or a clip twice.
    """

    name: str
    clips: tuple[ClipRecord, ...]
    situation: Situation = field(default_factory=Situation)
    main: int | None = 0
    views_of: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.clips or not 0 <= (self.main or 0) < len(self.clips):
            raise ValueError(f"{self.name}: a rep needs at least one clip, and its main one among them")
        if len({clip.fingerprint for clip in self.clips}) != len(self.clips):
            raise ValueError(f"{self.name}: two views with the same content; is one file a copy of the other?")


@dataclass(frozen=True)
class SavedRep:
    """Where a rep was put: `replaced` when the same film was in the library already."""

    rep_id: int
    name: str
    replaced: bool


@dataclass(frozen=True)
class StoredClip:
    """A clip as the library knows it; its own reading is automatic and in its own clock."""

    clip_id: int
    path: Path
    fingerprint: str
    view: str
    level: str | None
    is_main: bool
    fps: float | None
    duration_s: float | None
    width_px: int
    height_px: int
    solved_share: float
    yard_line_known: bool
    lost_reason: str
    snap_s: float | None
    track_of_player: Mapping[str, int]
    reading: Reading


@dataclass(frozen=True)
class ClipArrays:
    """The arrays of one clip."""

    tracks: Tracks
    field_tracks: FieldTracks
    field_view: FieldView


@dataclass(frozen=True)
class Correction:
    """A coach's word. `subject`: "rep", "defender:<player_id>", "player:<player_id>", "event", or "clip:<fingerprint>" (field
    "boxes": everybody who stands in one frame, for training the detector; it changes no tag). `before` and `after` are JSON
    values. Sides, swapped or joined tracks, direction, ball spot and clicked field spots change tags only once the rep is
    read anew.

    `correction_id` 0 and an empty `made_at` mean: not saved yet.
    """

    who: str
    subject: str
    field: str
    after: Any
    reason: str = ""
    before: Any = None
    made_at: str = ""
    correction_id: int = 0
    undoes: int | None = None


class RepSummary(NamedTuple):
    """A rep's line in a list. `family_source` is "auto" or "coach"; `disguised` 0 or 1."""

    rep_id: int
    name: str
    folder: str
    review_state: str
    down: int | None
    distance_yd: float | None
    hash: str | None
    period: str | None
    personnel: str | None
    call: str | None
    yards_to_goal: float | None
    field_zone: str | None
    snap_s: float | None
    end_s: float | None
    play_kind: str | None
    shell: str | None
    shell_confidence: float | None
    family: str
    family_confidence: float
    family_source: str
    variant: str | None
    set_name: str | None
    disguised: int


@dataclass(frozen=True)
class StoredRep:
    """One whole rep: `reading` and `situation` are effective (the coach's word over the automatic value), `automatic` and
    `script` as they were tagged. `reread_upto` is the newest correction that was read into the tags anew, 0 for none.
    `verdicts` runs beside `reading.events`: "open", "confirmed" or "added". `laid`: how the other view lies on the main one
    (JSON values), where a coach's word on a field let them be laid on each other when the rep was read anew."""

    summary: RepSummary
    clips: tuple[StoredClip, ...]
    reading: Reading
    situation: Situation
    automatic: Reading
    script: Situation
    corrections: tuple[Correction, ...]
    verdicts: tuple[str, ...]
    numbers: Mapping[str, str]
    by_coach: frozenset[str]
    reread_upto: int = 0
    laid: Mapping[str, Any] | None = None

    @property
    def main_clip(self) -> StoredClip:
        """The clip whose clock the reading's times are in."""
        return next(clip for clip in self.clips if clip.is_main)
