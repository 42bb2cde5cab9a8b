"""A short ride from file to files, with the real networks."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

import litlamp.footage as footage
from litlamp.aspects.words import parse_aspect
from litlamp.cli import run
from litlamp.collection.readings_file import load_readings
from litlamp.footage import FootageError, Ride, make_footage, read_ride
from litlamp.footage_state import NAME, StateError, load_state
from litlamp.report import whole_file
from litlamp.report.footage_record import validate_ride
from litlamp.report.whole_file import WriteError
from litlamp.scene.clip_file import save_clip
from litlamp.scene.ride import draw_ride
from litlamp.scene.sequence import Passed as Met
from litlamp.sight.eyes import Eyes, load_eyes

FILES = {
    "index.html", "signals.jsonl", "signals.csv", "ride.vtt", "ride.srt", "chapters.vtt", "chapters.ffmeta",
}  # fmt: skip


@pytest.fixture(scope="module")
def eyes() -> Eyes:
    return load_eyes(threads=1)


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Two signals in eleven seconds: a Clear to Stop, then a Clear, which does not follow from it."""
    met = (
        Met(parse_aspect("yellow over red, vertical, mast"), pace=24.0),
        Met(parse_aspect("green, mast"), pace=24.0),
    )
    drawn = draw_ride(met, seed=5, size=(480, 270), seconds=11.0, fps=12.0)
    path = tmp_path_factory.mktemp("ride") / "ride.mp4"
    save_clip(drawn.frames(), path, drawn.size, drawn.fps)
    return str(path)


@pytest.fixture(scope="module")
def read(clip: str, eyes: Eyes, tmp_path_factory: pytest.TempPathFactory) -> tuple[Ride, Path]:
    """The ride read without a break, and the folder of its files."""
    folder = tmp_path_factory.mktemp("whole")
    made = make_footage(clip, folder, eyes=eyes, video=False)
    assert made.faults == ()
    return made.ride, folder


def test_each_signal_is_met_once_in_order_with_its_pictures(read: tuple[Ride, Path]) -> None:
    ride, _ = read
    assert ride.whole and not ride.stopped
    assert [s.reading.rule for s in ride.record.signals if s.reading] == ["411", "405"]
    for number, (signal_, one) in enumerate(zip(ride.record.signals, ride.passed, strict=True), 1):
        told = signal_.footage
        assert told.number == number
        assert (told.ended, told.faces) == ("passed", "towards the train")
        assert one.best is not None and one.pictures[one.best].jpeg[:2] == b"\xff\xd8"
        assert len(one.edges) == 4 * len(one.times) > 0
        assert signal_.span_s is not None
        assert signal_.span_s[0] <= told.known[0].at_s <= told.known[-1].at_s <= signal_.span_s[1]
        assert [k.head_px for k in told.known] == sorted(k.head_px for k in told.known)


def test_what_is_known_at_the_end_is_the_reading(read: tuple[Ride, Path]) -> None:
    for one in read[0].record.signals:
        last = one.footage.known[-1]
        assert last.reading is not None and one.reading is not None
        assert last.reading.rule == one.reading.rule


def test_an_order_that_does_not_hold_is_flagged(clip: str, eyes: Eyes, tmp_path: Path) -> None:
    # At this level neither set holds a rule that would make the order good.
    made = make_footage(clip, tmp_path, eyes=eyes, level=0.95, video=False)
    first, second = made.ride.record.signals
    assert first.footage.follows is None
    told = second.footage.follows
    assert told is not None
    assert (told.before, told.verdict, told.less_restrictive) == (1, "broken", True)


def test_it_reads_as_litlamp_read_does(read: tuple[Ride, Path], clip: str, eyes: Eyes) -> None:
    from litlamp.clip_reading import read_clip
    from litlamp.report.record import record

    theirs = record(read_clip(clip, eyes=eyes)).signals
    ours = read[0].record.signals
    assert [(s.aspect, s.reading, s.guarded, s.set, s.span_s, s.aspects) for s in ours] == [
        (s.aspect, s.reading, s.guarded, s.set, s.span_s, s.aspects) for s in theirs
    ]


def test_the_files_are_there_and_can_be_scored(read: tuple[Ride, Path], tmp_path: Path) -> None:
    ride, folder = read
    assert {p.name for p in folder.iterdir()} == {*FILES, NAME}
    (line,) = (folder / "signals.jsonl").read_bytes().splitlines()
    assert validate_ride(line) == ride.record
    (reading,) = load_readings(folder / "signals.jsonl")
    keys = {"box": list(reading.signals[0].box), "rule": "411", "edition": "2025"}
    truth = tmp_path / "truth.jsonl"
    truth.write_bytes(
        msgspec.json.encode({"source": reading.source, "kind": "clip", "complete": False, "signals": [keys]})
    )
    assert run(["score", str(truth), str(folder / "signals.jsonl")]) == 0


