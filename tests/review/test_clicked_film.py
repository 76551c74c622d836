"""A rendered end-zone clip whose field was lost: the coach clicks six marks on the page's frame, the field is found over the
whole clip, tracks are placed and the rep is read; and the command line does the same. Real film, real detector."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browsing import HOST
from click.testing import CliRunner
from starlette.testclient import TestClient

from homography.field import LENGTH_YD, WIDTH_YD
from homography.marks import line_words, parse_mark, row_words
from homography.types import LOST, FieldTracks, FieldView, apply_homography
from homography.view import lost_view
from tagger.batch.work import record_of
from tagger.cli import main as deepthird
from tagger.football import Abstention, silent_reading
from tagger.library import ClipRecord, Library, RepRecord, fingerprint
from tagger.pipeline import tag_clip
from tagger.review.app import create_app
from tagger.review.catching_up import read_stale
from tagger.review.reread import is_stale
from tagger.review.safety import Door

pytestmark = pytest.mark.slow
SEED = "8814"
CLICK_PX = 1.5


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("film")
    words = ["simulate", "--seed", SEED, "--count", "1", "--views", "end-zone", "--out", str(folder)]
    done = CliRunner().invoke(deepthird, words)
    assert done.exit_code == 0, done.output
    return folder / "rep-001" / "rep-001-end-zone.mp4"


@pytest.fixture(scope="module")
def tagged(film: Path) -> ClipRecord:
    """What the real tagger makes of the clip."""
    return record_of(tag_clip(film), fingerprint(film))


@pytest.fixture(scope="module")
def robbed(tagged: ClipRecord) -> ClipRecord:
    """The same without its field and all that stands on it."""
    record = tagged
    view = lost_view(record.field_view.frame_index, record.field_view.image_size_px, "robbed for a test")
    nobody = FieldTracks(*(getattr(record.field_tracks, name)[:0] for name in FieldTracks.__dataclass_fields__))
    return replace(record, field_view=view, field_tracks=nobody, reading=silent_reading(Abstention("rep", "no field")),
                   track_of_player={}, side_of_player={})


@pytest.fixture(scope="module")
def lost(robbed: ClipRecord, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with that clip."""
    folder = tmp_path_factory.mktemp("library")
    with Library.open(folder) as library:
        library.save_rep(RepRecord("rep-001", (robbed,)))
    return folder


