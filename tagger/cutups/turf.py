"""Painting on the turf: shapes in field yards, laid into the picture under the people who stand on them.

Shapes are projected by the clip's registration, frame by frame. Inside the people's boxes only what looks like turf is
painted, so a man stays in front of what is drawn beneath him.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from shapely.geometry import LineString, MultiLineString, Polygon

from homography import to_image
from homography.field import LENGTH_YD, WIDTH_YD
from homography.types import LOST, FieldView, apply_homography
from tagger.cutups.lettering import draw_plate
from tagger.cutups.palette import bgr
from vision.types import FloatArray, IntArray, Tracks

AREA_OPACITY, FAINT_OPACITY = 0.42, 0.16
SEGMENT_YD = 1.0
"""Edges are cut into pieces no longer than this, so that a bent lens bends them too."""
SUBPIXEL_BITS = 4
BOX_MARGIN = 0.12
"""Boxes are widened by this share before turf and people are told apart: arms reach out of them."""
TURF_SPREADS = 4.0
TURF_LEAST_CHROMA, TURF_DARKER, TURF_BRIGHTER = 7.0, 70.0, 30.0
"""OpenCV Lab units. Turf may be far darker (shadow) but not much brighter (shirts, lines) than its median."""
GRID_PX = 16
HEAD_YD = 2.2
NEAR_SHARE = 0.1
"""Points nearer to the camera's plane than this share of the picture's middle are cut off: they would be behind it."""


@dataclass(frozen=True)
class Area:
    """A translucent area: `outline_yd` (N, 2) field frame, `hatch_yd` line pieces (K, 2, 2) over it, colour "#RRGGBB"."""

    outline_yd: FloatArray
    hatch_yd: FloatArray
    colour: str
    faint: bool = False


@dataclass(frozen=True)
class Stroke:
    """A line on the turf through `points_yd` (N, 2); `dashed` leaves out every other piece."""

    points_yd: FloatArray
    colour: str
    width_px: int = 2
    dashed: bool = False


@dataclass(frozen=True)
class Label:
    """Words at a spot of the field: below it, so that they do not hide the feet, or `above` the head of who stands there."""

    at_yd: tuple[float, float]
    words: str
    colour: str
    above: bool = False


Shape = Area | Stroke | Label


def area_of(polygon: Polygon, colour: str, hatch_rad: float | None, faint: bool = False, spacing_yd: float = 1.6) -> Area:
    """An Area from a polygon in yards: its edge in short pieces, hatched in the given direction (0 = along the first axis)."""
    edge = np.array(polygon.exterior.segmentize(SEGMENT_YD).coords)[:-1]
    if hatch_rad is None:
        return Area(edge, np.zeros((0, 2, 2)), colour, faint)
    centre = np.array(polygon.centroid.coords[0])
    along = np.array([np.cos(hatch_rad), np.sin(hatch_rad)])
    normal = np.array([-along[1], along[0]])
    reach = float(np.linalg.norm(edge - centre, axis=1).max())
    pieces: list[FloatArray] = []
    for offset in np.arange(-reach, reach, spacing_yd) + spacing_yd / 2:
        middle = centre + offset * normal
        cut = LineString([middle - reach * along, middle + reach * along]).intersection(polygon)
        for part in cut.geoms if isinstance(cut, MultiLineString) else [cut]:
            if isinstance(part, LineString) and not part.is_empty:
                points = np.array(part.segmentize(4 * SEGMENT_YD).coords)
                pieces.extend(np.stack([points[:-1], points[1:]], axis=1))
    return Area(edge, np.array(pieces).reshape(-1, 2, 2), colour, faint)


def circle_yd(centre_yd: FloatArray, radius_yd: float, pieces: int = 24) -> FloatArray:
    """(pieces + 1, 2) closed circle about a spot of the field."""
    angle = np.linspace(0.0, 2.0 * np.pi, pieces + 1)
    return np.asarray(centre_yd) + radius_yd * np.stack([np.cos(angle), np.sin(angle)], axis=1)


@dataclass
class TurfPainter:
    """Paints shapes into the frames of one clip. `view` and `tracks` are the clip's own; frames may be scaled."""

    view: FieldView
    tracks: Tracks
    _rows: dict[int, int] = field(init=False, default_factory=dict)
    _starts: IntArray = field(init=False)

    def __post_init__(self) -> None:
        self._rows = {int(frame): row for row, frame in enumerate(self.view.frame_index)}
        self._starts = self.tracks.frame_index

    def row_of(self, frame_index: int) -> int | None:
        """The registration's row of a frame; None where it is lost."""
        row = self._rows.get(frame_index)
        return None if row is None or self.view.status[row] == LOST else row

    def paint(self, frame_bgr: np.ndarray, frame_index: int, shapes: Sequence[Shape]) -> np.ndarray:
        """A copy of the frame with the shapes under its people; the frame itself where the registration is lost."""
        row = self.row_of(frame_index)
        if row is None or not shapes:
            return frame_bgr
        scale = frame_bgr.shape[1] / self.view.image_size_px[0]
        projection = _Projection(self.view, row, scale)
        painted = _fill(frame_bgr, projection, [s for s in shapes if isinstance(s, Area)])
        for stroke in (s for s in shapes if isinstance(s, Stroke)):
            _draw_stroke(painted, projection, stroke)
        self._people_back(frame_bgr, painted, frame_index, row, scale)
        _draw_labels(painted, projection, [s for s in shapes if isinstance(s, Label)])
        return painted

    def boxes(self, frame_index: int) -> FloatArray:
        """(N, 4) px in the clip's own size: everybody's boxes in a frame."""
        first, last = np.searchsorted(self._starts, [frame_index, frame_index + 1])
        return self.tracks.xyxy[first:last]

    def _people_back(self, original: np.ndarray, painted: np.ndarray, frame_index: int, row: int, scale: float) -> None:
        """Lay the people of the original picture over what was painted."""
        low, high = _turf_range(original, self.view.field_from_image[row], scale)
        height, width = original.shape[:2]
        for x0, y0, x1, y1 in self.boxes(frame_index) * scale:
            dx, dy = BOX_MARGIN * (x1 - x0), BOX_MARGIN * (y1 - y0) / 2
            left, right = max(int(x0 - dx), 0), min(int(x1 + dx) + 1, width)
            top, bottom = max(int(y0 - dy), 0), min(int(y1 + dy) + 1, height)
            if right - left < 3 or bottom - top < 3:
                continue
            patch = original[top:bottom, left:right]
            person = cv2.bitwise_not(cv2.inRange(cv2.cvtColor(patch, cv2.COLOR_BGR2LAB), low, high))
            cv2.copyTo(patch, cv2.medianBlur(person, 3), painted[top:bottom, left:right])


