"""Clips through the whole program: what is read, what is written of it, and what cannot be read."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
import threading
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from PIL import Image

from litlamp.cli import run
from litlamp.clip_reading import read_clip, read_with_frames
from litlamp.report.record import RecordError, encode, record, validate_line
from litlamp.report.text import clock, source_text

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


def grey(count: int, size: tuple[int, int] = (160, 120)) -> list[np.ndarray]:
    return [np.full((size[1], size[0], 3), 60 + i % 20, np.uint8) for i in range(count)]


def write(path: Path, frames: Sequence[np.ndarray], codec: str = "libx264", rate: int = 30) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate)
        stream.height, stream.width = frames[0].shape[:2]
        stream.pix_fmt = "yuv420p"
        for i, rgb in enumerate(frames):
            picture = av.VideoFrame.from_ndarray(rgb, format="rgb24").reformat(format="yuv420p")
            picture.pts, picture.time_base = i, Fraction(1, rate)
            container.mux(stream.encode(picture))
        container.mux(stream.encode())
    return path


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("clips") / "plain.mkv", grey(30))


def sample(name: str) -> dict[str, Any]:
    lines = (SAMPLES / "truth_clips.jsonl").read_text("utf-8").splitlines()
    (truth,) = (t for t in map(json.loads, lines) if t["source"] == name)
    return dict(truth)


@pytest.fixture(scope="module")
def flashing() -> Any:
    return read_clip(SAMPLES / "brindle-staggered-flash.mp4")


@pytest.fixture(scope="module")
def clearing() -> Any:
    return read_clip(SAMPLES / "hartsmere-home-clears.mp4")


# -- what is read ------------------------------------------------------------------------------------------


def test_a_flashing_signal_of_the_samples(flashing: Any) -> None:
    truth = sample("brindle-staggered-flash.mp4")
    (signal,) = flashing.signals
    seen, said = signal
    assert said.reading.rule == truth["signals"][0]["rule"]
    upper, lower = seen.heads
    assert upper.flashing > 0.95 and lower.flashing < 0.05
    assert 30 <= upper.flash_per_min <= 90
    assert 0 < upper.flash_per_min_error < 3


def test_it_reads_the_same_with_nothing_done_side_by_side(flashing: Any) -> None:
    alone, _ = read_with_frames(SAMPLES / "brindle-staggered-flash.mp4", threads=1, keep=False)
    assert encode(record(alone)) == encode(record(flashing))


@pytest.mark.parametrize("threads", [0, 1])
def test_a_book_that_cannot_be_loaded_ends_it_and_lets_go_of_the_clip(plain: Path, threads: int) -> None:
    def broken() -> Any:
        raise LookupError("no such book")

    before = threading.active_count()
    with plain.open("rb") as file:
        with pytest.raises(LookupError, match="no such book"):
            read_with_frames(file, book=broken, threads=threads)
        assert not file.closed
    assert threading.active_count() == before


def test_a_faulty_book_is_one_sentence_beside_a_clip_too(
    plain: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["read", "--rulebook", "NONE", str(plain)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and "NONE" in err


def test_a_signal_that_changes_in_mid_clip(clearing: Any) -> None:
    truth = sample("hartsmere-home-clears.mp4")["signals"][0]
    (passage,) = clearing.passages
    assert [s.said.reading.rule for s in passage.stretches] == [a["rule"] for a in truth["aspects"]]
    assert passage.stretches[1].span[0] == pytest.approx(truth["aspects"][1]["from_s"], abs=0.2)
    assert clearing.signals[0][1].reading.rule == truth["rule"]


def test_a_short_stretch_leaves_the_flash_open_and_says_so(clearing: Any) -> None:
    seen, said = clearing.signals[0]
    assert all(head.flashing is None for head in seen.heads)
    assert any(c.startswith("This clip does not settle") for c in said.cautions)
    assert not any("A still cannot" in words for words in (*said.why, *said.cautions))


def test_the_line_of_a_clip_is_valid_and_tells_times(clearing: Any) -> None:
    line = encode(record(clearing))
    assert encode(validate_line(line)) == line
    of = json.loads(line)
    assert of["kind"] == "clip"
    assert of["duration_s"] == pytest.approx(3.0, abs=0.1)
    (signal,) = of["signals"]
    assert signal["span_s"] == [0.0, of["duration_s"]]
    assert 0 <= signal["at_s"] <= of["duration_s"]
    first, second = signal["aspects"]
    assert first["to_s"] == second["from_s"]
    assert list(second) == ["from_s", "to_s", "aspect", "reading", "guarded", "set"]
    assert {k: second[k] for k in ("aspect", "reading", "guarded", "set")} == {
        k: signal[k] for k in ("aspect", "reading", "guarded", "set")
    }
    assert signal["heads"][0]["flash_per_min_error"] is None


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        (("span_s",), [3.0, 1.0], "span_s"),
        (("aspects", 0, "from_s"), 2.9, "aspects[0]"),
        (("aspects", 1, "from_s"), 0.0, "aspects[1]"),
        (("aspects", 1, "guarded"), None, "aspects[1].guarded"),
        (("aspects", 1, "to_s"), -1.0, "aspects[1].to_s"),
    ],
)
def test_times_out_of_order_are_refused(
    clearing: Any, path: tuple[Any, ...], value: object, where: str
) -> None:
    of = json.loads(encode(record(clearing)))
    at = of["signals"][0]
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    with pytest.raises(RecordError) as caught:
        validate_line(json.dumps(of))
    assert where in str(caught.value)


def test_the_text_tells_what_was_shown_in_turn(clearing: Any, flashing: Any) -> None:
    text = source_text(clearing)
    assert "1 signal" in text and "it showed" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "a minute" in source_text(flashing) and "it showed" not in source_text(flashing)


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0.0\u00a0s"), (4.24, "4.2\u00a0s"), (61, "1:01"), (4022, "1:07:02")]
)
def test_moments_in_words(seconds: float, words: str) -> None:
    assert clock(seconds) == words


def test_the_command_draws_the_best_frame(tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    clip = SAMPLES / "hartsmere-home-clears.mp4"
    assert run(["read", "--json", "--picture", str(tmp_path), str(clip)]) == 0
    shown = capsysbinary.readouterr()
    assert validate_line(shown.out).signals[0].span_s is not None
    assert shown.err == b""  # no bar where there is no terminal
    with Image.open(tmp_path / "hartsmere-home-clears-read.png") as picture:
        assert picture.width == 1280 and picture.height > 720


# -- of every kind -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("a.mp4", "libx264"),
        ("a.mov", "libx264"),
        ("a.mkv", "libx264"),
        ("a.avi", "mpeg4"),
        ("a.webm", "libvpx"),
    ],
)
def test_containers(tmp_path: Path, name: str, codec: str) -> None:
    read = read_clip(write(tmp_path / name, grey(12), codec))
    assert (read.kind, read.size, read.failure, read.signals) == ("clip", (160, 120), None, ())
    assert read.duration_s == pytest.approx(11 / 30, abs=0.05)


@pytest.mark.parametrize("kind", ["GIF", "WEBP", "PNG"])
def test_animations(tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    stills = [Image.fromarray(f) for f in grey(8)]
    path = tmp_path / "moving"
    stills[0].save(path, kind, save_all=True, append_images=stills[1:], duration=50)
    assert run(["read", str(path)]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert re.search(r"160 x 120 px, 0\.[234] s: no signal found", told)


def test_a_folder_of_photographs_needs_times_or_a_rate(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for i, rgb in enumerate(grey(6)):
        Image.fromarray(rgb).save(tmp_path / f"shot{i}.jpg")
    assert run(["read", str(tmp_path)]) == 1
    assert "carry no time" in capsys.readouterr().out
    assert run(["read", "--fps", "5", str(tmp_path)]) == 1
    told = capsys.readouterr().out
    assert "1.0 s: no signal found" in told and "no time" not in told


@pytest.mark.parametrize("rate", ["0", "-3", "many"])
def test_a_rate_that_is_none(rate: str, plain: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["read", "--fps", rate, str(plain)]) == 2
    assert "fps" in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["clip", "animation", "still"])
def test_standard_input(kind: str, plain: Path, root: Path) -> None:
    stills = [Image.fromarray(f) for f in grey(5)]
    out = io.BytesIO()
    if kind == "animation":
        stills[0].save(out, "GIF", save_all=True, append_images=stills[1:], duration=50)
    elif kind == "still":
        stills[0].save(out, "GIF")
    data = plain.read_bytes() if kind == "clip" else out.getvalue()
    done = subprocess.run(
        [sys.executable, "-m", "litlamp", "read", "--json", "-"],
        input=data, capture_output=True, check=False, cwd=root / "vision",
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    of = validate_line(done.stdout)
    assert (of.source, of.kind, of.failure) == ("-", "photo" if kind == "still" else "clip", None)


# -- what is wrong with it ---------------------------------------------------------------------------------


def test_one_frame_is_a_clip_of_no_length(tmp_path: Path) -> None:
    read = read_clip(write(tmp_path / "one.mkv", grey(1)))
    assert (read.failure, read.duration_s, read.signals) == (None, 0.0, ())


def test_of_a_clip_that_is_cut_off_what_there_is_is_read(tmp_path: Path) -> None:
    whole = write(tmp_path / "whole.mkv", [*grey(90)]).read_bytes()
    read = read_clip(whole[: len(whole) * 2 // 3])
    assert read.failure is None
    assert read.duration_s is not None and 0.2 < read.duration_s < 2.5
    assert any("cut off" in note for note in read.notes)
    assert "Note" not in source_text(read) and "note" in source_text(read)
    assert json.loads(encode(record(read)))["notes"] == list(read.notes)


def test_the_name_says_nothing(tmp_path: Path, plain: Path) -> None:
    path = tmp_path / "clip.jpg"
    path.write_bytes(plain.read_bytes())
    assert run(["read", str(path)]) == 1


@pytest.mark.parametrize("what", ["empty", "text", "no index", "sound", "photograph", "folder", "missing"])
def test_what_cannot_be_read_is_told_in_one_line(
    what: str, tmp_path: Path, plain: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "clip.mp4"
    if what == "empty":
        path.touch()
    elif what == "text":
        path.write_text("no clip at all")
    elif what == "no index":
        data = write(tmp_path / "whole.mp4", grey(60)).read_bytes()
        path.write_bytes(data[: len(data) // 2])
    elif what == "sound":
        with av.open(str(path), "w") as container:
            stream = container.add_stream("aac", rate=44100)
            sound = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            sound.sample_rate = 44100
            container.mux(stream.encode(sound))
            container.mux(stream.encode())
    elif what == "folder":
        path.mkdir()
    elif what == "photograph":
        path.write_bytes(b"\xff\xd8\xff" + bytes(50))
    assert run(["read", str(path), str(plain)]) == 2
    err = capsys.readouterr().err
    assert err.startswith("litlamp: ") and err.count("\n") == 1 and "Traceback" not in err


def test_a_failure_is_a_value_of_the_library(tmp_path: Path) -> None:
    read = read_clip(tmp_path / "nowhere.mp4")
    assert (read.failure, read.kind, read.size, read.signals) == ("there is no such file", None, None, ())
    validate_line(encode(record(read)))


@pytest.mark.parametrize("level", [0, 1.1, -1])
def test_a_level_out_of_range(level: float, plain: Path) -> None:
    with pytest.raises(ValueError, match="level"):
        read_clip(plain, level=level)


def test_progress_is_told(plain: Path) -> None:
    told: list[tuple[float, float | None]] = []
    read_clip(plain, progress=lambda at, of: told.append((at, of)))
    assert told[0][0] == 0.0
    assert told == sorted(told)
    assert all(of == pytest.approx(1.0, abs=0.1) for _, of in told)
