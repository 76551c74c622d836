"""The football brain: yards in, tags out. Pure: no files, no clock, no pictures."""

from tagger.football.reading import read_play, silent_reading
from tagger.football.setting import play_from_field
from tagger.football.shift import OwnShifts
from tagger.football.types import Abstention, CoachFacts, PlayTracks, Reading, Situation

__all__ = [
    "Abstention", "CoachFacts", "OwnShifts", "PlayTracks", "Reading", "Situation", "play_from_field", "read_play",
    "silent_reading"]
