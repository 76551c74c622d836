"""Detection, tracking and registration on cases that can be checked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_truths import flat_clip, seen

from homography.field import LENGTH_YD, WIDTH_YD
from tagger.scoring.detection import average_precision, overlap
from tagger.scoring.predicted import Said, SaidFrame, said_from_json
from tagger.scoring.registration import Gauge, field_errors, registration, visible_points
from tagger.scoring.tracking import sequence, tracking
from tagger.scoring.truth import TrueClip, TrueFrame

A, B, FAR = [0.0, 0.0, 10.0, 10.0], [100.0, 0.0, 110.0, 10.0], [500.0, 500.0, 510.0, 510.0]


def picture(  # type: ignore[no-untyped-def]
    truth: list[list[float]], found: list[list[float]], counted: list[bool] | None = None
):
    return (
        np.array(truth).reshape(-1, 4),
        np.array(counted if counted is not None else [True] * len(truth), bool),
        np.array(found, float).reshape(-1, 5),
    )


def test_overlap_of_boxes() -> None:
    assert overlap(np.array([A]), np.array([A, FAR, [5.0, 0.0, 15.0, 10.0]]))[0].tolist() == pytest.approx([1.0, 0.0, 1 / 3])


@pytest.mark.parametrize(
    ("name", "pictures", "wanted"),
    [
        ("all found", [picture([A, B], [[*A, 0.9], [*B, 0.8]])], 1.0),
        ("nothing found", [picture([A, B], [])], 0.0),
        # Recall reaches 1/2 at precision 1: the recall points 0.00 to 0.50 are 51 of 101.
        ("half found", [picture([A, B], [[*A, 0.9]])], 51 / 101),
        # One wrong box above both right ones: precision 1/2 at recall 1/2, 2/3 at recall 1; its envelope is 2/3 everywhere.
        ("wrong box first", [picture([A, B], [[*FAR, 0.95], [*A, 0.9], [*B, 0.8]])], 2 / 3),
        ("wrong box last", [picture([A, B], [[*A, 0.9], [*B, 0.8], [*FAR, 0.1]])], 1.0),
        ("found twice, the second is wrong", [picture([A, B], [[*A, 0.9], [*A, 0.85], [*B, 0.8]])], (51 + 50 * 2 / 3) / 101),
        ("hidden person neither asked for nor held against", [picture([A, B], [[*A, 0.5], [*B, 0.9]], [True, False])], 1.0),
        ("hidden person not found", [picture([A, B], [[*A, 0.5]], [True, False])], 1.0),
        ("confidence counts over all pictures", [picture([A], [[*FAR, 0.9]]), picture([A], [[*A, 0.5]])], 51 / 101 / 2),
    ],
)
def test_average_precision(name: str, pictures: list, wanted: float) -> None:  # type: ignore[type-arg]
    assert average_precision(pictures) == pytest.approx(wanted), name


def test_average_precision_without_people_is_no_number() -> None:
    assert average_precision([picture([A], [], [False])]) is None
    assert average_precision([]) is None


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.floats(0.01, 1.0)), min_size=1, max_size=30), st.integers(0, 5))
def test_average_precision_is_the_area_under_the_envelope(boxes: list[tuple[bool, float]], missed: int) -> None:
    """Against the definition, point by point (Lin et al. 2014): best precision at or beyond each of 101 recalls."""
    people = [[20.0 * i, 0.0, 20.0 * i + 10, 10.0] for i in range(sum(right for right, _ in boxes) + missed)]
    if not people:
        return
    right, found = iter(people), []
    for is_right, confidence in boxes:
        found.append([*(next(right) if is_right else FAR), confidence])
    order = sorted(range(len(boxes)), key=lambda i: -boxes[i][1])
    points = []
    for n in range(1, len(order) + 1):
        hits = sum(boxes[i][0] for i in order[:n])
        points.append((hits / len(people), hits / n))
    wanted = np.mean([max((p for r, p in points if r >= level / 100 - 1e-9), default=0.0) for level in range(101)])
    assert average_precision([picture(people, found)]) == pytest.approx(float(wanted))


def tracks_clip(boxes: dict[str, list[float]], frames: int, counted: bool = True) -> TrueClip:
    names = tuple(boxes)
    return TrueClip(
        "sideline",
        flat_clip().path,
        1280,
        720,
        tuple(
            TrueFrame(i, i / 30, np.eye(3), names, np.array([boxes[n] for n in names]), np.full(len(names), counted))
            for i in range(frames)
        ),
    )


def tracked(rows: list[list[tuple[int, list[float]]]]) -> Said:
    return Said(
        {},
        {},
        {
            i: SaidFrame(None, np.array([t for t, _ in row], int), np.array([b for _, b in row]).reshape(-1, 4))
            for i, row in enumerate(rows)
        },
    )


def test_perfect_tracks() -> None:
    found = tracking([(tracks_clip({"D1": A, "D2": B}, 10), tracked([[(1, A), (2, B)]] * 10))])
    assert found == pytest.approx({"hota": 1.0, "deta": 1.0, "assa": 1.0, "idf1": 1.0, "switches_per_rep": 0.0})


def test_two_people_who_exchange_their_tracks_halfway() -> None:
    """Each real person overlaps each track in 5 of 10 frames: association 5 / (10 + 10 - 5) = 1/3, all boxes right, so
    HOTA = sqrt(1 * 1/3) (Luiten et al. 2021, eq. 5 to 7); IDF1 = 1/2; two switches."""
    rows = [[(1, A), (2, B)]] * 5 + [[(2, A), (1, B)]] * 5
    found = tracking([(tracks_clip({"D1": A, "D2": B}, 10), tracked(rows))])
    assert found["assa"] == pytest.approx(1 / 3)
    assert found["hota"] == pytest.approx(math.sqrt(1 / 3))
    assert found["idf1"] == pytest.approx(0.5)
    assert found["switches_per_rep"] == 2.0


def test_a_person_lost_halfway() -> None:
    """5 of 10 boxes: detection 1/2; association of each found box 5 / 10."""
    found = tracking([(tracks_clip({"D1": A}, 10), tracked([[(1, A)]] * 5 + [[]] * 5))])
    assert (found["deta"], found["assa"], found["hota"]) == pytest.approx((0.5, 0.5, 0.5))


def test_a_box_on_a_hidden_person_is_left_out() -> None:
    clip = tracks_clip({"D1": A}, 3, counted=False)
    data = sequence(clip, tracked([[(7, A)]] * 3))
    assert (data["num_gt_dets"], data["num_tracker_dets"]) == (0, 0)


def test_tracking_agrees_with_trackeval_on_a_frame_it_never_saw() -> None:
    """A frame of the truth without any output counts as missed."""
    found = tracking([(tracks_clip({"D1": A}, 10), tracked([[(1, A)]] * 5))])
    assert found["deta"] == pytest.approx(0.5)


def shifted(dx: float, dy: float = 0.0, turn: bool = False) -> np.ndarray:
    plain = np.array([[0.1, 0.0, dx], [0.0, 0.1, dy], [0.0, 0.0, 1.0]])
    return np.array([[-1.0, 0.0, LENGTH_YD], [0.0, -1.0, WIDTH_YD], [0.0, 0.0, 1.0]]) @ plain if turn else plain


@pytest.mark.parametrize(
    ("matrix", "known", "median", "aliased"),
    [
        (shifted(0.0), True, 0.0, False),
        (shifted(0.3, 0.4), True, 0.5, False),
        (shifted(5.0), True, 5.0, True),  # a wrong yard line that is called known
        (shifted(-10.0), False, 0.0, False),  # not known: whole steps of 5 yd are granted
        (shifted(1.0), False, 1.0, False),
        (shifted(0.0, turn=True), True, 0.0, False),  # the field looks the same after a half-turn
        (shifted(15.3, turn=True), False, 0.3, False),
    ],
)
def test_registration_errors(matrix: np.ndarray, known: bool, median: float, aliased: bool) -> None:
    found = registration([field_errors(flat_clip(), seen(6, matrix, known))])
    assert found["median_yd"] == pytest.approx(median, abs=1e-9)
    assert found["solved_share"] == 1.0
    assert found["aliased_share"] == (float(aliased) if known else None)


def test_lost_frames_lower_the_solved_share_only() -> None:
    half = Said({}, {}, {0: seen(1, shifted(0.0)).frames[0]})
    found = registration([field_errors(flat_clip(), half)])
    assert (found["median_yd"], found["solved_share"]) == (pytest.approx(0.0), 0.5)
    lost = registration([field_errors(flat_clip(), seen(6, None))])
    assert (lost["median_yd"], lost["solved_share"], lost["aliased_share"]) == (None, 0.0, None)


def test_only_points_in_the_picture_and_in_front_count() -> None:
    """A camera 10 yd up at the near sideline's middle, looking flat along +y: rows of the ground from the horizon down."""
    clip = flat_clip()
    f, width, height = 1000.0, clip.width_px, clip.height_px
    # Pinhole at (60, -20, 10) looking toward +y: image x = f (X - 60) / (Y + 20) + w/2, image y = f 10 / (Y + 20) + h/4.
    matrix = np.array([[f, width / 2, -60 * f + 20 * width / 2], [0, height / 4, 20 * height / 4 + 10 * f], [0, 1, 20.0]])
    for sign in (1.0, -1.0):
        frame = TrueFrame(0, 0.0, sign * matrix, (), np.empty((0, 4)), np.empty(0, bool))
        xy, px = visible_points(clip, frame)
        assert len(xy)
        np.testing.assert_allclose(px[:, 0], f * (xy[:, 0] - 60) / (xy[:, 1] + 20) + width / 2, atol=1e-9)
        assert (np.abs(xy[:, 0] - 60) * f / (xy[:, 1] + 20) <= width / 2).all()


def test_gauge_of_a_half_turn() -> None:
    np.testing.assert_allclose(Gauge(True, 5.0).true_from_said(np.array([[20.0, 10.0]])), [[105.0, WIDTH_YD - 10.0]])


def test_output_of_reduced_film_is_brought_to_the_files_pixels() -> None:
    value = {
        "width": 640,
        "height": 360,
        "yard_line_known": True,
        "seconds": {"a": 1.0, "b": 2.0},
        "duration_s": 6.0,
        "reading": {},
        "players": {},
        "detections": {"0": [[1, 2, 3, 4, 0.5]]},
        "frames": [{"index": 0, "boxes": [[7, 10, 20, 30, 40]], "field_from_image": np.eye(3).tolist()}],
    }
    said = said_from_json(value, 1280)
    assert said.frames[0].xyxy.tolist() == [[20, 40, 60, 80]]
    np.testing.assert_allclose(
        said.frames[0].field_from_image @ np.array([20.0, 40.0, 1.0]), [10.0, 20.0, 1.0])  # type: ignore[operator]
    assert (said.taken_s, said.duration_s) == (3.0, 6.0)
