"""What is left undecoded: only pictures that no other is made from, never two side by side."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from litlamp.media.clip import open_clip
from litlamp.media.clip_frame import Start
from litlamp.media.spare import QUICK, SLOWEST, Spare

av = pytest.importorskip("av")

Writer = Callable[..., Path]
COUNT = 60
CODERS = {
    "two between": ("libx264", {"bf": "2", "qp": "24"}),
    "three between": ("libx264", {"bf": "3", "qp": "24", "b-adapt": "0"}),
    "a pyramid of seven": ("libx264", {"bf": "7", "qp": "24", "b-adapt": "0", "g": "24"}),
    "H.265": ("libx265", {"x265-params": "bframes=3:b-adapt=0:keyint=24:log-level=none"}),
    "sub-layers of H.265": (
        "libx265",
        {"x265-params": "bframes=3:b-adapt=0:temporal-layers=1:log-level=none"},
    ),
}


def drawn(
    write_clip: Writer,
    path: Path,
    coder: str | tuple[str, dict[str, str]],
    fps: int = 30,
    pts: list[int] | None = None,
    **how: Any,
) -> Path:
    """A texture that slides, with noise of its own in every picture."""
    codec, options = CODERS[coder] if isinstance(coder, str) else coder
    dice = np.random.default_rng(5)
    scene = np.kron(dice.integers(60, 180, (16, 24)), np.ones((8, 8)))
    chroma = np.full((64, 96), 128, np.uint8)
    frames = [
        [np.clip(np.roll(scene, 2 * i, axis=1) + dice.normal(0, 4, scene.shape), 16, 235).astype(np.uint8)]
        + [chroma] * 2
        for i in range(COUNT)
    ]
    times = [512 * i for i in range(COUNT)] if pts is None else pts
    return write_clip(
        path, frames, codec=codec, options=options, pts=times, time_base=Fraction(1, 512 * fps), **how
    )


def seen(path: Path, **how: Any) -> dict[float, np.ndarray]:
    with open_clip(path, **how) as clip:
        return {round(frame.time.seconds, 6): np.array(frame.luma) for frame in clip}


@pytest.mark.parametrize("coder", CODERS)
@pytest.mark.parametrize("fps", [25, 30, 60])
def test_what_stays_is_as_if_all_had_been_decoded(
    write_clip: Writer, tmp_path: Path, coder: str, fps: int
) -> None:
    path = drawn(write_clip, tmp_path / "a.mp4", coder, fps)
    whole, kept = seen(path), seen(path, thin=True)
    assert len(whole) == COUNT
    assert all(np.array_equal(kept[at], whole[at]) for at in kept)
    places = [i for i, at in enumerate(whole) if at in kept]
    apart = np.diff([0, *places, COUNT - 1])
    assert max(apart) == 2  # never two side by side
    least = 0.5 if fps == 60 else 0.6
    assert least * COUNT <= len(kept) <= 0.8 * COUNT
    if fps < 60:  # of pictures by turns dark and lit, both kinds stay
        assert min(sum(p % 2 for p in places), sum(p % 2 == 0 for p in places)) > COUNT / 5


@pytest.mark.parametrize("form", ["mp4", "matroska", "mpegts"])
def test_in_other_containers(write_clip: Writer, tmp_path: Path, form: str) -> None:
    path = drawn(write_clip, tmp_path / "a.bin", "two between", format=form)
    whole, kept = seen(path), seen(path, thin=True)
    assert len(kept) < 0.8 * len(whole)
    assert all(np.array_equal(kept[at], whole[at]) for at in kept)


def test_of_pictures_in_two_fields_all_are_decoded(write_clip: Writer, tmp_path: Path) -> None:
    coder = "libx264", {"bf": "2", "qp": "24", "flags": "+ildct+ilme", "x264-params": "interlaced=1:tff=1"}
    path = drawn(write_clip, tmp_path / "a.ts", coder, format="mpegts")
    with av.open(str(path)) as container:
        assert next(container.decode(video=0)).interlaced_frame
    assert len(seen(path, thin=True)) == COUNT


def test_where_pictures_are_far_apart_all_are_decoded(write_clip: Writer, tmp_path: Path) -> None:
    path = drawn(write_clip, tmp_path / "a.mp4", "three between", 20)
    assert len(seen(path, thin=True)) == COUNT


def test_uneven_times_leave_no_gaps_wider_than_two(write_clip: Writer, tmp_path: Path) -> None:
    dice = np.random.default_rng(8)
    pts = list(np.cumsum(dice.integers(300, 640, COUNT)) - 300)
    path = drawn(write_clip, tmp_path / "a.mp4", "three between", pts=[int(p) for p in pts])
    whole, kept = list(seen(path)), seen(path, thin=True)
    places = [i for i, at in enumerate(whole) if at in kept]
    assert len(kept) < COUNT and max(np.diff(places)) == 2


@pytest.mark.parametrize("coder", ["a pyramid of seven", "H.265"])
def test_gone_on_with_it_is_the_same(write_clip: Writer, tmp_path: Path, coder: str) -> None:
    path = drawn(write_clip, tmp_path / "a.mp4", coder)
    with open_clip(path, thin=True) as clip:
        frames = [(frame.time, np.array(frame.luma)) for frame in clip]
    for at in (10, 30):
        start = Start(frames[at][0], frames[0][0], at + 1)
        with open_clip(path, thin=True, start=start) as clip:
            again = {frame.time: np.array(frame.luma) for frame in clip}
            assert not any("could be decoded" in note for note in clip.notes)
        assert min(again, key=lambda time: time.seconds).seconds <= frames[at][0].seconds
        for time, luma in frames[at:]:
            assert np.array_equal(again[time], luma)


def test_what_is_left_out_is_not_called_lost(write_clip: Writer, tmp_path: Path) -> None:
    path = drawn(write_clip, tmp_path / "a.mp4", "two between")
    with open_clip(path, thin=True) as clip:
        assert len(list(clip)) < 0.95 * COUNT
        assert clip.notes == ()


# -- by hand -----------------------------------------------------------------------------------------------


def stream(name: str, extradata: bytes | None, field_order: int = 1) -> Any:
    context = SimpleNamespace(name=name, extradata=extradata, field_order=field_order)
    return SimpleNamespace(codec_context=context)


class Held(bytes):
    """Bytes with what a packet tells of itself."""

    pts: int | None
    dts: int | None
    duration: int | None
    time_base = Fraction(1, 30)
    is_keyframe = False


def packet(data: bytes, pts: int | None = 0, duration: int | None = 1, fps: int = 30) -> Any:
    made = Held(data)
    made.pts, made.dts, made.duration, made.time_base = pts, pts, duration, Fraction(1, fps)
    return made


AVCC = bytes([1, 100, 0, 31, 0xFF, 0xE1, 0])


def unit(first: int, size: int = 6) -> bytes:
    """One unit after its length in four bytes."""
    return size.to_bytes(4, "big") + bytes([first]) + bytes(size - 1)


def test_a_picture_is_left_out_only_if_none_of_its_parts_is_needed() -> None:
    # ITU-T H.264, 7.3.1: one bit of zero, two of nal_ref_idc, five of nal_unit_type (1 slice, 6 and 9 none).
    free, needed, said = unit(0x01), unit(0x21), unit(0x06)
    assert Spare(stream("h264", AVCC)).leaves_out(packet(said + free))
    assert Spare(stream("h264", AVCC)).leaves_out(packet(free + free))
    assert not Spare(stream("h264", AVCC)).leaves_out(packet(free + needed))
    assert not Spare(stream("h264", AVCC)).leaves_out(packet(said))
    assert not Spare(stream("h264", AVCC)).leaves_out(packet(b""))
    assert Spare(stream("h264", None)).leaves_out(packet(b"\0\0\0\1\x09\x10\0\0\1\x01\x55\x55"))
    assert not Spare(stream("h264", None)).leaves_out(packet(b"\0\0\0\1\x09\x10\0\0\1\x41\x55\x55"))
    # What lies in units after their lengths, but does not say so, may hold the bytes of a start code.
    assert not Spare(stream("h264", None)).leaves_out(packet(unit(0x21) + b"\0\0\1\x01\x55\x55"))


def test_nothing_is_left_out_of_what_is_not_known() -> None:
    free = unit(0x01)
    assert not Spare(stream("vp9", AVCC)).leaves_out(packet(free))
    assert not Spare(stream("hevc", None)).leaves_out(packet(free))  # how many sub-layers is not told
    for order in (0, 2, 3, 4, 5):  # not known, or two fields
        assert not Spare(stream("h264", AVCC, order)).leaves_out(packet(free))
    for untimed in (packet(free, None), packet(free, 0, None), packet(free, 0, 0)):
        assert not Spare(stream("h264", AVCC)).leaves_out(untimed)


def test_how_close_together() -> None:
    free = unit(0x01)
    for fps, step in ((60, 2), (30, 3), (25, 3)):
        spare = Spare(stream("h264", AVCC))
        gone = [i for i in range(12) if spare.leaves_out(packet(free, i, 1, fps))]
        assert gone == list(range(0, 12, step))
    assert 1 / 24 < SLOWEST < 1 / 20 and 1 / 50 < QUICK < 1 / 40


@given(
    st.lists(st.tuples(st.binary(max_size=40), st.integers(-9, 40), st.integers(0, 3), st.booleans())),
    st.sampled_from(["h264", "hevc"]),
    st.one_of(st.none(), st.binary(max_size=30), st.just(AVCC)),
)
def test_no_bytes_upset_it(
    packets: list[tuple[bytes, int, int, bool]], name: str, head: bytes | None
) -> None:
    spare = Spare(stream(name, head))
    for data, pts, duration, key in packets:
        one = packet(data, pts, duration)
        one.is_keyframe = key
        assert spare.leaves_out(one) in (True, False)