class Truth:
    """The clip's true field, turned so that the camera looks toward +x, as the tagger has it."""

    def __init__(self, film: Path) -> None:
        clip = json.loads((film.parent / "truth.json").read_text())["clips"][0]
        self.size = np.array([clip["width_px"], clip["height_px"]])
        self.half_turn = clip["camera"]["centre_yd"][0] > LENGTH_YD / 2
        self.frames = clip["frames"]

    def seen(self, frame: int, xy_yd: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Picture points of field points, and which are in the picture."""
        own = np.array([LENGTH_YD, WIDTH_YD]) - xy_yd if self.half_turn else xy_yd
        matrix = np.array(self.frames[frame]["image_from_field"])
        px = apply_homography(matrix, own)
        foot = np.append(apply_homography(np.linalg.inv(matrix), np.array([[self.size[0] / 2, self.size[1] - 1.0]]))[0], 1.0)
        ahead = np.column_stack([own, np.ones(len(own))]) @ matrix[2] * np.sign(matrix[2] @ foot) > 1e-9
        return px, ahead & (px > 8).all(axis=1) & (px < self.size - 8).all(axis=1)

    def errors_yd(self, view: FieldView) -> np.ndarray:
        """Errors over the visible field in every fifth registered frame."""
        grid = np.stack(np.meshgrid(np.arange(0.0, 121.0, 4.0), np.linspace(1.0, WIDTH_YD - 1.0, 9)), axis=-1).reshape(-1, 2)
        off = [np.zeros(0)]
        for row in np.flatnonzero(view.status != LOST)[::5]:
            px, there = self.seen(int(view.frame_index[row]), grid)
            off.append(np.linalg.norm(apply_homography(view.field_from_image[row], px[there]) - grid[there], axis=1))
        return np.concatenate(off)

    def clicks(self, frame: int, level: str, count: int) -> list[dict[str, Any]]:
        """Marks that a restless hand clicks, one from each part of the picture that shows some."""
        rng = np.random.default_rng(4)
        marks = [f"{line} {row}" for line in line_words("end-zone") for row in row_words("end-zone")
                 if row.endswith(("hash", "sideline"))]
        px, there = self.seen(frame, np.array([parse_mark(mark).xy_yd(level) for mark in marks]))
        chosen = rng.permutation(np.flatnonzero(there))[:count]
        return [{"frame_index": frame, "mark": marks[k], "image_xy_px": (px[k] + rng.normal(0, CLICK_PX, 2)).round(1).tolist()}
                for k in sorted(chosen)]


def level_of(film: Path) -> str:
    return str(json.loads((film.parent / "truth.json").read_text())["level"])


def test_clicks_on_the_page_bring_field_tracks_and_reading(film: Path, lost: Path, tagged: ClipRecord) -> None:
    truth, door = Truth(film), Door(frozenset({HOST}))
    clicks = truth.clicks(len(truth.frames) // 3, level_of(film), 6)
    with Library.open(lost) as library:
        rep = library.rep(1)
        mark = rep.main_clip.fingerprint
        assert not len(truth.errors_yd(library.arrays(rep.main_clip.clip_id).field_view)), "lost: nothing to be right about"
        assert rep.reading.snap_s is None
    headers = {"x-page-token": door.page_token, "origin": f"http://{HOST}"}
    with TestClient(create_app(lost, door), base_url=f"http://{HOST}", headers=headers) as client:
        body = {"version": 0, "who": "Coach A", "edits": [{"subject": f"clip:{mark}", "field": "anchors", "after": clicks}]}
        bad = [{**click, "image_xy_px": clicks[k - 1]["image_xy_px"]} for k, click in enumerate(clicks)]
        refused = client.post("/api/reps/1/corrections", json={**body, "edits": [{**body["edits"][0], "after": bad}]})
        assert refused.status_code == 422
        assert "contradict each other" in refused.json()["error"]
        said = client.post("/api/reps/1/corrections", json=body)
        assert said.status_code == 200, said.text
        version = said.json()["version"]
        read = client.post("/api/reps/1/reread", json={"version": version})
        assert read.status_code == 200, read.text
        moving = client.get(f"/api/reps/1/moving/{rep.main_clip.clip_id}").json()
        undone = client.post("/api/reps/1/undo", json={"version": version, "who": "Coach A", "correction_id": version}).json()
        bare = client.get(f"/api/reps/1/moving/{rep.main_clip.clip_id}").json()
        client.post("/api/reps/1/undo", json={"version": undone["version"], "who": "Coach A", "correction_id": undone["version"]})
        client.post("/api/reps/1/reread", json={"version": undone["version"] + 1})
    assert set(bare["status"]) == {"lost"}, "undone"
    with Library.open(lost) as library:
        found = library.clicked_fields.find(rep.main_clip.clip_id, clicks)
        whole = library.rep(1)
    assert found is not None
    off = truth.errors_yd(found)
    print(f"after: {found.solved_share:.0%} of the frames, median {np.median(off):.3f} yd, p95 {np.quantile(off, 0.95):.3f} yd")
    assert found.solved_share > 0.95
    assert np.median(off) <= 0.15
    assert moving["status"].count("lost") < 0.05 * len(moving["status"])
    sides = [person["side"] for person in moving["people"]]
    before = list(tagged.side_of_player.values())
    for side in ("offense", "defense"):
        assert sides.count(side) >= before.count(side) - 1, "as many as on the field that was robbed"
    assert whole.reading.snap_s is not None
    assert abs(len(whole.reading.defenders) - len(tagged.reading.defenders)) <= 1
    assert whole.automatic.snap_s is None, "the blind reading stays what it was"


def test_clicks_on_the_command_line_outlive_a_new_tagging(film: Path, lost: Path, robbed: ClipRecord, tmp_path: Path) -> None:
    truth = Truth(film)
    frame = len(truth.frames) // 2
    at_s = truth.frames[frame]["time_s"]
    clicks = truth.clicks(frame, level_of(film), 6)
    table = tmp_path / "marks.csv"
    rows = [(click["mark"], *click["image_xy_px"]) for click in clicks]
    table.write_text("mark,x_px,y_px\n" + "".join(f"{mark},{x},{y}\n" for mark, x, y in rows))
    words = ["inspect", film, "--at", f"{at_s:.3f}", "--marks", table, "--keep", "Coach B", "--library", lost, "--json"]
    done = CliRunner().invoke(deepthird, [str(word) for word in words])
    assert done.exit_code == 0, done.output
    seen = json.loads(done.stdout)
    assert seen["status"] == "solved"
    assert seen["yard_line_known"]
    with Library.open(lost) as library:
        last = library.rep(1).corrections[-1]
    assert (last.who, last.field, [one["mark"] for one in last.after]) == ("Coach B", "anchors", [c["mark"] for c in clicks])

    # A new tagging, which again finds no field: the clicks are still there, and the field is found again.
    with Library.open(lost) as library:
        library.save_rep(RepRecord("rep-001", (robbed,)))
        rep = library.rep(1)
        assert is_stale(rep)
        assert library.clicked_fields.find(rep.main_clip.clip_id, last.after) is None
    read_stale(lost, [1], threading.Lock())
    with Library.open(lost) as library:
        rep = library.rep(1)
        found = library.clicked_fields.find(rep.main_clip.clip_id, last.after)
        assert found is not None
        assert np.median(truth.errors_yd(found)) <= 0.15
        assert rep.reading.snap_s is not None
