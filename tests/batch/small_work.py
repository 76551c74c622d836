"""Work that is done in a real process but takes no film: what stands in a file's text decides how it goes."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "library"))

from made_reps import clip

from tagger.batch.clip_bytes import clip_to_bytes, clips_to_bytes
from tagger.batch.process import Tell
from tagger.library import fingerprint


def act(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """The first word of the file: rep, slow, hang, crash, eat, fault, refuse, definitions, storage, print, recording."""
    path = Path(arguments["path"])
    text = path.read_text(encoding="utf-8")
    mark = fingerprint(path)
    tell(0.1, "watching")
    word = text.split()[0]
    if word == "slow":
        time.sleep(float(text.split()[1]))
    elif word == "hang":
        time.sleep(600)
    elif word == "crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    elif word == "eat":
        eaten = [bytearray(1 << 26) for _ in range(1000)]
        time.sleep(len(eaten))
    elif word == "fault":
        raise ZeroDivisionError("by zero")
    elif word == "refuse":
        raise ValueError(f"{path}: not a video")
    elif word == "definitions":
        raise ValueError("coverages.toml: line 3 is not understood")
    elif word == "storage":
        raise OSError(5, "Input/output error", str(path))
    elif word == "print":
        print("noise on stdout", flush=True)
        os.write(1, b"and below\n")
    family = "cover-1" if "cover-1" in text else "cover-3"
    view = "end-zone" if "end-zone" in path.name else "sideline"
    made = clip(path.stem, family, view=view)
    return clip_to_bytes(replace(made, path=path, fingerprint=mark, size_bytes=path.stat().st_size), str(path).encode())


def lay_together(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """Both views as cover-6, unless a file says that it is apart (then nothing) or crashes the joining
    (`joint-kill` the first time only)."""
    paths = [Path(Path(whole).read_text(encoding="utf-8")) for whole in arguments["wholes"]]
    texts = [path.read_text(encoding="utf-8") for path in paths]
    if any("joint-crash" in text for text in texts):
        os.kill(os.getpid(), signal.SIGKILL)
    if any("joint-kill" in text for text in texts) and not (killed := paths[0].with_suffix(".killed")).exists():
        killed.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    if any("apart" in text for text in texts):
        return b""
    views = ["end-zone" if "end-zone" in path.name else "sideline" for path in paths]
    return clips_to_bytes([
        clip_to_bytes(replace(clip(path.stem, "cover-6", view=view), path=path, fingerprint=mark))
        for path, view, mark in zip(paths, views, arguments["prints"], strict=True)])


def only_decode(arguments: Mapping[str, Any], tell: Tell) -> bytes:
    """Every frame of each of the films `paths`, by the tagger's own reader; what became of each, a JSON list. Tells each path
    before."""
    from vision.video import probe, read_frames

    ends = []
    for number, path in enumerate(arguments["paths"]):
        tell(number / len(arguments["paths"]), path)
        try:
            probe(Path(path))
            ends.append(f"{sum(1 for _ in read_frames(Path(path), 1080))} frames")
        except (ValueError, FileNotFoundError) as error:
            ends.append(str(error))
    return json.dumps(ends).encode()
