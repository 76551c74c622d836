"""What the simulator and the generator of training frames leave on the disk."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from demo_clips.simulate import SCRIPT_COLUMNS, simulate
from demo_clips.training_frames import Stop, write_frames

SMALL = (480, 270)
SHORT = {"duration_s": 0.7, "rate": "29.97"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return simulate(31, 2, tmp_path_factory.mktemp("reps"), size=SMALL, options=SHORT)


def test_layout(folder: Path) -> None:
    names = sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())
    assert names == [
        "practice-script.csv",
        "rep-001/rep-001-end-zone.mp4",
        "rep-001/rep-001-sideline.mp4",
        "rep-001/truth.json",
        "rep-002/rep-002-end-zone.mp4",
        "rep-002/rep-002-sideline.mp4",
        "rep-002/truth.json",
    ]
    with (folder / "practice-script.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == SCRIPT_COLUMNS
    assert [r["clip"] for r in rows[:2]] == ["rep-001-sideline.mp4", "rep-001-end-zone.mp4"]


def test_truth_matches_the_film(folder: Path) -> None:
    truth = json.loads((folder / "rep-001" / "truth.json").read_text())
    known = {p["player_id"] for p in truth["players"]}
    for clip in truth["clips"]:
        with av.open(str(folder / "rep-001" / clip["file"])) as film:
            frames = [(f.time, f.width, f.height) for f in film.decode(video=0)]
        assert len(frames) == len(clip["frames"])
        assert np.allclose([f[0] for f in frames], [f["time_s"] for f in clip["frames"]], atol=1e-4), "exact container times"
        assert frames[0][1:] == SMALL == (clip["width_px"], clip["height_px"])
        for frame in clip["frames"]:
            assert np.array(frame["image_from_field"]).shape == (3, 3)
            boxes = np.array([row[1:] for row in frame["boxes"]])
            assert {row[0] for row in frame["boxes"]} <= known
            assert (boxes[:, :4] >= 0).all()
            assert (boxes[:, [0, 2]] <= SMALL[0]).all()
            assert (boxes[:, [1, 3]] <= SMALL[1]).all()
            assert (boxes[:, 4] >= 0).all()
            assert (boxes[:, 4] <= 1).all()


def test_feet_stand_where_the_tracks_say(folder: Path) -> None:
    """Boxes' lower middles, through the truth's homography, against the truth's tracks."""
    truth = json.loads((folder / "rep-002" / "truth.json").read_text())
    xy = dict(zip(truth["tracks"]["player_id"], truth["tracks"]["xy_yd"], strict=True))
    for clip in truth["clips"]:
        frame = clip["frames"][0]
        field_from_image = np.linalg.inv(np.array(frame["image_from_field"]))
        whole = [r for r in frame["boxes"] if r[5] > 0.9 and r[1] > 2 and r[3] < SMALL[0] - 2 and r[4] < SMALL[1] - 2]
        feet = np.array([[[(r[1] + r[3]) / 2, r[4]]] for r in whole])
        ground = cv2.perspectiveTransform(feet, field_from_image)[:, 0]
        off = np.linalg.norm(ground - np.array([xy[r[0]][0] for r in whole]), axis=1)
        assert len(whole) >= 5
        assert np.median(off) < 1.2


def test_a_second_run_keeps_what_is_there_and_other_seeds_are_refused(folder: Path) -> None:
    before = {p: p.stat().st_mtime_ns for p in folder.glob("rep-*/*")}
    calls: list[tuple[int, int]] = []
    simulate(31, 2, folder, size=SMALL, options=SHORT, progress=lambda done, of: calls.append((done, of)))
    assert before == {p: p.stat().st_mtime_ns for p in folder.glob("rep-*/*")}
    assert calls == [(2, 2)]
    with pytest.raises(ValueError, match="holds seed 31"):
        simulate(32, 1, folder, size=SMALL, options=SHORT)


def test_same_seed_same_film(folder: Path, tmp_path: Path) -> None:
    again = simulate(31, 1, tmp_path, size=SMALL, options=SHORT)
    for name in ("truth.json", "rep-001-sideline.mp4", "rep-001-end-zone.mp4"):
        assert (again / "rep-001" / name).read_bytes() == (folder / "rep-001" / name).read_bytes(), name


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"views": ("moon",)}, "view 'moon'"),
        ({"options": {"rate": "12"}}, "rate '12'"),
        ({"size": (641, 360)}, "even sides"),
        ({"count": 0}, "at least one"),
    ],
)
def test_wrong_orders_are_refused_in_one_line(tmp_path: Path, change: dict[str, object], says: str) -> None:
    order: dict[str, object] = {"seed": 1, "count": 1, "out_dir": tmp_path} | change
    with pytest.raises(ValueError, match=says) as caught:
        simulate(**order)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)


def test_training_frames(tmp_path: Path) -> None:
    recipe = write_frames(5, 4, tmp_path / "a", (480, 270))
    assert "0: person" in recipe.read_text()
    pictures = sorted((tmp_path / "a" / "images").rglob("*.jpg"))
    labels = sorted((tmp_path / "a" / "labels").rglob("*.txt"))
    assert [p.stem for p in pictures] == [p.stem for p in labels] == [f"5-{i:06d}" for i in (0, 1, 2, 3)] or len(pictures) == 4
    people = 0
    for picture, label in zip(pictures, labels, strict=True):
        assert cv2.imread(str(picture)).shape == (270, 480, 3)
        rows = np.loadtxt(label).reshape(-1, 5)
        people += len(rows)
        assert (rows[:, 0] == 0).all()
        assert (rows[:, 1:3] - rows[:, 3:] / 2 > -1e-5).all()
        assert (rows[:, 1:3] + rows[:, 3:] / 2 < 1 + 1e-5).all()
    assert people > 20
    write_frames(5, 2, tmp_path / "b", (480, 270))
    first = next((tmp_path / "a").rglob("5-000001.jpg")).read_bytes()
    assert first == next((tmp_path / "b").rglob("5-000001.jpg")).read_bytes()


def test_rendering_may_be_ended_early(tmp_path: Path) -> None:
    def enough(done: int, of: int) -> None:
        if done >= 2:
            raise Stop

    recipe = write_frames(6, 50, tmp_path, (320, 180), progress=enough)
    assert recipe.is_file()
    assert len(list(tmp_path.rglob("*.jpg"))) == len(list(tmp_path.rglob("*.txt"))) == 2
