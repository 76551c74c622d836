"""Scores what the tagger said, as JSON, against what is true. Knows nothing of how the tagger works."""

from tagger.scoring.report import Scored, report
from tagger.scoring.truth import TrueClip, Truth, find_truths, load_truth

__all__ = ["Scored", "TrueClip", "Truth", "find_truths", "load_truth", "report"]
