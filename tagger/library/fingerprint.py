"""A clip's identity: its content, so that a moved or renamed file is the same clip."""

from __future__ import annotations

import hashlib
from pathlib import Path

BLOCK_BYTES = 64 * 1024
SAMPLED_BLOCKS = 64
"""A file of more blocks than this is sampled evenly: a night's film must not be read twice."""


def fingerprint(path: Path) -> str:
    """Hexadecimal BLAKE2b (RFC 7693) over the size and up to SAMPLED_BLOCKS blocks, first and last among them.

    Raises FileNotFoundError or ValueError with a one-line message.
    """
    if not path.exists():
        raise FileNotFoundError(f"{path}: no such file")
    if not path.is_file():
        raise ValueError(f"{path}: not a file")
    size = path.stat().st_size
    digest = hashlib.blake2b(str(size).encode(), digest_size=20)
    blocks = -(-size // BLOCK_BYTES)
    if blocks <= SAMPLED_BLOCKS:
        offsets = [i * BLOCK_BYTES for i in range(blocks)]
    else:
        offsets = [i * (size - BLOCK_BYTES) // (SAMPLED_BLOCKS - 1) for i in range(SAMPLED_BLOCKS)]
    with path.open("rb") as file:
        for offset in offsets:
            file.seek(offset)
            digest.update(file.read(BLOCK_BYTES))
    return digest.hexdigest()
