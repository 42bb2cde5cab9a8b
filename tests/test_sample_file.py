"""A drawn sample and its line of truth, whole or not at all."""

from __future__ import annotations

import errno
from io import FileIO
from pathlib import Path

import pytest

import litlamp.sample as sample
from litlamp.aspects.rulebook import load_book
from litlamp.aspects.words import parse_aspect
from litlamp.cli import run
from litlamp.report.picture import PictureError

SMALL = {"size": (64, 64)}


def drawn(out: Path, truth: Path) -> bytes:
    return sample.make_sample(out, parse_aspect("single red"), load_book(), truth, **SMALL)


def test_lines_are_added_one_after_the_other(tmp_path: Path) -> None:
    truth = tmp_path / "truth.jsonl"
    lines = [drawn(tmp_path / name, truth) for name in ("a.png", "b.png")]
    assert truth.read_bytes().splitlines() == lines


@pytest.mark.parametrize("before", [None, b'{"source": "a.png"}\n'])
def test_a_full_disk_leaves_no_half_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: bytes | None
) -> None:
    truth = tmp_path / "truth.jsonl"
    if before is not None:
        truth.write_bytes(before)

    def full(file: FileIO, data: bytes) -> None:
        file.write(data[:20])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(sample, "write_whole", full)
    with pytest.raises(PictureError, match="no space left"):
        drawn(tmp_path / "b.png", truth)
    assert (truth.read_bytes() if truth.exists() else None) == before


def test_a_picture_that_cannot_be_written_leaves_no_line(tmp_path: Path) -> None:
    truth = tmp_path / "truth.jsonl"
    (tmp_path / "a.png").mkdir()
    with pytest.raises(PictureError):
        drawn(tmp_path / "a.png", truth)
    assert not truth.exists()


@pytest.mark.parametrize(
    "arguments",
    [["a.png", "--exposure", "nan"], ["a.png", "--distance", "nan"], ["a.mp4", "--hidden", "nan", "1"],
     ["a.mp4", "--seconds", "inf"]],
)  # fmt: skip
def test_no_scene_is_drawn_of_what_is_no_number(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["draw", "red", *arguments]) == 2
    assert "finite" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
