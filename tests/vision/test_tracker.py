"""Situations that can be checked by hand, each under its own name."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.tracker import track
from vision.types import NO_KIT, Detections, Tracks

SIZE = (1280, 720)
RATE = 30.0
HEIGHT, WIDTH = 60.0, 24.0
RED, BLUE = np.array([4.0, 0.0, 0.0]), np.array([0.0, 0.0, 4.0])


def box(x: float, y: float, height: float = HEIGHT, width: float = WIDTH) -> list[float]:
    """The box of somebody whose feet are at (x, y)."""
    return [x - width / 2, y - height, x + width / 2, y]


def clip(feet: np.ndarray, seed: int = 0, noise_px: float = 0.7, hidden: np.ndarray | None = None,
         frames: np.ndarray | None = None) -> list[Detections]:
    """Detections of people with feet (N, T, 2) px, without those that are `hidden` (N, T), in random order a frame."""
    rng = np.random.default_rng(seed)
    out = []
    for k in range(feet.shape[1]) if frames is None else frames:
        rows = [i for i in range(len(feet)) if hidden is None or not hidden[i, k]]
        rng.shuffle(rows)
        boxes = np.array([box(*feet[i, k]) for i in rows]).reshape(-1, 4) + rng.normal(0, noise_px, (len(rows), 4))
        out.append(Detections(int(k), k / RATE, boxes.astype(np.float32), np.full(len(rows), 0.9, np.float32),
                              np.zeros(len(rows), np.int64)))
    return out


def looks(detections: list[Detections], feet: np.ndarray, colours: list[np.ndarray], seed: int = 1) -> list[np.ndarray]:
    """Noisy colours of whoever is nearest to each box."""
    rng = np.random.default_rng(seed)
    return [np.array([colours[np.abs(feet[:, d.frame_index] - foot).sum(axis=1).argmin()] + rng.normal(0, 0.5, 3)
                      for foot in d.ground_px]).reshape(-1, 3) for d in detections]


def line(start: tuple[float, float], end: tuple[float, float], frames: int = 90) -> np.ndarray:
    return np.linspace(start, end, frames)


def identities(tracks: Tracks, feet: np.ndarray, within_px: float = 15.0) -> list[list[int]]:
    """For every person the ids that followed him, in order, each once a stretch; seen rows only."""
    out: list[list[int]] = [[] for _ in feet]
    for row in np.flatnonzero(tracks.observed):
        off = np.linalg.norm(feet[:, tracks.frame_index[row]] - tracks.ground_px[row], axis=1)
        person = int(off.argmin())
        if off[person] < within_px and (not out[person] or out[person][-1] != tracks.track_id[row]):
            out[person].append(int(tracks.track_id[row]))
    return out


def test_nobody_there() -> None:
    assert len(track([], SIZE)) == 0
    assert len(track(clip(np.zeros((0, 5, 2))), SIZE)) == 0


def test_a_single_picture_shows_everybody_once() -> None:
    tracks = track(clip(np.array([[[300.0, 400.0]], [[500.0, 420.0]]])), SIZE)
    assert tracks.track_id.tolist() == [1, 2]


def test_one_man_walking_is_one_track_on_every_frame() -> None:
    feet = line((300, 400), (500, 400))[None]
    tracks = track(clip(feet), SIZE)
    assert len(tracks) == 90
    assert set(tracks.track_id) == {1}
    assert tracks.observed.all()
    assert np.abs(tracks.ground_px - feet[0]).mean() < 1.0
    assert (tracks.kit_id == NO_KIT).all()
    assert tracks.time_s == pytest.approx(np.arange(90) / RATE)


def test_smoothing_is_nearer_to_the_truth_than_the_boxes() -> None:
    feet = line((300, 400), (500, 430))[None]
    detections = clip(feet, noise_px=1.5)
    tracks = track(detections, SIZE)
    raw = np.array([d.ground_px[0] for d in detections])
    assert np.linalg.norm(tracks.ground_px - feet[0], axis=1).mean() < 0.6 * np.linalg.norm(raw - feet[0], axis=1).mean()


def test_sigma_is_honest_where_boxes_sway_with_the_stride_and_err_alike() -> None:
    """Six men walk; a box's middle leads and trails its man by a quarter of a yard, and its noise lasts for some frames."""
    rng = np.random.default_rng(4)
    px_yd = np.array([30.0, 12.0])
    feet = np.stack([line((200 + 60 * i, 300 + 60 * i), (600 + 60 * i, 330 + 60 * i), 150) for i in range(6)])
    noise = rng.normal(0, 1.5, (6, 150, 2))
    for k in range(1, 150):
        noise[:, k] = 0.8 * noise[:, k - 1] + 0.6 * noise[:, k]
    sway = 0.28 * px_yd * np.sin(np.arange(150)[None, :, None] / 10 + rng.uniform(0, 6, (6, 1, 2)))
    tracks = track(clip(feet + sway + noise, noise_px=0.3), SIZE,
                   plane_from_image=np.tile(np.diag([*(1 / px_yd), 1.0]), (150, 1, 1)),
                   plane_sigma_yd=np.full(150, 0.05))
    assert [len(ids) for ids in identities(tracks, feet)] == [1] * 6
    off_yd = (tracks.ground_px[:, None] - feet[:, tracks.frame_index].swapaxes(0, 1)) / px_yd
    off2 = (off_yd**2).sum(axis=2).min(axis=1) / 2  # of one axis
    # The plane is as if seen through lenses of 30 and 12 px a yard: alike in px is the mean of both on the ground.
    sigma2 = tracks.foot_sigma_px.astype(float) ** 2 * (1 / px_yd**2).mean()
    assert 0.7 < np.sqrt((off2 / sigma2).mean()) < 1.4


