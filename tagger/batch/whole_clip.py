"""All of a tagged clip on its way from the process that tagged it to the one that reads both views of a rep as one."""

from __future__ import annotations

import pickle
import zlib
from pathlib import Path
from typing import Any


def pack_whole(tagged: Any) -> bytes:
    """For `load_whole` alone."""
    return zlib.compress(pickle.dumps(tagged, protocol=pickle.HIGHEST_PROTOCOL), 1)


def load_whole(path: Path) -> Any:
    """What `pack_whole` packed into a file. Only in a process of its own: the file comes from one that has read film from
    anywhere."""
    return pickle.loads(zlib.decompress(path.read_bytes()))
