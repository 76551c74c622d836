"""The reps that chance puts before the coach: the queue shows doubtful reps first, so only these tell how right the machine is on
the sure ones too."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence

from tagger.library.queue_order import QueuedRep

LOT_SHARE = 0.1
LEAST_LOT = 20


def rank(name: str) -> int:
    """A rep's place in the draw; its name alone decides, so that no look at the film can."""
    return int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest())


def drawn(names: Iterable[str]) -> list[str]:
    """The names drawn, in the order of the draw: a tenth of them, at least LEAST_LOT. As a library grows, most stay drawn."""
    listed = sorted(names, key=rank)
    return listed[: max(LEAST_LOT, round(LOT_SHARE * len(listed)))]


def drawn_reps(queue: Sequence[QueuedRep]) -> list[QueuedRep]:
    """The queue's drawn reps, in the order of the draw; what is no rep takes no part."""
    reps = {rep.name: rep for rep in queue if rep.review_state != "not-a-rep"}
    return [reps[name] for name in drawn(reps)]