def test_two_men_crossing_without_being_hidden() -> None:
    feet = np.stack([line((300, 400), (600, 400)), line((600, 412), (300, 412))])
    tracks = track(clip(feet), SIZE)
    assert [len(ids) for ids in identities(tracks, feet)] == [1, 1]


def test_crossing_behind_somebody_keeps_the_direction_of_running() -> None:
    feet = np.stack([line((300, 400), (600, 400)), line((600, 406), (300, 406))])
    hidden = np.zeros((2, 90), bool)
    hidden[0, 36:54] = True
    tracks = track(clip(feet, hidden=hidden), SIZE)
    assert [len(ids) for ids in identities(tracks, feet)] == [1, 1]
    bridged = ~tracks.observed
    assert bridged.sum() == 18
    assert tracks.foot_sigma_px[bridged].max() > 1.5 * np.median(tracks.foot_sigma_px[~bridged])


def test_two_who_meet_and_part_are_told_by_their_kit() -> None:
    """Both stop, stand in one box, and turn back: motion alone says they ran through each other."""
    out = np.concatenate([line((300, 400), (440, 400), 40), np.tile([440.0, 400.0], (20, 1)), line((440, 400), (300, 400), 40)])
    other = np.concatenate([line((590, 403), (446, 403), 40), np.tile([446.0, 403.0], (20, 1)), line((446, 403), (590, 403), 40)])
    feet = np.stack([out, other])
    hidden = np.zeros((2, 100), bool)
    hidden[0, 34:66] = True
    detections = clip(feet, hidden=hidden)
    told = track(detections, SIZE, appearance=looks(detections, feet, [RED, BLUE]))
    assert [len(ids) for ids in identities(told, feet)] == [1, 1]


def blocking(seed: int, through: bool) -> tuple[np.ndarray, list[Detections]]:
    """Two meet, stand in a block for a second, half of it unseen and the rest in poor boxes, and part: `through` each other or
    back to where they came from."""
    rng = np.random.default_rng(seed)
    left, right = line((440, 400), (300, 394), 40), line((452, 404), (600, 410), 40)
    stand = np.cumsum(rng.normal(0, 0.4, (2, 36, 2)), axis=1)
    feet = np.stack([np.concatenate([line((300, 400), (440, 400), 30), [440.0, 400.0] + stand[0], right if through else left]),
                     np.concatenate([line((600, 404), (452, 404), 30), [452.0, 404.0] + stand[1], left if through else right])])
    hidden = np.zeros(feet.shape[:2], bool)
    hidden[:, 30:66] = rng.random((2, 36)) < 0.5
    seen = []
    for d in clip(feet, seed=seed, hidden=hidden):
        if 30 <= d.frame_index < 66:
            off = np.stack([rng.normal(0, 2, len(d))] * 2, axis=1)
            boxes = np.stack([d.xyxy[:, 0] + off[:, 0], d.xyxy[:, 1], d.xyxy[:, 2] + off[:, 1],
                              d.xyxy[:, 3] + rng.normal(0, 4, len(d))], axis=1)
            d = Detections(d.frame_index, d.time_s, boxes.astype(np.float32), np.full(len(d), 0.4, np.float32), d.class_id)
        seen.append(d)
    return feet, seen


