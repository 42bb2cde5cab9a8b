"""Folders of photographs: order, times, what is passed over."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from litlamp.media.burst import open_burst
from litlamp.media.clip import MediaError, open_clip


def shot(folder: Path, name: str, grey: int, date: str | None = None, sub: str | None = None) -> None:
    exif = Image.Exif()
    if date is not None:
        exif.get_ifd(0x8769)[0x9003] = date  # Exif 2.32: DateTimeOriginal
    if sub is not None:
        exif.get_ifd(0x8769)[0x9291] = sub  # SubSecTimeOriginal
    Image.new("RGB", (40, 30), (grey, grey, grey)).save(folder / name, exif=exif, quality=95)


def greys(clip: object) -> list[int]:
    return [int(frame.luma[10, 10]) for frame in clip]  # type: ignore[attr-defined]


def test_times_of_exif(tmp_path: Path) -> None:
    # Out of order by name; over a minute's end; digits of different length (".5" is half a second).
    shot(tmp_path, "a.jpg", 40, "2024:05:31 23:59:59", "75")
    shot(tmp_path, "b.jpg", 80, "2024:05:31 23:59:59", "5")
    shot(tmp_path, "c.jpg", 120, "2024:06:01 00:00:00", "012")
    with open_clip(tmp_path) as clip:
        frames = list(clip)
    assert clip.times_fault is None
    assert clip.duration == pytest.approx(0.512)
    assert [int(f.luma[9, 9]) for f in frames] == pytest.approx([80, 40, 120], abs=1)
    times = [f.time.pts * f.time.time_base for f in frames]
    assert times == [0, Fraction(1, 4), Fraction(512, 1000)]


def test_whole_seconds_alone_give_no_rate(tmp_path: Path) -> None:
    for index in range(4):
        shot(tmp_path, f"{index}.jpg", 40 + index, f"2024:05:31 10:00:0{index // 2}")
    with open_burst(tmp_path) as clip:
        assert len(list(clip)) == 4
    assert clip.times_fault == "the times of this clip's frames do not increase"


def test_a_stated_rate_and_the_order_of_names(tmp_path: Path) -> None:
    for index in (1, 2, 10, 11):
        shot(tmp_path, f"shot{index}.png", 10 * index)
    with open_clip(tmp_path, fps=29.97) as clip:
        frames = list(clip)
    assert [int(f.luma[0, 0]) for f in frames] == [10, 20, 100, 110]
    assert [f.time.seconds for f in frames] == pytest.approx([i / 29.97 for i in range(4)], abs=1e-8)
    assert clip.times_fault is None


def test_without_times_it_says_so(tmp_path: Path) -> None:
    shot(tmp_path, "1.jpg", 10, "2024:05:31 10:00:00", "1")
    shot(tmp_path, "2.jpg", 20)
    with open_burst(tmp_path) as clip:
        assert greys(clip) == pytest.approx([10, 20], abs=1)
    assert clip.times_fault == "1 of these 2 photographs carry no time; state a rate of frames"


def test_what_is_no_photograph_is_passed_over(tmp_path: Path) -> None:
    shot(tmp_path, "1.jpg", 10)
    shot(tmp_path, "2.jpg", 20)
    shot(tmp_path, "4.jpg", 40)
    (tmp_path / "3.jpg").write_bytes((tmp_path / "2.jpg").read_bytes()[:150])
    (tmp_path / "notes.txt").write_text("not a picture")
    (tmp_path / ".hidden.jpg").write_bytes((tmp_path / "1.jpg").read_bytes())
    (tmp_path / "folder.jpg").mkdir()
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
    with open_burst(tmp_path, fps=10) as clip:
        frames = list(clip)
    assert [int(f.luma[0, 0]) for f in frames] == pytest.approx([10, 20, 40], abs=1)
    # The one passed over still took its moment.
    assert [f.time.seconds for f in frames] == pytest.approx([0, 0.1, 0.3])
    assert len(clip.notes) == 1
    assert clip.notes[0].startswith("3.jpg was passed over: this JPEG file is damaged")


def test_one_emptied_among_others_keeps_its_moment(tmp_path: Path) -> None:
    for index in range(5):
        shot(tmp_path, f"{index}.jpg", 10 * index)
    (tmp_path / "1.jpg").write_bytes(b"")
    (tmp_path / "3.jpg").write_bytes(bytes(2000))
    (tmp_path / "note.png").write_bytes(b"")  # of another ending than the photographs
    with open_burst(tmp_path, fps=10) as clip:
        frames = list(clip)
    assert [f.time.seconds for f in frames] == pytest.approx([0, 0.2, 0.4])
    assert clip.duration == pytest.approx(0.5)
    assert [note.split()[0] for note in clip.notes] == ["1.jpg", "3.jpg"]


def test_one_emptied_does_not_take_the_times_of_the_others(tmp_path: Path) -> None:
    for index in range(4):
        shot(tmp_path, f"{index}.jpg", 40 + index, f"2024:05:31 10:00:0{index}")
    (tmp_path / "2.jpg").write_bytes(b"")
    with open_burst(tmp_path) as clip:
        assert [frame.time.pts * frame.time.time_base for frame in clip] == [0, 1, 3]
    assert clip.times_fault is None
    assert clip.notes == ("2.jpg was passed over: it does not begin as a photograph",)


def test_a_photograph_that_vanishes_is_passed_over(tmp_path: Path) -> None:
    for index in range(4):
        shot(tmp_path, f"{index}.jpg", 10 * index)
    with open_burst(tmp_path, fps=10) as clip:
        next(clip)
        (tmp_path / "2.jpg").unlink()
        assert greys(clip) == pytest.approx([10, 30], abs=1)
    assert clip.notes == ("2.jpg was passed over: there is no such file",)


def test_sentences(tmp_path: Path) -> None:
    with pytest.raises(MediaError, match="holds no photographs"):
        open_burst(tmp_path)
    with pytest.raises(MediaError, match="there is no such folder"):
        open_burst(tmp_path / "none")
    (tmp_path / "1.jpg").write_bytes(b"\xff\xd8\xff" + bytes(100))
    with pytest.raises(MediaError, match="none of the 1 photographs"):
        open_burst(tmp_path, fps=5)
    with pytest.raises(ValueError, match="above 0"):
        open_burst(tmp_path, fps=0)


def test_pictures_are_those_of_the_door_for_stills(tmp_path: Path) -> None:
    dice = np.random.default_rng(1)
    exif = Image.Exif()
    exif[0x0112] = 6
    for index in range(2):
        Image.fromarray(dice.integers(0, 256, (20, 30, 3), dtype=np.uint8)).save(
            tmp_path / f"{index}.png", exif=exif
        )
    with open_burst(tmp_path, fps=2) as clip:
        frames = list(clip)
    assert frames[0].size == (20, 30)
    assert frames[0].conversions == ("turned by EXIF orientation 6",)
    with Image.open(tmp_path / "0.png") as raw:
        assert np.array_equal(frames[0].rgb(), np.rot90(np.asarray(raw), -1))