def stopping(at: float) -> Callable[[float, float | None], None]:
    """A Ctrl-C once so many seconds are read."""

    def told(seconds: float, length: float | None) -> None:
        if seconds >= at:
            os.kill(os.getpid(), signal.SIGINT)

    return told


@pytest.fixture
def told_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(footage, "TOLD_EVERY", 0.0)


def test_stopped_and_gone_on_with_it_reads_the_same(
    read: tuple[Ride, Path], clip: str, eyes: Eyes, tmp_path: Path, told_often: None
) -> None:
    for at in (4.0, 5.0):  # with a signal in view, and between both
        part = read_ride(clip, tmp_path, eyes=eyes, resume=True, progress=stopping(at))
        assert part.stopped and not part.whole
        assert part.record.footage and at <= part.record.footage.read_to_s < at + 1
        assert len(part.record.signals) == 1  # what was seen so far is told
    rest = read_ride(clip, tmp_path, eyes=eyes, resume=True)
    assert rest == read[0]


def test_killed_it_goes_on_from_what_was_laid_down(
    read: tuple[Ride, Path], clip: str, eyes: Eyes, tmp_path: Path, told_often: None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(footage, "SAVED_EVERY", 0.0)

    def killed(seconds: float, length: float | None) -> None:
        if seconds > 4.5:
            raise RuntimeError

    with pytest.raises(RuntimeError):
        read_ride(clip, tmp_path, eyes=eyes, progress=killed)
    looked: list[float] = []
    rest = read_ride(clip, tmp_path, eyes=eyes, resume=True, progress=lambda at, _: looked.append(at))
    assert rest == read[0]
    assert looked[0] > 4  # nothing was read twice


def test_a_frame_that_is_not_the_one_is_found_by_decoding_again(
    read: tuple[Ride, Path], clip: str, eyes: Eyes, tmp_path: Path, told_often: None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    read_ride(clip, tmp_path, eyes=eyes, progress=stopping(5.0))
    marks = iter([-1] * 10_000)
    monkeypatch.setattr(footage, "_mark", lambda frame: next(marks))
    assert read_ride(clip, tmp_path, eyes=eyes, resume=True) == read[0]


def test_another_clip_or_book_is_not_gone_on_with(
    read: tuple[Ride, Path], clip: str, eyes: Eyes, tmp_path: Path
) -> None:
    shutil.copy(read[1] / NAME, tmp_path / NAME)
    with pytest.raises(StateError, match=r"level 0\.99, but now it is 0\.9"):
        read_ride(clip, tmp_path, eyes=eyes, level=0.9, resume=True)
    other = tmp_path / "ride.mp4"
    other.write_bytes(Path(clip).read_bytes() + b"\0")
    with pytest.raises(StateError, match="length and date"):
        read_ride(str(other), tmp_path, eyes=eyes, resume=True)
    (tmp_path / NAME).write_bytes(b"\x81nonsense")
    with pytest.raises(StateError, match="damaged"):
        read_ride(clip, tmp_path, eyes=eyes, resume=True)


def test_an_unfinished_ride_is_not_overwritten_unasked(
    clip: str, eyes: Eyes, tmp_path: Path, told_often: None
) -> None:
    read_ride(clip, tmp_path, eyes=eyes, progress=stopping(1.0))
    kept = (tmp_path / NAME).read_bytes()
    with pytest.raises(StateError, match="--resume"):
        make_footage(clip, tmp_path, eyes=eyes, video=False)
    assert (tmp_path / NAME).read_bytes() == kept


def test_a_full_disk_is_told_and_what_was_laid_down_stays(
    clip: str, eyes: Eyes, tmp_path: Path, told_often: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_ride(clip, tmp_path, eyes=eyes, progress=stopping(1.0))
    kept = (tmp_path / NAME).read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(whole_file.os, "fsync", full)
    with pytest.raises(WriteError, match="no space left on device"):
        read_ride(clip, tmp_path, eyes=eyes, resume=True, progress=stopping(2.0))
    assert (tmp_path / NAME).read_bytes() == kept


def test_a_clip_that_is_cut_off_keeps_what_was_read(
    clip: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import av

    cut = tmp_path / "cut.mkv"  # MP4 keeps its index at the end; Matroska can be read as far as it goes
    with av.open(clip) as given, av.open(str(cut), "w") as out:
        stream = out.add_stream_from_template(given.streams.video[0])
        for packet in given.demux(given.streams.video[0]):
            if packet.dts is not None:
                packet.stream = stream
                out.mux(packet)
    cut.write_bytes(cut.read_bytes()[: int(0.6 * cut.stat().st_size)])
    to = tmp_path / "to"
    assert run(["footage", str(cut), "--to", str(to), "--no-video"]) == 2
    said = capsys.readouterr()
    assert "what was read is kept" in said.err and "Traceback" not in said.err
    (line,) = (to / "signals.jsonl").read_bytes().splitlines()
    of = validate_ride(line)
    assert of.footage and not of.footage.whole
    assert len(of.signals) == 1


@pytest.mark.parametrize("data", [b"", b"text, and no clip\n" * 9, b"\x89PNG\r\n\x1a\n" + bytes(40)])
def test_what_is_no_clip_is_refused(
    data: bytes, tmp_path: Path, eyes: Eyes, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "x.mp4"
    file.write_bytes(data)
    with pytest.raises(FootageError):
        read_ride(str(file), tmp_path, eyes=eyes)
    assert run(["footage", str(file), "--to", str(tmp_path / "to")]) == 2
    assert run(["footage", str(tmp_path / "none"), "--to", str(tmp_path / "to")]) == 2
    assert run(["footage", str(file), "--to", str(file)]) == 2
    assert run(["footage", "-", "--to", str(tmp_path / "to")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 4 and all(line.startswith("litlamp: ") for line in lines)


def test_the_state_of_a_finished_ride_serves_to_write_it_again(
    read: tuple[Ride, Path], clip: str, eyes: Eyes, monkeypatch: pytest.MonkeyPatch
) -> None:
    ride, folder = read
    state = msgspec.msgpack.decode((folder / NAME).read_bytes())
    assert state["watch"] is None
    assert load_state(folder, state["made_by"]) is not None

    def never(*_: object) -> None:
        raise AssertionError("it was decoded again")

    monkeypatch.setattr("litlamp.media.clip.open_clip", never)
    assert read_ride(clip, folder, eyes=eyes, resume=True) == ride


def test_a_drive_that_went_away_is_told_and_gone_on_with_when_it_is_back(
    read: tuple[Ride, Path], clip: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    from litlamp.media.errors import MediaError
    from litlamp.sight import watch

    whole = watch.seconds

    def breaks(*given: object) -> object:
        for count, frame in enumerate(whole(*given)):  # type: ignore[arg-type]
            if count == 60:
                raise MediaError("reading broke off: input/output error")
            yield frame

    with monkeypatch.context() as patched:
        patched.setattr(watch, "seconds", breaks)
        assert run(["footage", clip, "--to", str(tmp_path), "--no-video"]) == 2
    assert "broke off" in capsys.readouterr().err
    (line,) = (tmp_path / "signals.jsonl").read_bytes().splitlines()
    assert len(validate_ride(line).signals) == 1
    assert run(["footage", clip, "--to", str(tmp_path), "--no-video", "--resume"]) == 0
    (line,) = (tmp_path / "signals.jsonl").read_bytes().splitlines()
    assert validate_ride(line) == read[0].record


def test_the_clip_itself_is_not_written_over(clip: str, eyes: Eyes, tmp_path: Path) -> None:
    own = tmp_path / "ride.mp4"
    shutil.copy2(clip, own)
    with pytest.raises(FootageError, match="would replace this clip"):
        make_footage(str(own), tmp_path, eyes=eyes)
    assert own.read_bytes() == Path(clip).read_bytes()
    assert [p.name for p in tmp_path.iterdir()] == ["ride.mp4"]


def test_what_is_of_no_ride_or_of_another_is_not_written_over(
    clip: str, read: tuple[Ride, Path], eyes: Eyes, tmp_path: Path
) -> None:
    (tmp_path / "index.html").write_text("mine")
    with pytest.raises(StateError, match="is not of this ride"):
        make_footage(clip, tmp_path, eyes=eyes, video=False)
    assert (tmp_path / "index.html").read_text() == "mine"
    folder = tmp_path / "whole"
    shutil.copytree(read[1], folder)
    other = tmp_path / "other.mp4"
    shutil.copy2(clip, other)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    with pytest.raises(StateError, match="is not of this ride"):
        make_footage(str(other), folder, eyes=eyes, video=False)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert make_footage(clip, folder, eyes=eyes, resume=True, video=False).faults == ()
