"""Counts as shares with their uncertainty: E. B. Wilson, "Probable Inference, the Law of Succession, and Statistical
Inference", JASA 22 (1927), by scipy."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from scipy.stats import binomtest

CONFIDENCE = 0.95
FEW = 10
"""Fewer reps than this are marked: their interval is wider than any difference a coach would act on."""


@dataclass(frozen=True)
class Share:
    """`count` of `total`; `low` and `high` bound the share behind it with CONFIDENCE, None of nothing."""

    count: int
    total: int
    low: float | None
    high: float | None

    @property
    def share(self) -> float | None:
        """The observed share, None of nothing."""
        return self.count / self.total if self.total else None

    @property
    def few(self) -> bool:
        """Too small a sample to lean on."""
        return self.total < FEW

    @property
    def words(self) -> str:
        """As "3 of 12" and, on the next line, "25% (9-53%)"."""
        if self.share is None or self.low is None or self.high is None:
            return "none"
        return f"{self.count} of {self.total}\n{self.share:.0%} ({100 * self.low:.0f}-{100 * self.high:.0f}%)"


@lru_cache(maxsize=4096)
def share_of(count: int, total: int) -> Share:
    """The share with its Wilson interval. Raises ValueError unless 0 <= count <= total."""
    if not 0 <= count <= total:
        raise ValueError(f"share: {count} of {total}")
    if not total:
        return Share(0, 0, None, None)
    interval = binomtest(count, total).proportion_ci(CONFIDENCE, method="wilson")
    return Share(count, total, float(interval.low), float(interval.high))
