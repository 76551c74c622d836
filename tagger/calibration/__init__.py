"""Learns from the reps that a coach has finished how sure the machine may be on this club's film."""

from tagger.calibration.cases import TooFew, finished_cases
from tagger.calibration.fit import Outcome, calibrate

__all__ = ["Outcome", "TooFew", "calibrate", "finished_cases"]
