"""Cut-ups, checked by decoding them: the right frames, in the right order, at the right times."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
from filmed_scene import END_S, RATE, SNAP_S, Scene, read_number

from tagger.cutups.edit_list import FILM, SLATE, STILL, CutStyle, EditList, plan
from tagger.cutups.film import Cut, write_film
from tagger.cutups.overlay import OVERLAYS, RepOverlay
from tagger.cutups.whole_file import OutputError

BARE = CutStyle(slate_s=0.0, freeze_s=0.0, sound=False, height_px=252)


def decode(path: Path) -> list[tuple[float, np.ndarray]]:
    with av.open(str(path)) as container:
        return [(float(frame.time or 0.0), frame.to_ndarray(format="bgr24")) for frame in container.decode(video=0)]


def frames_of(edit: EditList, scene: Scene) -> list[tuple[float, int]]:
    """(time in the cut-up, frame number) of every filmed frame, straight from the definition."""
    return [(piece.at_s + (time_s - piece.start_s) / piece.speed, index)
            for piece in edit.pieces if piece.kind == FILM
            for index, time_s in enumerate(scene.times_s) if piece.start_s <= time_s < piece.end_s]


def filmed(cut: Cut, pictures: list[tuple[float, np.ndarray]]) -> list[tuple[float, np.ndarray]]:
    spans = [(p.at_s, p.at_s + p.lasts_s) for p in cut.edit.pieces if p.kind == FILM]
    return [(t, picture) for t, picture in pictures if any(a - 1e-4 <= t < b - 1e-4 for a, b in spans)]


@pytest.mark.parametrize("slow", [1.0, 0.5])
def test_every_frame_of_uneven_film_is_there_once_and_in_its_own_time(uneven: Scene, tmp_path: Path, slow: float) -> None:
    style = replace(BARE, slow=slow, slate_s=1.0, freeze_s=0.6)
    edit = plan([uneven.cut_rep(events=uneven.reading.events)], style)
    cut = write_film(edit, tmp_path / "cut.mp4")
    wanted = frames_of(edit, uneven)
    found = filmed(cut, decode(cut.path))
    assert [read_number(picture) for _, picture in found] == [number for _, number in wanted]
    assert [t for t, _ in found] == pytest.approx([t for t, _ in wanted], abs=2e-3)
    assert not cut.copied


def test_the_frozen_picture_is_the_last_one_at_or_before_the_snap(scene: Scene, tmp_path: Path) -> None:
    edit = plan([scene.cut_rep()], replace(BARE, freeze_s=1.0))
    cut = write_film(edit, tmp_path / "cut.mp4")
    still = next(piece for piece in edit.pieces if piece.kind == STILL)
    held = [read_number(p) for t, p in decode(cut.path) if still.at_s - 1e-4 <= t < still.at_s + still.lasts_s - 1e-4]
    assert len(held) >= 5
    assert set(held) == {int(SNAP_S * RATE)}


def test_slate_then_sideline_then_end_zone_of_each_rep_in_order(scene: Scene, behind: Scene, tmp_path: Path) -> None:
    both = replace(scene.cut_rep(), clips=(*behind.cut_rep(view="end-zone").clips, *scene.cut_rep().clips))
    edit = plan([both, replace(both, name="rep-002")], replace(BARE, slate_s=1.0, lead_in_s=0.4, tail_s=0.0))
    kinds = [(p.kind, p.rep, None if p.clip is None else edit.reps[p.rep].clips[p.clip].view) for p in edit.pieces]
    one = [(SLATE, 0, None), (FILM, 0, "sideline"), (FILM, 0, "end-zone")]
    assert kinds == [*one, *((k, 1, v) for k, _, v in one)]
    cut = write_film(edit, tmp_path / "cut.mp4")
    pictures = decode(cut.path)
    assert len({picture.shape for _, picture in pictures}) == 1
    wanted = [number for piece in edit.pieces if piece.kind == FILM
              for s in [scene if edit.reps[0].clips[piece.clip or 0].view == "sideline" else behind]
              for number, t in enumerate(s.times_s) if piece.start_s <= t < piece.end_s]
    assert [read_number(p) for _, p in filmed(cut, pictures)] == wanted


def test_it_is_h264_yuv420p_with_the_index_in_front(scene: Scene, tmp_path: Path) -> None:
    """What browsers play: ISO/IEC 14496-12 boxes with moov before mdat, H.264 in 4:2:0."""
    cut = write_film(plan([scene.cut_rep()], BARE), tmp_path / "cut.mp4")
    with av.open(str(cut.path)) as container:
        stream = container.streams.video[0]
        assert (stream.codec_context.name, stream.codec_context.pix_fmt) == ("h264", "yuv420p")
    data = cut.path.read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


def test_sound_is_kept_under_natural_speed_and_silent_elsewhere(uneven: Scene, tmp_path: Path) -> None:
    style = replace(BARE, sound=True, slate_s=1.0, slow=0.5)
    edit = plan([uneven.cut_rep(events=uneven.reading.events)], style)
    cut = write_film(edit, tmp_path / "cut.mp4")
    with av.open(str(cut.path)) as container:
        sound = np.concatenate([frame.to_ndarray() for frame in container.decode(audio=0)], axis=1)[0]
    assert len(sound) / 48_000 == pytest.approx(edit.duration_s, abs=0.1)
    for piece in edit.pieces:
        heard = sound[int((piece.at_s + 0.1) * 48_000) : int((piece.at_s + piece.lasts_s - 0.1) * 48_000)]
        loud = float(np.sqrt((heard**2).mean())) if len(heard) else 0.0
        assert (loud > 0.03) == (piece.kind == FILM and piece.speed == 1.0), piece
    # The tone steps up each second of the film, so its loudness tells that sound and picture belong together.
    first = next(piece for piece in edit.pieces if piece.kind == FILM)
    heard = sound[int((first.at_s + 0.3) * 48_000) : int((first.at_s + 0.7) * 48_000)]
    film_second = int(first.start_s + 0.5)
    assert float(np.abs(heard).max()) == pytest.approx(0.1 * (1 + film_second), rel=0.15)


def test_nothing_drawn_and_a_keyframe_near_is_copied_bit_by_bit(uneven: Scene, tmp_path: Path) -> None:
    edit = plan([uneven.cut_rep(), uneven.cut_rep("rep-002")], BARE)
    cut = write_film(edit, tmp_path / "cut.mp4")
    assert cut.copied, cut.why
    source = dict(enumerate(picture for _, picture in decode(uneven.path)))
    found = decode(cut.path)
    numbers = [read_number(picture) for _, picture in found]
    assert numbers == [number for _, number in frames_of(cut.edit, uneven)]
    asked = [index for index, t in enumerate(uneven.times_s) if edit.pieces[0].start_s <= t < edit.pieces[0].end_s]
    assert set(asked) <= set(numbers)
    assert cut.edit.pieces[0].start_s >= edit.pieces[0].start_s - 0.5
    for number, (_, picture) in zip(numbers, found, strict=True):
        assert (picture == source[number]).all()
    assert [t for t, _ in found] == pytest.approx([t for t, _ in frames_of(cut.edit, uneven)], abs=2e-3)


def test_without_a_keyframe_near_it_is_encoded_frame_exact_instead(scene: Scene, tmp_path: Path) -> None:
    edit = plan([scene.cut_rep()], replace(BARE, lead_in_s=1.0))
    cut = write_film(edit, tmp_path / "cut.mp4")
    assert not cut.copied
    assert "keyframe" in cut.why
    assert [read_number(p) for _, p in decode(cut.path)] == [number for _, number in frames_of(edit, scene)]


def test_overlays_change_the_turf_of_the_right_moments(scene: Scene, tmp_path: Path) -> None:
    edit = plan([scene.cut_rep()], replace(BARE, overlays=frozenset(OVERLAYS)))
    plain = decode(write_film(plan([scene.cut_rep()], replace(BARE, slate_s=0.1)), tmp_path / "plain.mp4").path)[1:]
    drawn = decode(write_film(edit, tmp_path / "drawn.mp4", {(0, 0): RepOverlay(scene.seen, scene.reading)}).path)
    by_number = {read_number(picture): picture for _, picture in plain}
    changed = {read_number(p): np.abs(p.astype(int) - by_number[read_number(p)]).mean() for _, p in drawn}
    before = [value for number, value in changed.items() if scene.times_s[number] < SNAP_S - 0.1]
    after = [value for number, value in changed.items() if SNAP_S + 0.1 < scene.times_s[number] < END_S - 0.1]
    # What the encoder alone does to the grain is in both; the overlay adds to it.
    assert min(after) > 1.5 * max(before)


def test_a_film_that_is_gone_is_named_and_the_old_cut_stays(scene: Scene, tmp_path: Path) -> None:
    gone = scene.cut_rep()
    gone = replace(gone, clips=(replace(gone.clips[0], path=tmp_path / "gone.mp4"),))
    target = tmp_path / "cut.mp4"
    target.write_bytes(b"old")
    with pytest.raises(FileNotFoundError, match=r"gone\.mp4: the film is gone since it was tagged"):
        write_film(plan([gone], BARE), target)
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["cut.mp4"]


def test_the_source_is_never_overwritten(scene: Scene) -> None:
    before = scene.path.read_bytes()
    with pytest.raises(OutputError, match="is one of the films to be cut"):
        write_film(plan([scene.cut_rep()], BARE), scene.path)
    assert scene.path.read_bytes() == before


def test_a_folder_that_is_not_there_is_named(scene: Scene, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no such folder"):
        write_film(plan([scene.cut_rep()], BARE), tmp_path / "nowhere" / "cut.mp4")


FULL_DISK = """
import resource, signal, sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
import pickle
from tagger.cutups.film import write_film
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[4]), resource.RLIM_INFINITY))
try:
    write_film(pickle.loads(Path(sys.argv[2]).read_bytes()), Path(sys.argv[3]))
