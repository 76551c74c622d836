"""The reps behind every number of a report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from tagger.cutups.page import Cell, RepList
from tagger.cutups.proportions import FEW, share_of
from tagger.library import RepSummary


@dataclass
class RepLists:
    """Collects the reps behind each number while the page is made, each list once."""

    base: str
    lists: dict[str, RepList] = field(default_factory=dict)

    def cell(self, words: str, reps: Iterable[RepSummary], search: str, title: str, few: bool = False) -> Cell:
        """A cell that leads to its reps; without a link where there are none."""
        found = tuple((rep.rep_id, rep.name) for rep in reps)
        if not found:
            return Cell(words, None, few)
        whole = " and ".join(part for part in (f"({self.base})" if self.base else "", search) if part)
        key = self.lists[whole].key if whole in self.lists else f"reps-{len(self.lists) + 1}"
        self.lists.setdefault(whole, RepList(key, title, whole, found))
        return Cell(words, key, few)

    def count(self, reps: Sequence[RepSummary], search: str, title: str) -> Cell:
        """How many, leading to them."""
        return self.cell(str(len(reps)), reps, search, title, len(reps) < FEW)

    def share(self, part: Sequence[RepSummary], total: Sequence[RepSummary], search: str, title: str) -> Cell:
        """A share with its interval, leading to the reps that it counts."""
        share = share_of(len(part), len(total))
        return self.cell(share.words, part, search, title, share.few)
