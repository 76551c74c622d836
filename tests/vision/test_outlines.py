"""Two opinions of a box's sides make one that is better than either."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.outlines import sigma_of_sides, tightened
from vision.sights import Sight
from vision.types import Detections

TRUE = np.array([[100.0, 200.0, 130.0, 270.0]])


def sight(outline: np.ndarray) -> Sight:
    n = len(outline)
    empty = {name: np.zeros((n, 1), np.float32) for name in Sight.__dataclass_fields__}
    return Sight(**empty | {"outline": outline.astype(np.float32), "readable": np.zeros(n, np.float32)})


def found(xyxy: np.ndarray, confidence: float) -> Detections:
    return Detections(3, 0.1, xyxy.astype(np.float32), np.full(len(xyxy), confidence, np.float32), np.zeros(len(xyxy), np.int64))


@given(st.floats(0.2, 1.0), st.floats(0.3, 5.0))
def test_between_both_and_nearer_to_the_surer(confidence: float, error_px: float) -> None:
    boxes = found(TRUE + 2.0, confidence)
    outline = np.hstack([TRUE - 2.0, [[114.0, 268.0]], np.full((1, 6), error_px)])
    both = tightened(boxes, sight(outline))
    assert ((both.xyxy + 1e-3 >= TRUE - 2.0) & (both.xyxy <= TRUE + 2.0 + 1e-3)).all()
    own, looked = sigma_of_sides(boxes.xyxy, boxes.confidence), error_px * 2**0.5
    assert ((both.xyxy < TRUE) == (looked < own - 0.05)).all() or np.allclose(own, looked, rtol=0.1)
    assert both.outlines is not None
    assert (both.outlines.side_sigma_px < np.minimum(own, looked) + 1e-3).all()
    assert 113.0 <= both.ground_px[0, 0] <= 117.0


def test_nobody_flies_without_good_reason() -> None:
    """Common practice, no source: at nearly all times a foot is on the ground."""
    for error_px, lowest in ((14.0, 277.0), (1.0, 290.0)):
        outline = np.hstack([TRUE, [[115.0, 295.0]], np.full((1, 4), 1.0), np.full((1, 2), error_px)])
        off = tightened(found(TRUE, 0.9), sight(outline)).ground_px[0, 1] - lowest
        assert off < 0 if error_px > 5 else off > 0


def test_nobody_and_somebody_else() -> None:
    nobody = found(np.zeros((0, 4)), 0.9)
    assert tightened(nobody, sight(np.zeros((0, 12)))) is nobody
    with pytest.raises(ValueError, match="a look at 2 people for 1 boxes"):
        tightened(found(TRUE, 0.9), sight(np.ones((2, 12))))
    one = tightened(found(TRUE, 0.9), sight(np.ones((1, 12))))
    with pytest.raises(ValueError, match="1 outlines of 2 boxes"):
        replace(found(np.tile(TRUE, (2, 1)), 0.9), outlines=one.outlines)