except ValueError as error:
    print(error)
    sys.exit(7)
"""


@pytest.mark.parametrize("limit", [0, 20_000, 60_000])
def test_a_disk_that_refuses_in_mid_export_leaves_the_old_file(scene: Scene, tmp_path: Path, limit: int) -> None:
    """The system's own limit on file size, in a process of its own, stands for the full disk: the write itself fails."""
    import pickle

    (tmp_path / "edit").write_bytes(pickle.dumps(plan([scene.cut_rep()], BARE)))
    target = tmp_path / "out" / "cut.mp4"
    target.parent.mkdir()
    target.write_bytes(b"old")
    words = [str(Path(__file__).parent), str(tmp_path / "edit"), str(target), str(limit)]
    done = subprocess.run([sys.executable, "-c", FULL_DISK, *words], capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 7, done.stdout + done.stderr
    assert done.stdout.startswith(str(target))
    assert len(done.stdout.splitlines()) == 1
    assert target.read_bytes() == b"old"
    assert [p.name for p in target.parent.iterdir()] == ["cut.mp4"]
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[1] == resource.RLIM_INFINITY


def read_only_disks() -> list[Path]:
    """Folders on disks that this machine has mounted read-only, as Linux lists them."""
    lines = Path("/proc/mounts").read_text().splitlines() if Path("/proc/mounts").exists() else []
    mounts = [line.split() for line in lines]
    return [Path(where) for _, where, _, how, *_ in mounts if "ro" in how.split(",") and Path(where).is_dir()]


@pytest.mark.skipif(not read_only_disks(), reason="no disk is mounted read-only here")
def test_a_read_only_disk_is_named(scene: Scene) -> None:
    target = read_only_disks()[0] / "cut.mp4"
    with pytest.raises(OutputError, match=r"read-only|may not be written"):
        write_film(plan([scene.cut_rep()], BARE), target)
    assert not target.exists()


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes anywhere")
def test_a_read_only_folder_is_named(scene: Scene, tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="may not be written"):
            write_film(plan([scene.cut_rep()], BARE), tmp_path / "cut.mp4")
    finally:
        tmp_path.chmod(0o700)


@pytest.mark.parametrize(("change", "line"), [({"slow": 0.0}, "slow"), ({"lead_in_s": -1.0}, "lead in"),
                                              ({"height_px": 333}, "height"), ({"views": ()}, "views")])
def test_impossible_styles_are_refused(change: dict[str, object], line: str) -> None:
    with pytest.raises(ValueError, match=line):
        replace(BARE, **change)  # type: ignore[arg-type]


def test_no_rep_at_all_is_said(scene: Scene) -> None:
    with pytest.raises(ValueError, match="finds no rep"):
        plan([], BARE)
    with pytest.raises(ValueError, match="rep-001: has no end-zone view"):
        plan([scene.cut_rep()], replace(BARE, views=("end-zone",)))