class _Projection:
    """Field yards to pixels of one (scaled) frame, cutting off what would lie behind the camera."""

    def __init__(self, view: FieldView, row: int, scale: float) -> None:
        self._view, self._row, self._scale = view, row, scale
        image_from_field = np.linalg.inv(view.field_from_image[row])
        width, height = view.image_size_px
        middle = apply_homography(view.field_from_image[row], np.array([[width / 2, height * 0.6]]))[0]
        depth = image_from_field[2]
        at_middle = depth[0] * middle[0] + depth[1] * middle[1] + depth[2]
        self._depth = depth / at_middle

    def in_front(self, points_yd: FloatArray) -> np.ndarray:
        """(N,) bool: far enough before the camera to be drawn."""
        front: np.ndarray = points_yd @ self._depth[:2] + self._depth[2] > NEAR_SHARE
        return front

    def points(self, points_yd: FloatArray) -> FloatArray:
        """(N, 2) px."""
        return to_image(self._view, self._row, points_yd) * self._scale

    def outline(self, outline_yd: FloatArray) -> FloatArray:
        """(M, 2) px of a closed outline; its part behind the camera cut off, so maybe nothing."""
        front = self.in_front(outline_yd)
        if not front.all():
            outline_yd = outline_yd[front]
        return self.points(outline_yd) if len(outline_yd) >= 3 else np.zeros((0, 2))

    def pieces(self, pieces_yd: FloatArray) -> FloatArray:
        """(K, 2, 2) px of those line pieces that lie wholly before the camera."""
        ends = pieces_yd.reshape(-1, 2)
        front = self.in_front(ends).reshape(-1, 2).all(axis=1)
        return self.points(pieces_yd[front].reshape(-1, 2)).reshape(-1, 2, 2)


