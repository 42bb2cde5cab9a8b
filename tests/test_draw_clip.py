"""`litlamp draw WORDS OUT.mp4` from the outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from litlamp.cli import run
from litlamp.collection.truth_file import load_truth
from litlamp.media.clip import open_clip

SMALL = ["--size", "160x96", "--seconds", "0.6", "--fps", "10"]


def told(capsys: pytest.CaptureFixture[str]) -> str:
    err = capsys.readouterr().err
    assert err.startswith("litlamp: ")
    assert err.count("\n") == 1
    return err


def test_a_clip_and_its_truth(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, truth = tmp_path / "a.mp4", tmp_path / "truth.jsonl"
    command = [
        "draw",
        "yellow over red",
        str(out),
        *SMALL,
        "--then",
        "0.3",
        "green over red",
        "--motion",
        "still",
    ]
    assert run(command) == 0
    line = json.loads(capsys.readouterr().out)
    assert line["source"] == str(out)
    with open_clip(str(out)) as clip:
        assert clip.size == (160, 96)
        assert len(list(clip)) == 6
    made = out.read_bytes()
    assert run([*command, "--truth", str(truth)]) == 0
    assert capsys.readouterr().out == ""
    assert out.read_bytes() == made  # the same arguments give the same file
    (known,) = load_truth(truth)
    assert (known.source, known.kind, known.duration) == ("a.mp4", "clip", 0.6)
    assert [a.rule for a in known.signals[0].aspects] == ["411", "405"]
    assert known.signals[0].rule == "405"


def test_every_option_is_taken(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "a.mov"
    more = ["--rate", "50", "--lit-share", "0.4", "--ripple", "100", "--shutter", "0.001", "--pumping", "0.5"]
    more += [
        "--uneven",
        "--hidden",
        "0.3",
        "0.1",
        "--light",
        "dusk",
        "--weather",
        "rain",
        "--motion",
        "approach",
    ]
    assert run(["draw", "flashing yellow over red", str(out), *SMALL, *more]) == 0
    factors = json.loads(capsys.readouterr().out)["factors"]
    assert (factors["light"], factors["weather"]) == ("dusk", "rain")
    assert run(["draw", "no signal", str(out), *SMALL]) == 0
    assert json.loads(capsys.readouterr().out)["signals"] == []


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--motion", "fly"], "motion must be one of"),
        (["--light", "noon"], "light must be one of"),
        (["--rate", "0"], "flash rate must be"),
        (["--lit-share", "2"], "lit share must be"),
        (["--ripple", "3"], "LED ripple must be"),
        (["--shutter", "9"], "shutter must be"),
        (["--pumping", "50"], "exposure may pump"),
        (["--seconds", "-1"], "a clip must last"),
        (["--fps", "1000"], "frames a second"),
        (["--then", "0.3", "mauve"], "mauve"),
        (["--then", "0.3", "green over green"], "1 heads cannot change"),
        (["--then", "7", "green"], "changes must follow"),
        (["--hidden", "0.3", "99"], "may hide"),
        (["--size", "161x96"], "both even"),
        (["--cut", "top"], "--cut is for photographs"),
        (["--snow-on-plate"], "--snow-on-plate is for photographs"),
    ],
)
def test_what_cannot_be_drawn_is_refused(
    options: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["draw", "red", str(tmp_path / "a.mp4"), *SMALL, *options]) == 2
    assert said in told(capsys)
    assert list(tmp_path.iterdir()) == []


def test_options_of_clips_are_not_for_photographs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["draw", "red", str(tmp_path / "a.png"), "--size", "64x64", "--fps", "10"]) == 2
    assert "--fps is for clips" in told(capsys)


def test_places_that_cannot_be_written_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for out in (tmp_path / "none" / "a.mp4", Path("/dev/null/a.mp4")):
        assert run(["draw", "red", str(out), *SMALL]) == 2
        assert "could not be written" in told(capsys)
    out, truth = tmp_path / "a.mp4", tmp_path / "none" / "truth.jsonl"
    assert run(["draw", "red", str(out), *SMALL, "--truth", str(truth)]) == 2
    assert "truth line could not be written" in told(capsys)
    assert list(tmp_path.iterdir()) == []
