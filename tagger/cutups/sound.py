"""The sound under a cut-up: what the film holds at natural speed, silence elsewhere, without a gap."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

RATE_HZ = 48_000
SoundArray = npt.NDArray[np.float32]


def has_sound(path: Path) -> bool:
    """Whether a film holds a sound track. Raises FileNotFoundError or ValueError if it cannot be opened."""
    with av.open(f"file:{path.resolve()}") as container:
        return bool(container.streams.audio)


def read_sound(path: Path, start_s: float, end_s: float) -> SoundArray:
    """(2, N) stereo sound at RATE_HZ from `start_s` to `end_s` of the film's clock; silent where it holds none or is damaged."""
    wanted = np.zeros((2, max(round((end_s - start_s) * RATE_HZ), 0)), np.float32)
    with av.open(f"file:{path.resolve()}") as container:
        if not container.streams.audio:
            return wanted
        stream = container.streams.audio[0]
        if start_s > 1.0 and stream.time_base:
            container.seek(int((start_s - 1.0) / stream.time_base), stream=stream)
        for at_s, chunk in _chunks(container, stream):
            first = round((at_s - start_s) * RATE_HZ)
            if first >= wanted.shape[1]:
                break
            low, high = max(first, 0), min(first + chunk.shape[1], wanted.shape[1])
            if high > low:
                wanted[:, low:high] = chunk[:, low - first : high - first]
    return wanted


def _chunks(container: Any, stream: Any) -> Iterator[tuple[float, SoundArray]]:
    resampler = av.AudioResampler(format="fltp", layout="stereo", rate=RATE_HZ)
    try:
        for frame in container.decode(stream):
            if frame.time is None:
                continue
            at_s = float(frame.time)
            frame.pts = None  # chunk by chunk: each is placed by its own time
            for piece in resampler.resample(frame):
                yield at_s, piece.to_ndarray().astype(np.float32, copy=False)
    except (av.error.FFmpegError, OSError):
        return


class SoundWriter:
    """Feeds sound to a film being written, always up to the picture's time."""

    def __init__(self, container: Any) -> None:
        self._container = container
        self._stream = container.add_stream("aac", rate=RATE_HZ, layout="stereo")
        self._stream.bit_rate = 128_000
        self._left: SoundArray = np.zeros((2, 0), np.float32)
        self._taken = self._written = 0

    def add(self, sound: SoundArray | None, until_s: float) -> None:
        """Append `sound`, or silence, cut or padded so that all of it ends at `until_s` of the cut-up."""
        count = round(until_s * RATE_HZ) - self._taken
        piece = np.zeros((2, max(count, 0)), np.float32)
        if sound is not None:
            length = min(piece.shape[1], sound.shape[1])
            piece[:, :length] = sound[:, :length]
        self._taken += piece.shape[1]
        self._left = np.concatenate([self._left, piece], axis=1)
        size = 1024  # an AAC frame
        while self._left.shape[1] >= size:
            self._encode(self._left[:, :size])
            self._left = self._left[:, size:]

    def close(self) -> None:
        """Write what is left."""
        if self._left.shape[1]:
            self._encode(self._left)
        self._container.mux(self._stream.encode(None))

    def _encode(self, samples: SoundArray) -> None:
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples), format="fltp", layout="stereo")
        frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, self._written, Fraction(1, RATE_HZ)
        self._written += samples.shape[1]
        self._container.mux(self._stream.encode(frame))