@pytest.mark.parametrize("through", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_two_who_block_in_poor_boxes_and_part_are_told_by_their_kit(seed: int, through: bool) -> None:
    feet, detections = blocking(seed, through)
    tracks = track(detections, SIZE, appearance=looks(detections, feet, [RED, BLUE], seed))
    first, second = identities(tracks, feet, within_px=9)
    assert first[0] == first[-1] != second[0] == second[-1]


def test_a_man_hidden_for_a_second_and_a_half() -> None:
    feet = np.stack([line((300, 400), (600, 420)), line((450, 500), (460, 500))])
    hidden = np.zeros((2, 90), bool)
    hidden[0, 25:70] = True
    tracks = track(clip(feet, hidden=hidden), SIZE)
    assert [len(ids) for ids in identities(tracks, feet)] == [1, 1]
    first = tracks.track_id == tracks.track_id[0]
    assert np.abs(tracks.ground_px[first & ~tracks.observed] - feet[0, 25:70]).max() < 12


def test_five_shoulder_to_shoulder_in_the_line_with_boxes_missing() -> None:
    rng = np.random.default_rng(5)
    start = np.stack([np.array([500 + 4.0 * i, 400 + 11.0 * i]) for i in range(5)])
    feet = np.repeat(start[:, None], 120, axis=1)
    feet[:, 60:, 0] -= np.linspace(0, 40, 60)  # they step back together at the snap
    hidden = rng.random((5, 120)) < np.array([0.4, 0.4, 0.3, 0.2, 0.0])[:, None]
    tracks = track(clip(feet, hidden=hidden), SIZE)
    assert [len(ids) for ids in identities(tracks, feet, within_px=6)] == [1] * 5


def test_leaves_the_picture_and_returns() -> None:
    out = np.concatenate([line((1150, 400), (1320, 400), 40), line((1320, 400), (1150, 400), 40)])
    feet = np.stack([out, np.tile([300.0, 500.0], (80, 1))])
    hidden = np.stack([out[:, 0] > 1275, np.zeros(80, bool)])
    detections = clip(feet, hidden=hidden)
    tracks = track(detections, SIZE)
    assert [len(ids) for ids in identities(tracks, feet)] == [1, 1]
    assert (tracks.ground_px[:, 0] < SIZE[0] + WIDTH).all()  # out of the picture is unknown, not invented


def test_somebody_else_far_away_later_is_somebody_else() -> None:
    feet = np.stack([line((300, 400), (340, 400)), line((900, 600), (940, 600))])
    hidden = np.zeros((2, 90), bool)
    hidden[0, 40:], hidden[1, :55] = True, True
    tracks = track(clip(feet, hidden=hidden), SIZE)
    assert len(set(tracks.track_id)) == 2


def test_doubled_boxes_make_no_second_man() -> None:
    feet = line((300, 400), (500, 400))[None]
    rng = np.random.default_rng(2)
    detections = []
    for d in clip(feet):
        both = np.concatenate([d.xyxy, d.xyxy + rng.normal(0, 2, (1, 4)).astype(np.float32)])
        detections.append(Detections(d.frame_index, d.time_s, both, np.array([0.9, 0.5], np.float32), np.zeros(2, np.int64)))
    tracks = track(detections, SIZE)
    assert set(tracks.track_id) == {1}


def test_false_boxes_now_and_then_make_no_track() -> None:
    feet = line((300, 400), (500, 400))[None]
    rng = np.random.default_rng(3)
    detections = []
    for d in clip(feet):
        extra = np.array([box(*rng.uniform([50, 100], [1200, 700]))], np.float32)
        detections.append(Detections(d.frame_index, d.time_s, np.concatenate([d.xyxy, extra]),
                                     np.array([0.9, 0.4], np.float32), np.zeros(2, np.int64)))
    assert set(track(detections, SIZE).track_id) == {1}


def panned(feet: np.ndarray, step_px: float) -> tuple[np.ndarray, np.ndarray]:
    """The same people seen by a camera that pans back and forth in jerks, and the picture's motion (T, 3, 3)."""
    shift = step_px * np.cumsum(np.sign(np.sin(np.arange(feet.shape[1]) / 4)))
    motion = np.tile(np.eye(3), (feet.shape[1], 1, 1))
    motion[1:, 0, 2] = np.diff(shift)
    return feet + np.stack([shift, np.zeros_like(shift)], axis=1), motion


def test_camera_pan_is_taken_out() -> None:
    still = np.stack([np.tile([400.0 + 35 * i, 400.0], (90, 1)) for i in range(6)])
    feet, motion = panned(still, 20.0)  # more than half the distance between them, a frame
    tracks = track(clip(feet), SIZE, image_motion=motion)
    assert [len(ids) for ids in identities(tracks, feet)] == [1] * 6
    assert len(set(tracks.track_id)) == 6


def test_the_plane_where_it_is_known_and_motion_where_it_is_not() -> None:
    still = np.stack([np.tile([400.0 + 35 * i, 400.0], (90, 1)) for i in range(6)])
    feet, motion = panned(still, 20.0)
    plane = np.linalg.inv(np.array([np.linalg.multi_dot([m, np.diag([30.0, 12.0, 1.0])]) for m in _chained(motion)]))
    plane[30:60] = np.nan
    sigma = np.where(np.isnan(plane[:, 0, 0]), np.nan, 0.1)
    tracks = track(clip(feet), SIZE, plane_from_image=plane, plane_sigma_yd=sigma, image_motion=motion)
    assert [len(ids) for ids in identities(tracks, feet)] == [1] * 6
    assert tracks.observed.all()


def _chained(motion: np.ndarray) -> list[np.ndarray]:
    out = [np.eye(3)]
    for step in motion[1:]:
        out.append(step @ out[-1])
    return out


def test_boxes_on_every_third_frame_are_bridged_to_all_frames() -> None:
    feet = np.stack([line((300, 400), (600, 420)), line((600, 450), (300, 440))])
    tracks = track(clip(feet, frames=np.arange(0, 90, 3)), SIZE, frame_index=np.arange(90), time_s=np.arange(90) / RATE)
    assert [len(ids) for ids in identities(tracks, feet)] == [1, 1]
    assert len(tracks) == 2 * 88  # to the last frame that has boxes
    assert (tracks.observed == (tracks.frame_index % 3 == 0)).all()
    for person, ids in enumerate(identities(tracks, feet)):
        rows = tracks.track_id == ids[0]
        assert np.abs(tracks.ground_px[rows] - feet[person, :88]).mean() < 1.5


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), every=st.integers(1, 3))
def test_rows_are_sorted_boxes_are_sound_and_nobody_is_twice_in_a_frame(seed: int, every: int) -> None:
    rng = np.random.default_rng(seed)
    feet = rng.uniform([100, 200], [1200, 700], (4, 1, 2)) + np.cumsum(rng.normal(0, 2, (4, 30, 2)), axis=1)
    detections = clip(feet, seed=seed, hidden=rng.random((4, 30)) < 0.3, frames=np.arange(0, 30, every))
    tracks = track(detections, SIZE, frame_index=np.arange(30), time_s=np.arange(30) / RATE)
    assert (np.diff(tracks.frame_index * 1000 + tracks.track_id) > 0).all()
    assert (tracks.xyxy[:, 2:] > tracks.xyxy[:, :2]).all()
    assert np.isfinite(tracks.xyxy).all()
    assert ((tracks.confidence >= 0) & (tracks.confidence <= 1)).all()


def test_what_does_not_fit_together_is_told() -> None:
    detections = clip(line((300, 400), (500, 400))[None])
    with pytest.raises(ValueError, match="strictly growing"):
        track(detections, SIZE, frame_index=np.arange(90), time_s=np.zeros(90))
    with pytest.raises(ValueError, match="order of time"):
        track(detections[::-1], SIZE, frame_index=np.arange(90), time_s=np.arange(90) / RATE)
    with pytest.raises(ValueError, match="not among"):
        track(detections, SIZE, frame_index=np.arange(50), time_s=np.arange(50) / RATE)
    with pytest.raises(ValueError, match="appearance"):
        track(detections, SIZE, appearance=[np.zeros((3, 2))] * 90)
