"""Clips: exact times, upright planes, notes on what was wrong."""

from __future__ import annotations

import gc
import io
import os
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from litlamp.box import Box
from litlamp.media.clip import Clip, MediaError, open_clip
from litlamp.media.clip_frame import Moment
from litlamp.media.frame import Time
from litlamp.media.planes import Packed

av = pytest.importorskip("av")

WIDTH, HEIGHT = 96, 64
Writer = Callable[..., Path]


def picture(index: int, width: int = WIDTH, height: int = HEIGHT, shape: tuple[int, int] = (2, 2)) -> list:
    """Planes with an upright meaning: a bright corner at the top left, a ramp, a spot that moves."""
    y = np.tile(np.linspace(40, 120, width).astype(np.uint8), (height, 1))
    y[: height // 4, : width // 4] = 220
    y[height // 2 : height // 2 + 6, 3 * index % (width - 6) : 3 * index % (width - 6) + 6] = 235
    down, across = shape
    cb = np.full((-(-height // down), -(-width // across)), 100, np.uint8)
    cr = np.full(cb.shape, 150, np.uint8)
    cr[: cb.shape[0] // 4, : cb.shape[1] // 4] = 210
    return [y, cb, cr]


def noise(seed: int) -> list:
    """Planes that fill many bytes."""
    dice = np.random.default_rng(seed)
    return [
        dice.integers(16, 235, shape, dtype=np.uint8)
        for shape in ((HEIGHT, WIDTH), (HEIGHT // 2, WIDTH // 2), (HEIGHT // 2, WIDTH // 2))
    ]


def clip_of(write: Writer, path: Path, count: int = 12, **how: object) -> Path:
    return write(path, [picture(i) for i in range(count)], **how)


# -- times -------------------------------------------------------------------------------------------------


@given(
    st.integers(-(2**62), 2**62), st.integers(-(2**62), 2**62), st.integers(1, 1001), st.integers(1, 90_000)
)
def test_the_seconds_between_two_moments_are_exact_but_for_the_last_rounding(
    a: int, b: int, num: int, den: int
) -> None:
    base = Fraction(num, den)
    assert Time(a, base).since(Time(b, Fraction(num, den))) == float((a - b) * base)
    assert Time(a, base).since(Time(b, base / 3)) == float(a * base - b * base / 3)


@pytest.mark.parametrize("ending", ["mp4", "mov", "mkv"])
def test_times_are_those_of_the_container(ending: str, write_clip: Writer, tmp_path: Path) -> None:
    # Variable frame rate, in ticks of 1/1000 s so that every container can hold them.
    pts = [0, 33, 66, 167, 200, 201, 950, 1000, 1400, 1433, 1466, 1500]
    made = clip_of(write_clip, tmp_path / f"vfr.{ending}", pts=pts, time_base=Fraction(1, 1000))
    with open_clip(made) as clip:
        times = [frame.time for frame in clip]
        assert clip.times_fault is None
    assert [t.pts * t.time_base for t in times] == [Fraction(p, 1000) for p in pts]
    with av.open(str(made)) as container:
        assert [(t.pts, t.time_base) for t in times] == [
            (f.pts, f.time_base) for f in container.decode(video=0)
        ]


@pytest.mark.parametrize(
    ("codec", "ending", "pix_fmt"),
    [
        ("libx264", "mp4", "yuv420p"),
        ("libx264", "mkv", "yuv444p"),
        ("libx265", "mp4", "yuv420p"),
        ("libvpx-vp9", "webm", "yuv420p"),
        ("libvpx", "webm", "yuv420p"),
        ("mpeg4", "avi", "yuv420p"),
        ("mpeg4", "mov", "yuv420p"),
        ("mjpeg", "avi", "yuvj422p"),
        ("mpeg2video", "ts", "yuv420p"),
        ("mpeg2video", "mpg", "yuv420p"),
        ("ffv1", "mkv", "yuv420p"),
        ("rawvideo", "avi", "yuyv422"),
    ],
)
def test_every_container_gives_its_frames(
    codec: str, ending: str, pix_fmt: str, write_clip: Writer, tmp_path: Path
) -> None:
    if codec not in av.codecs_available:
        pytest.skip(f"this FFmpeg has no {codec}")
    shape = {"yuv420p": (2, 2), "yuvj422p": (1, 2), "yuv444p": (1, 1), "yuyv422": (1, 2)}[pix_fmt]
    frames = [picture(i, shape=shape) for i in range(12)]
    if pix_fmt == "yuyv422":
        frames = [[_interleaved(*planes)] for planes in frames]
    made = write_clip(tmp_path / f"made.{ending}", frames, codec=codec, pix_fmt=pix_fmt)
    with open_clip(made) as clip:
        assert clip.size == (WIDTH, HEIGHT)
        seen = list(clip)
        assert clip.notes == ()
        assert clip.times_fault is None
    with av.open(str(made)) as container:
        reference = list(container.decode(video=0))
    assert len(seen) == len(reference) == 12
    steps = np.diff([float(f.time.pts * f.time.time_base) for f in seen])
    assert steps == pytest.approx(np.full(11, 0.04), abs=0.002)
    for index, (ours, theirs) in enumerate(zip(seen, reference, strict=True)):
        if codec in {"rawvideo", "ffv1"}:  # nothing is lost: what went in comes out
            assert np.array_equal(ours.luma, picture(index)[0])
        if pix_fmt in {"yuv420p", "yuv444p"}:
            assert np.array_equal(ours.luma, theirs.to_ndarray().reshape(-1, WIDTH)[:HEIGHT])
        else:
            assert np.abs(ours.luma.astype(int) - picture(index)[0]).mean() < 4


def _interleaved(y: np.ndarray, cb: np.ndarray, cr: np.ndarray) -> np.ndarray:
    out = np.empty((y.shape[0], y.shape[1], 2), np.uint8)
    out[..., 0] = y
    out[:, 0::2, 1], out[:, 1::2, 1] = cb, cr
    return out.view(np.uint16)[..., 0]  # the writer lays down one item a pixel


def test_two_clips_end_to_end_go_back_in_time(write_clip: Writer, tmp_path: Path) -> None:
    made = clip_of(write_clip, tmp_path / "one.ts", codec="mpeg2video").read_bytes()
    with open_clip(made + made) as clip:
        frames = list(clip)
    assert len(frames) >= 22
    assert frames[5].times_fault is None
    assert frames[-1].times_fault == clip.times_fault == "the times of this clip's frames do not increase"


def moments(pts: list[int | None]) -> Iterator[Moment]:
    for tick in pts:
        yield Moment(Packed(np.zeros((4, 4, 3), np.uint8)), tick, Fraction(1, 10))


@pytest.mark.parametrize(
    ("pts", "fault"),
    [
        ([0, 1, 2, 5], None),
        ([-3, 0, 1], None),
        ([0, 1, 1, 2], "the times of this clip's frames do not increase"),
        ([0, 5, 4, 6], "the times of this clip's frames do not increase"),
        ([0, 1, None, 3], "frames of this clip carry no times"),
        ([0, 1, 72010, 72011], "the times of this clip's frames jump by 2 hours"),
        ([0, 2**62], "the times of this clip's frames jump by 1.28e+14 hours"),
    ],
)
def test_times_that_give_no_rate_are_marked(pts: list[int | None], fault: str | None) -> None:
    clip = Clip(moments(pts), [])
    frames = list(clip)
    assert clip.times_fault == fault
    assert frames[-1].times_fault == fault
    assert frames[0].times_fault is None
    assert [f.time.pts for f in frames if f.time.pts in pts] == [p for p in pts if p is not None]


def test_a_bare_stream_carries_no_times(write_clip: Writer, tmp_path: Path) -> None:
    made = clip_of(write_clip, tmp_path / "bare.h264")
    with open_clip(made) as clip:
        assert sum(1 for _ in clip) == 12
        assert clip.times_fault == "a bare H.264 stream carries no times"


# -- planes and turning ------------------------------------------------------------------------------------


@pytest.mark.parametrize("degrees", [0, 90, 180, -90])
def test_a_turned_clip_comes_upright(degrees: int, write_clip: Writer, tmp_path: Path) -> None:
    made = clip_of(write_clip, tmp_path / "turned.mp4", rotation=degrees)
    with open_clip(made) as clip:
        frame = next(clip)
    # PyAV's documentation of VideoFrame.rotation: the angle by which the picture is turned counterclockwise.
    expected = np.rot90(picture(0)[0], degrees // 90)
    assert np.array_equal(frame.luma, expected)
    assert frame.size == expected.shape[::-1]
    whole = frame.rgb()
    assert whole.shape == (*expected.shape, 3)
    with av.open(str(made)) as container:
        reference = next(container.decode(video=0)).to_ndarray(format="rgb24")
    assert np.abs(np.rot90(reference, degrees // 90).astype(int) - whole).mean() < 2
    assert ("turned upright by its header" in frame.conversions) == (degrees != 0)
    chroma = frame.chroma
    assert chroma is not None
    assert np.array_equal(chroma[1], np.rot90(picture(0)[2], degrees // 90))


@pytest.mark.parametrize("degrees", [0, 90, 180, -90])
@pytest.mark.parametrize(
    ("pix_fmt", "shape"), [("yuv420p", (2, 2)), ("yuv444p", (1, 1)), ("yuv422p", (1, 2))]
)
def test_a_crop_is_that_part_of_the_whole(
    degrees: int, pix_fmt: str, shape: tuple[int, int], write_clip: Writer, tmp_path: Path
) -> None:
    dice = np.random.default_rng(5)
    width, height = 98, 50  # odd halves
    planes = [dice.integers(16, 235, (height, width), dtype=np.uint8)]
    planes += [dice.integers(16, 240, (height // shape[0], width // shape[1]), dtype=np.uint8) for _ in "bc"]
    made = write_clip(tmp_path / "noise.mkv", [planes], pix_fmt=pix_fmt, codec="ffv1", rotation=degrees)
    with open_clip(made) as clip:
        frame = next(clip)
    whole = frame.rgb()
    across, down = frame.size
    for _ in range(200):
        x0, y0 = dice.uniform(-4, across - 1), dice.uniform(-4, down - 1)
        box = Box(x0, y0, max(x0, 0) + dice.uniform(0.5, 60), max(y0, 0) + dice.uniform(0.5, 60))
        left, top = int(max(box.x0, 0)), int(max(box.y0, 0))
        part = whole[top : int(np.ceil(box.y1)), left : int(np.ceil(box.x1))]
        crop = frame.rgb(box)
        assert crop.flags.c_contiguous
        assert np.array_equal(crop, part)


def test_a_box_outside_is_refused(write_clip: Writer, tmp_path: Path) -> None:
    with open_clip(clip_of(write_clip, tmp_path / "a.mp4", 1)) as clip:
        frame = next(clip)
    with pytest.raises(ValueError, match="no pixel"):
        frame.rgb(Box(WIDTH + 1, 0, WIDTH + 9, 9))


def test_luma_is_a_view_that_stays_good(write_clip: Writer, tmp_path: Path) -> None:
    made = clip_of(write_clip, tmp_path / "a.mp4", 12, rotation=90)
    with open_clip(made) as clip:
        views = [frame.luma for frame in clip]
    gc.collect()
    for index, view in enumerate(views):
        assert not view.flags.owndata
        assert not view.flags.writeable
        assert np.array_equal(view, np.rot90(picture(index)[0]))


def test_frames_that_no_other_needs_may_go_unsmoothed_and_look_the_same(
    write_clip: Writer, tmp_path: Path
) -> None:
    options = {"preset": "medium", "qp": "30", "bf": "2"}
    scene = np.kron(np.random.default_rng(4).integers(40, 200, (16, 24)), np.ones((8, 8))).astype(np.uint8)
    chroma = np.full((64, 96), 128, np.uint8)
    frames = [[np.roll(scene, 3 * i, axis=1), chroma, chroma] for i in range(24)]
    path = write_clip(tmp_path / "b.mp4", frames, options=options)
    with av.open(str(path)) as container:
        whole = [(f.pict_type, f.to_ndarray()[:128]) for f in container.decode(video=0)]
    with open_clip(path) as clip:
        ours = [np.array(frame.luma) for frame in clip]
    apart = [np.abs(mine.astype(int) - other) for mine, (_, other) in zip(ours, whole, strict=True)]
    kinds = [av.video.frame.PictureType(kind).name for kind, _ in whole]
    assert any(gap.any() for gap in apart)  # else nothing was spared
    assert all(kinds[i] == "B" for i, gap in enumerate(apart) if gap.any())
    assert max(gap.mean() for gap in apart) < 2


def test_memory_does_not_grow(write_clip: Writer, tmp_path: Path) -> None:
    frames = [picture(i, 640, 480) for i in range(8)] * 40
    made = write_clip(tmp_path / "long.mp4", frames, options={"preset": "ultrafast", "qp": "30"})
    peaks = []
    with open_clip(made, threads=1) as clip:
        for index, frame in enumerate(clip):
            frame.luma.max()
            frame.rgb(Box(0, 0, 64, 64))
            if index in {40, 319}:
                peaks.append(
                    int(Path("/proc/self/statm").read_text().split()[1]) if os.name == "posix" else 0
                )
    # 279 frames of 0.46 MB would be 128 MB if they were kept.
    assert (peaks[1] - peaks[0]) * 4096 < 20e6


# -- what is wrong with a clip -----------------------------------------------------------------------------


def sentence(source: object, **how: object) -> str:
    with pytest.raises(MediaError) as caught:
        open_clip(source, **how)  # type: ignore[arg-type]
    assert "\n" not in caught.value.sentence
    return caught.value.sentence


def test_what_cannot_be_read_is_refused_in_a_sentence(write_clip: Writer, tmp_path: Path) -> None:
    assert sentence(b"") == "this file is empty"
    assert sentence(b"hello, world\n" * 40) == "this is text, not a clip"
    assert sentence(os.urandom(4) + bytes(range(256)) * 4) == "this is no clip of a kind that is known here"
    assert sentence(tmp_path / "none.mp4") == "there is no such file"
    still = io.BytesIO()
    Image.new("RGB", (8, 8)).save(still, "JPEG")
    assert sentence(still.getvalue()) == "this is a photograph (JPEG), not a clip"
    still = io.BytesIO()
    Image.new("RGB", (8, 8)).save(still, "GIF")
    assert sentence(still.getvalue()) == "this is a photograph (GIF), not a clip"
    mp4 = clip_of(write_clip, tmp_path / "a.mp4").read_bytes()
    assert sentence(mp4[: len(mp4) // 2]) == "this MP4 file is damaged, cut off or holds no index"
    assert sentence(mp4, pixel_limit=1000) == (
        "this clip's frames have 96 x 64 pixels; at most 0.001 million are read"
    )


def test_the_ending_of_a_name_is_not_believed(write_clip: Writer, tmp_path: Path) -> None:
    made = clip_of(write_clip, tmp_path / "a.webm", codec="libvpx-vp9")
    lying = made.rename(tmp_path / "a.gif")
    with open_clip(lying) as clip:
        assert sum(1 for _ in clip) == 12


def test_sound_alone_is_no_clip(tmp_path: Path) -> None:
    made = tmp_path / "sound.mp4"
    with av.open(str(made), "w") as container:
        stream = container.add_stream("aac", rate=48000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 4096), np.float32), format="fltp", layout="mono")
        frame.rate = 48000
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
    assert sentence(made) == "this clip holds no video, only other streams"


def test_a_clip_cut_off_gives_what_it_has(write_clip: Writer, tmp_path: Path) -> None:
    # The index at the front, as cameras that stream and web sites write it.
    frames = [picture(i) for i in range(75)]
    options = {"preset": "ultrafast", "qp": "0", "g": "10", "tune": "zerolatency"}
    made = write_clip(tmp_path / "a.mkv", frames, options=options).read_bytes()
    with open_clip(made[: len(made) // 2]) as clip:
        given = list(clip)
        assert clip.duration == pytest.approx(3.0, abs=0.1)
    assert 20 < len(given) < 60
    assert any(note.startswith("this clip is cut off: its header tells of 3.0 s") for note in clip.notes)
    assert clip.times_fault is None
    assert np.array_equal(given[5].luma, frames[5][0])


def test_damage_within_is_passed_over_and_noted(write_clip: Writer, tmp_path: Path) -> None:
    options = {"preset": "ultrafast", "qp": "20", "g": "10"}
    made = write_clip(tmp_path / "a.mp4", [noise(i) for i in range(40)], options=options).read_bytes()
    middle = len(made) // 2
    hurt = made[:middle] + bytes(3000) + made[middle + 3000 :]
    with open_clip(hurt) as clip:
        given = list(clip)
    assert 35 < len(given) <= 40
    assert 0 < sum(frame.damaged for frame in given) < 10
    assert any(note.startswith("damage in this clip") for note in clip.notes)


class _GoneMidway(io.BytesIO):
    """A file on a drive that is taken away after so many bytes."""

    name = "gone.mkv"

    def __init__(self, data: bytes, after: int) -> None:
        super().__init__(data)
        self._after = after

    def read(self, size: int | None = -1) -> bytes:
        if self.tell() > self._after:
            raise OSError(5, "Input/output error")
        return super().read(size)


def test_a_file_that_vanishes_midway_says_so(
    write_clip: Writer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    options = {"preset": "ultrafast", "qp": "20", "g": "10", "tune": "zerolatency"}
    made = write_clip(tmp_path / "a.mkv", [noise(i) for i in range(40)], options=options)
    data = made.read_bytes()
    monkeypatch.setattr("litlamp.media.clip.open_file", lambda name: _GoneMidway(data, len(data) // 2))
    given = 0
    with open_clip(made) as clip, pytest.raises(MediaError) as caught:
        for _ in clip:
            given += 1
    assert 5 < given < 40
    assert caught.value.sentence == "reading broke off: Input/output error"


def test_one_frame_is_a_clip(write_clip: Writer, tmp_path: Path) -> None:
    with open_clip(clip_of(write_clip, tmp_path / "a.mp4", 1)) as clip:
        assert len(list(clip)) == 1


def test_a_size_that_changes_is_noted(write_clip: Writer, tmp_path: Path) -> None:
    small = write_clip(tmp_path / "a.ts", [picture(i) for i in range(5)], codec="mpeg2video").read_bytes()
    large = [picture(i, 128, 96) for i in range(5)]
    joined = small + write_clip(tmp_path / "b.ts", large, codec="mpeg2video").read_bytes()
    with open_clip(joined) as clip:
        sizes = {frame.size for frame in clip}
        for_both = clip.notes
    assert sizes == {(96, 64), (128, 96)}
    assert for_both == ("the size of the picture changes within this clip",)


def test_standard_input_and_streams(
    write_clip: Writer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = clip_of(write_clip, tmp_path / "a.mp4")
    reading, writing = os.pipe()
    os.write(writing, made.read_bytes())
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(pipe))
        with open_clip("-") as clip:
            assert clip.name == "standard input"
            assert sum(1 for _ in clip) == 12
    with made.open("rb") as stream, open_clip(stream) as clip:
        assert sum(1 for _ in clip) == 12


def test_the_real_clips_are_read(real: Path) -> None:
    counts = {"GC1_Test.mp4": 750, "orig.mp4": 51, "efm32_amber_led.gif": 72}
    for name, count in counts.items():
        with open_clip(real / "clips" / name) as clip:
            assert sum(1 for _ in clip) == count
            assert clip.times_fault is None
            assert clip.notes == ()
