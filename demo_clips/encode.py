"""Writes frames as an H.264 MP4 that players everywhere open."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any

import av
import numpy as np
import numpy.typing as npt


class Mp4Writer:
    """A context manager: `write` frames one by one. `quality` is x264's constant rate factor (lower is better)."""

    def __init__(self, path: Path, size_px: tuple[int, int], rate: Fraction, quality: int = 26, preset: str = "veryfast") -> None:
        if size_px[0] % 2 or size_px[1] % 2:
            raise ValueError(f"size {size_px[0]}x{size_px[1]}: H.264 in 4:2:0 needs an even width and height")
        self._container: Any = av.open(str(path), "w", options={"movflags": "+faststart"})
        stream: Any = self._container.add_stream("libx264", rate=rate)
        stream.width, stream.height = size_px
        stream.pix_fmt = "yuv420p"
        stream.codec_context.time_base = 1 / rate
        # Macroblock-tree rate control reads memory that it did not fill, so that files differed from run to run at some sizes.
        exact = "mbtree=0:weightp=0"
        stream.options = {"crf": str(quality), "preset": preset, "g": str(round(2 * rate)), "threads": "1", "x264-params": exact}
        self._stream, self._rate, self._index = stream, rate, 0

    def __enter__(self) -> Mp4Writer:
        return self

    def write(self, bgr: npt.NDArray[np.uint8]) -> None:
        frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(bgr), format="bgr24")
        frame.pts, frame.time_base = self._index, 1 / self._rate
        self._index += 1
        self._container.mux(self._stream.encode(frame))

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        if kind is None:
            self._container.mux(self._stream.encode())
        self._container.close()
