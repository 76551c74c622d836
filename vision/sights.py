"""What one look at a person's crop tells: which way his torso faces, his role, his cloth's colours, the number on his shirt.

Runs on the stream of frames; the pictures go, a few numbers a person stay. The networks are those of `vision.crop_training`.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from vision.crops import cut, window
from vision.types import FloatArray

LOOKS_WEIGHTS, NUMBERS_WEIGHTS = "looks.onnx", "numbers.onnx"
FACING_BINS = 36
NUMBER_FROM_PX = 42.0
"""Nobody reads a number on a smaller man."""
NUMBER_SQUARE = 0.35
"""Nor one that is turned farther from the camera; mean absolute cosine over the facings that are possible."""
LOG_SCALES = (-6.0, 0.0)
"""Bounds of the logarithm of an outline's mean error, in shares of the crop's height."""
AT_A_TIME = 64
"""People per call, so that a crowd does not take more memory than a team."""


@dataclass(frozen=True)
class Sight:
    """What the boxes (N) of one frame showed.

    `facing` (N, 36) log probabilities of the torso's facing relative to the camera's viewing ray, bin k about
    -pi + (k + 1/2) 2 pi / 36 (0 looks away from the camera, +-pi into it, growing leftward); `role` (N, 3) probabilities of
    player, official, other; `cloth` (N, 9) CIE Lab of shirt, trousers and helmet; `tens` (N, 11; the last: none) and `units`
    (N, 10) log probabilities of the number's digits; `readable` (N,) probability that it can be read, 0 where nobody tried;
    `outline` (N, 12): left, top, right, lower edge and the ground (x, y) in px, then the mean error of each."""

    facing: npt.NDArray[np.float32]
    role: npt.NDArray[np.float32]
    cloth: npt.NDArray[np.float32]
    tens: npt.NDArray[np.float32]
    units: npt.NDArray[np.float32]
    readable: npt.NDArray[np.float32]
    outline: npt.NDArray[np.float32]

    def __len__(self) -> int:
        return len(self.facing)


class CropReader:
    """Both networks on ONNX Runtime. Raises FileNotFoundError or ValueError with one line for missing or broken weights."""

    def __init__(self, threads: int | None = None, folder: Path | None = None) -> None:
        base = Path(str(files("models"))) if folder is None else folder
        self._looks, self._numbers = (_session(base / name, threads) for name in (LOOKS_WEIGHTS, NUMBERS_WEIGHTS))

    def look(self, bgr: npt.NDArray[np.uint8], xyxy: FloatArray, numbers: bool = True) -> Sight:
        """Look at the people in boxes (N, 4) of a picture (H, W, 3), at shirts' `numbers` only if asked: that is dearer."""
        if not len(xyxy):
            return _nothing(0)
        parts = [self._look(bgr, xyxy[start : start + AT_A_TIME], numbers) for start in range(0, len(xyxy), AT_A_TIME)]
        return Sight(*(np.concatenate([getattr(part, name) for part in parts]) for name in Sight.__dataclass_fields__))

    def _look(self, bgr: npt.NDArray[np.uint8], xyxy: FloatArray, numbers: bool) -> Sight:
        crops = cut(bgr, xyxy)
        facing, role, cloth, outline = self._looks.run(["facing", "role", "cloth", "outline"], {"crops": crops})
        seen = _nothing(len(xyxy))
        log_facing, log_role = _log_softmax(facing), _log_softmax(role)
        square = np.exp(log_facing) @ np.abs(np.cos(bin_angles()))
        width, height = (xyxy[:, 2:] - xyxy[:, :2]).T
        legible = np.flatnonzero((height >= NUMBER_FROM_PX) & (width < height) & (square >= NUMBER_SQUARE))
        if numbers and len(legible):
            tens, units, readable = self._numbers.run(["tens", "units", "readable"], {"crops": crops[legible]})
            seen.tens[legible], seen.units[legible] = _log_softmax(tens), _log_softmax(units)
            seen.readable[legible] = 1.0 / (1.0 + np.exp(-readable[:, 0].clip(-30, 30)))
        return Sight(log_facing, np.exp(log_role), np.asarray(50.0 * cloth, np.float32), seen.tens, seen.units, seen.readable,
                     _in_picture(outline, xyxy))


def bin_angles() -> FloatArray:
    """(36,) rad: the middle of every bin of `Sight.facing`."""
    angles: FloatArray = -np.pi + (np.arange(FACING_BINS) + 0.5) * 2 * np.pi / FACING_BINS
    return angles


def _nothing(n: int) -> Sight:
    """N sights that tell nothing."""
    def even(k: int) -> npt.NDArray[np.float32]:
        return np.full((n, k), -np.log(k), np.float32)

    return Sight(even(FACING_BINS), np.full((n, 3), 1 / 3, np.float32), np.zeros((n, 9), np.float32), even(11), even(10),
                 np.zeros(n, np.float32), np.zeros((n, 12), np.float32))


def _in_picture(outline: npt.NDArray[np.float32], xyxy: FloatArray) -> npt.NDArray[np.float32]:
    """Places (N, 12) in shares of the crops' height, to px of the picture."""
    seen = window(xyxy)
    place = outline[:, :6] * seen[:, 2:] + seen[:, [0, 1] * 3]
    return np.asarray(np.hstack([place, np.exp(outline[:, 6:].clip(*LOG_SCALES)) * seen[:, 2:]]), np.float32)


def _log_softmax(logits: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    low = logits - logits.max(axis=1, keepdims=True)
    return np.asarray(low - np.log(np.exp(low).sum(axis=1, keepdims=True)), np.float32)


def _session(path: Path, threads: int | None) -> Any:
    import onnxruntime

    if not path.is_file():
        raise FileNotFoundError(f"{path}: no such weights; reinstall the package")
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    if threads is not None:
        options.intra_op_num_threads, options.inter_op_num_threads = threads, 1
    try:
        return onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
    except Exception as error:  # onnxruntime raises a class of its own for every kind of broken file
        raise ValueError(f"{path}: not an ONNX network that can be read ({str(error).splitlines()[0][:120]})") from None
