"""Is a file film? Its first picture is decoded, in a process of its own: a crafted file may crash, hang or eat memory there.

`python -m tagger.review.upload_check PATH` is that process; it prints one line of JSON.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tagger.review.upload_names import NotTaken

PATIENCE_S = 60.0
ADDRESS_SPACE_BYTES = 6 << 30
PROCESSOR_S = 60


def check_film(path: Path) -> None:
    """Raises NotTaken with one line that names `path` if it cannot be tagged."""
    try:
        done = subprocess.run([sys.executable, "-m", "tagger.review.upload_check", str(path)], stdin=subprocess.DEVNULL,
                              capture_output=True, timeout=PATIENCE_S, check=False)
    except subprocess.TimeoutExpired:
        raise NotTaken(f"{path}: no picture came out of it in {PATIENCE_S:.0f} s (a damaged file?); export it anew") from None
    try:
        line = json.loads(done.stdout.splitlines()[-1])["line"]
    except (IndexError, ValueError, KeyError, TypeError):
        raise NotTaken(f"{path}: the decoder broke over it (a damaged file?); export it anew") from None
    if line:
        raise NotTaken(line)


def main(path: Path) -> None:
    """Print why this is no film, or an empty line."""
    _limit()
    from vision.video import probe

    try:
        probe(path)
        line = ""
    except (ValueError, OSError) as error:
        line = " ".join(str(error).split())
    except MemoryError:
        line = f"{path}: wants too much memory; export it smaller"
    print(json.dumps({"line": line}))


def _limit() -> None:
    try:
        import resource
    except ImportError:  # Windows: the time limit is all there is
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR_S, PROCESSOR_S))
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE_BYTES, ADDRESS_SPACE_BYTES))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
