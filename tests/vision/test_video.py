"""Files as they come off cameras, phones and broken copies. Each is made on the fly."""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from vision.video import MAX_SIDE_PX, probe, read_frames

RED, GREEN, BLUE, WHITE = (0, 0, 255), (0, 255, 0), (255, 0, 0), (255, 255, 255)


def write(path: Path, stamps_ms: list[int], size: tuple[int, int] = (64, 48), codec: str = "libx264",
          options: dict[str, str] | None = None, index_first: bool = False) -> Path:
    """A clip whose frames stand at `stamps_ms`; grey levels tell them apart, the quarters of the picture tell its turn."""
    width, height = size
    with av.open(str(path), "w", container_options={"movflags": "faststart"} if index_first else {}) as out:
        stream = out.add_stream(codec, rate=30, options=options or {"crf": "10"})
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, 1000)
        for order, stamp in enumerate(stamps_ms):
            picture = np.full((height, width, 3), 40 + 8 * (order % 20), np.uint8)
            for colour, (row, column) in zip((RED, GREEN, BLUE, WHITE), ((0, 0), (0, 1), (1, 0), (1, 1)), strict=True):
                top, left = row * (height - height // 4), column * (width - width // 4)
                picture[top:top + height // 4, left:left + width // 4] = colour
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts, frame.time_base = stamp, Fraction(1, 1000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    return path


def corner(bgr: np.ndarray) -> tuple[int, ...]:
    """The colour in the top left corner, each channel 0 or 255."""
    return tuple(255 if value > 128 else 0 for value in bgr[4, 4])


def test_variable_frame_rate_with_b_frames_keeps_the_containers_times(tmp_path: Path) -> None:
    stamps = [0, 33, 67, 100, 180, 200, 260, 400, 433, 467]
    clip = write(tmp_path / "vfr.mp4", stamps, options={"bf": "3", "crf": "10"})
    frames = list(read_frames(clip))
    assert [frame.index for frame in frames] == list(range(10))
    assert [round(frame.time_s * 1000) for frame in frames] == stamps
    levels = [int(frame.bgr[24, 32, 0]) for frame in frames]
    assert levels == sorted(levels)


def test_a_clip_that_does_not_start_at_zero(tmp_path: Path) -> None:
    clip = write(tmp_path / "late.mkv", [1400, 1433, 1467])
    assert probe(clip).start_s == pytest.approx(1.4, abs=1e-3)
    assert next(read_frames(clip)).time_s == pytest.approx(1.4, abs=1e-3)


def test_missing_timestamps_are_filled_with_the_nominal_step(tmp_path: Path) -> None:
    clip = write(tmp_path / "clip.h264", [0, 33, 67, 100])  # an elementary stream has no times at all
    times = [frame.time_s for frame in read_frames(clip)]
    assert len(times) == 4
    assert (np.diff(times) > 0).all()


@pytest.mark.parametrize(("degrees", "matrix", "expected"), [
    (90, (0, 1, -1, 0), BLUE),     # shown turned clockwise: the bottom left corner comes to the top left
    (180, (-1, 0, 0, -1), WHITE),
    (270, (0, -1, 1, 0), GREEN),
])
def test_rotation_side_data_is_applied(tmp_path: Path, degrees: int, matrix: tuple[int, ...], expected: tuple[int, ...]) -> None:
    clip = write(tmp_path / "phone.mp4", [0, 33, 67])
    data = bytearray(clip.read_bytes())
    # ISO/IEC 14496-12, 8.3.2: the matrix {a, b, u, c, d, v, x, y, w} stands 40 bytes into a version 0 track header box's body.
    at = data.index(b"tkhd") + 4 + 40
    a, b, c, d = (value << 16 for value in matrix)
    data[at:at + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30)
    clip.write_bytes(bytes(data))
    info, frame = probe(clip), next(read_frames(clip))
    assert frame.bgr.shape == ((64, 48, 3) if degrees % 180 else (48, 64, 3))
    assert (info.width_px, info.height_px) == frame.bgr.shape[1::-1]
    assert corner(frame.bgr) == expected
    assert info.rotation_deg == (-degrees) % 360


def test_scaling_keeps_the_shape_and_never_enlarges(tmp_path: Path) -> None:
    clip = write(tmp_path / "wide.mp4", [0, 33], size=(320, 180))
    assert next(read_frames(clip, max_height_px=90)).bgr.shape == (90, 160, 3)
    assert next(read_frames(clip, max_height_px=720)).bgr.shape == (180, 320, 3)


def test_non_square_pixels_are_made_square(tmp_path: Path) -> None:
    clip = tmp_path / "anamorphic.mp4"
    with av.open(str(clip), "w") as out:
        stream = out.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 144, 108, "yuv420p"
        stream.codec_context.sample_aspect_ratio = Fraction(4, 3)  # 1440 x 1080 of tape formats, shown as 1920 x 1080
        out.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((108, 144, 3), np.uint8), format="bgr24")))
        out.mux(stream.encode())
    assert next(read_frames(clip)).bgr.shape == (108, 192, 3)