def _fixed(points_px: FloatArray) -> np.ndarray:
    """Pixels as OpenCV's fixed-point integers; far outside points are held where it can still count."""
    return np.rint(np.clip(points_px, -1e5, 1e5) * (1 << SUBPIXEL_BITS)).astype(np.int32)


def _fill(frame: np.ndarray, projection: _Projection, areas: Sequence[Area]) -> np.ndarray:
    painted = frame
    for faint, opacity in ((True, FAINT_OPACITY), (False, AREA_OPACITY)):
        chosen = [area for area in areas if area.faint == faint]
        if not chosen:
            continue
        layer = painted.copy()
        outlines = [_fixed(projection.outline(area.outline_yd)) for area in chosen]
        for area, outline in zip(chosen, outlines, strict=True):
            if not len(outline):
                continue
            cv2.fillPoly(layer, [outline], bgr(area.colour), cv2.LINE_AA, SUBPIXEL_BITS)
            hatch = list(_fixed(projection.pieces(area.hatch_yd)))
            cv2.polylines(layer, hatch, False, (255, 255, 255), 2, cv2.LINE_AA, SUBPIXEL_BITS)
        painted = cv2.addWeighted(painted, 1.0 - opacity, layer, opacity, 0.0)
        for outline in outlines:
            if len(outline) and not faint:
                cv2.polylines(painted, [outline], True, (255, 255, 255), 1, cv2.LINE_AA, SUBPIXEL_BITS)
    return painted.copy() if painted is frame else painted


def _draw_stroke(painted: np.ndarray, projection: _Projection, stroke: Stroke) -> None:
    points = stroke.points_yd
    if len(points) < 2:
        return
    pieces = projection.pieces(np.stack([points[:-1], points[1:]], axis=1))
    lines = list(_fixed(pieces[::2] if stroke.dashed else pieces))
    cv2.polylines(painted, lines, False, (0, 0, 0), stroke.width_px + 2, cv2.LINE_AA, SUBPIXEL_BITS)
    cv2.polylines(painted, lines, False, bgr(stroke.colour), stroke.width_px, cv2.LINE_AA, SUBPIXEL_BITS)


def _draw_labels(painted: np.ndarray, projection: _Projection, labels: Sequence[Label]) -> None:
    """Words above heads first, then those at feet from the far side to the near one, pushed away where they would overlap."""
    if not labels:
        return
    at_yd = np.array([label.at_yd for label in labels])
    front = projection.in_front(at_yd)
    spots = projection.points(at_yd)
    half_yd = np.array([0.5, 0.5])
    head_px = HEAD_YD * np.linalg.norm(projection.points(at_yd + half_yd) - projection.points(at_yd - half_yd), axis=1)
    taken: list[tuple[int, int, int, int]] = []
    order = sorted(np.flatnonzero(front).tolist(), key=lambda i: (not labels[i].above, spots[i][1]))
    for index in order:
        label = labels[index]
        spot = spots[index] - [0.0, head_px[index]] if label.above else spots[index]
        draw_plate(painted, label.words, spot, label.colour, taken, label.above)


def _turf_range(frame: np.ndarray, field_from_image: FloatArray, scale: float) -> tuple[np.ndarray, np.ndarray]:
    """Lab (low, high) of the turf in this picture, from a coarse grid of the pixels that lie on the field."""
    height, width = frame.shape[:2]
    x, y = np.meshgrid(np.arange(GRID_PX // 2, width, GRID_PX), np.arange(GRID_PX // 2, height, GRID_PX))
    spots = np.stack([x.ravel(), y.ravel()], axis=1)
    on_field = apply_homography(field_from_image, spots / scale)
    inside = ((on_field > 0) & (on_field < [LENGTH_YD, WIDTH_YD])).all(axis=1)
    chosen = spots[inside] if inside.sum() >= 50 else spots
    lab = cv2.cvtColor(frame[chosen[:, 1], chosen[:, 0]][None], cv2.COLOR_BGR2LAB)[0].astype(float)
    median = np.median(lab, axis=0)
    spread = np.maximum(TURF_SPREADS * 1.4826 * np.median(np.abs(lab - median), axis=0), TURF_LEAST_CHROMA)
    low = median - spread
    high = median + spread
    low[0], high[0] = median[0] - TURF_DARKER, median[0] + TURF_BRIGHTER
    return np.clip(low, 0, 255), np.clip(high, 0, 255)
