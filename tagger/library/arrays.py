"""The arrays of a clip as compressed NPZ bytes, so that review can infer anew without the pixels."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np
import numpy.typing as npt

from homography.types import CameraPath, FieldTracks, FieldView
from vision.types import Tracks

_CAMERA = "camera_"


def pack(kept: Tracks | FieldTracks | FieldView) -> bytes:
    """Compressed NPZ of every field; the camera's fields stand beside the view's, prefixed."""
    values: dict[str, Any] = {f.name: getattr(kept, f.name) for f in fields(kept)}
    camera = values.pop("camera", None)
    if camera is not None:
        values |= {_CAMERA + f.name: getattr(camera, f.name) for f in fields(camera)}
    arrays = {name: np.asarray(value) for name, value in values.items() if value is not None}
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    return buffer.getvalue()


def _unpack(data: bytes) -> dict[str, npt.NDArray[Any]]:
    with np.load(io.BytesIO(data), allow_pickle=False) as archive:
        return {name: archive[name] for name in archive.files}


def unpack_tracks(data: bytes) -> Tracks:
    """Tracks from `pack`'s bytes."""
    return Tracks(**_unpack(data))


def unpack_field_tracks(data: bytes) -> FieldTracks:
    """FieldTracks from `pack`'s bytes."""
    return FieldTracks(**_unpack(data))


def unpack_field_view(data: bytes) -> FieldView:
    """FieldView from `pack`'s bytes."""
    values: dict[str, Any] = _unpack(data)
    camera = {name.removeprefix(_CAMERA): values.pop(name) for name in list(values) if name.startswith(_CAMERA)}
    camera |= {name: float(value) for name, value in camera.items() if not value.ndim}
    return FieldView(
        **{name: value for name, value in values.items() if name not in _PLAIN},
        view=str(values["view"]),
        level=_text(values, "level"),
        yard_line_known=bool(values["yard_line_known"]),
        image_size_px=(int(values["image_size_px"][0]), int(values["image_size_px"][1])),
        reason=str(values["reason"]),
        camera=CameraPath(**camera) if camera else None,
    )


_PLAIN = {"view", "level", "yard_line_known", "image_size_px", "reason"}


def _text(values: Mapping[str, npt.NDArray[Any]], name: str) -> str | None:
    return str(values[name]) if name in values else None