def test_every_third_frame_keeps_its_own_index_and_time(tmp_path: Path) -> None:
    clip = write(tmp_path / "clip.mp4", [33 * i for i in range(10)])
    frames = list(read_frames(clip, every=3))
    assert [frame.index for frame in frames] == [0, 3, 6, 9]
    assert [round(frame.time_s * 1000) for frame in frames] == [0, 99, 198, 297]


def test_interlaced_film_becomes_one_whole_picture_a_frame(tmp_path: Path) -> None:
    clip = tmp_path / "tape.mpg"
    with av.open(str(clip), "w") as out:
        stream = out.add_stream("mpeg2video", rate=25, options={"flags": "+ildct+ilme", "qmin": "1", "qmax": "2"})
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        for order in range(8):
            picture = np.zeros((64, 64, 3), np.uint8)
            picture[0::2, 4 * order:4 * order + 16] = 255      # the bar stands further right in the second field
            picture[1::2, 4 * order + 2:4 * order + 18] = 255
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts = order
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    frames = list(read_frames(clip))
    assert probe(clip).interlaced
    assert len(frames) == 8
    assert np.diff([frame.time_s for frame in frames]) == pytest.approx([0.04] * 7, abs=1e-3)
    bar = frames[4].bgr[8:56, :, 1].astype(int)
    assert np.abs(np.diff(bar, axis=0)).mean() < 3  # the comb of two fields, 255 a line over 4 of 64 columns, would give 15


def test_hevc_is_read(tmp_path: Path) -> None:
    clip = write(tmp_path / "hevc.mp4", [0, 33, 67], size=(128, 96), codec="libx265", options={"x265-params": "log-level=none"})
    assert probe(clip).codec == "hevc"
    assert len(list(read_frames(clip))) == 3


def test_truncated_file_yields_what_decodes_then_tells(tmp_path: Path) -> None:
    whole = write(tmp_path / "whole.mp4", [33 * i for i in range(90)], options={"crf": "1", "g": "10"}, index_first=True)
    short = tmp_path / "short.mp4"
    data = whole.read_bytes()
    start = data.index(b"mdat")
    short.write_bytes(data[:start + (len(data) - start) // 2])
    reader = read_frames(short)
    frames = list(reader)
    assert 20 < len(frames) < 80
    assert "truncated" in reader.problem
    assert str(short) in reader.problem
    untouched = read_frames(whole)
    assert len(list(untouched)) == 90
    assert untouched.problem == ""


def test_index_at_the_end_cut_off_is_one_clear_line(tmp_path: Path) -> None:
    whole = write(tmp_path / "whole.mp4", [33 * i for i in range(30)])
    short = tmp_path / "short.mp4"
    short.write_bytes(whole.read_bytes()[:-400])
    with pytest.raises(ValueError, match="not a video that can be read"):
        read_frames(short)


def test_text_file_called_mp4(tmp_path: Path) -> None:
    clip = tmp_path / "notes.mp4"
    clip.write_text("down,distance\n1,10\n" * 50)
    for read in (probe, read_frames):
        with pytest.raises(ValueError, match=r"notes\.mp4: not a video") as caught:
            read(clip)
        assert "\n" not in str(caught.value)


def test_playlist_in_disguise_reaches_no_network(tmp_path: Path) -> None:
    clip = tmp_path / "list.mp4"
    clip.write_text("#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n")
    with pytest.raises(ValueError, match=r"list\.mp4"):
        list(read_frames(clip))


def test_empty_file_missing_file_and_folder(tmp_path: Path) -> None:
    empty = tmp_path / "empty.mp4"
    empty.touch()
    with pytest.raises(ValueError, match="not a video"):
        probe(empty)
    with pytest.raises(FileNotFoundError, match="no such file"):
        probe(tmp_path / "gone.mp4")
    with pytest.raises(ValueError, match="is a folder"):
        probe(tmp_path)


def test_zero_frames(tmp_path: Path) -> None:
    clip = tmp_path / "none.mp4"
    whole = write(clip, [33 * i for i in range(5)], index_first=True).read_bytes()
    clip.write_bytes(whole[:whole.index(b"mdat") + 8])  # the index promises five frames, none of them is there
    with pytest.raises(ValueError, match=r"none\.mp4"):
        list(read_frames(clip))
    with pytest.raises(ValueError, match=r"none\.mp4"):
        probe(clip)


def test_sound_only(tmp_path: Path) -> None:
    clip = tmp_path / "sound.mp4"
    with av.open(str(clip), "w") as out:
        stream = out.add_stream("aac", rate=44100)
        sound = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        sound.sample_rate = 44100
        out.mux(stream.encode(sound))
        out.mux(stream.encode())
    with pytest.raises(ValueError, match="no video"):
        read_frames(clip)


def test_monstrous_picture_is_refused_before_decoding(tmp_path: Path) -> None:
    clip = write(tmp_path / "bomb.mkv", [0], size=(MAX_SIDE_PX + 64, 64), codec="ffv1", options={})
    for read in (probe, read_frames):
        with pytest.raises(ValueError, match=f"more than {MAX_SIDE_PX} px"):
            read(clip)


def test_names_with_a_colon_are_files(tmp_path: Path) -> None:
    clip = write(tmp_path / "plain.mp4", [0, 33])
    odd = clip.rename(tmp_path / "concat:take 1.mp4")
    assert len(list(read_frames(odd))) == 2
